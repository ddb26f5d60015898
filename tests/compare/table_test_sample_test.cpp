// The sample of a table test (a slow roll, up and down the spots, round the angles): what the small-step integrator
// plays on a slow table, measured badly; `tune` reads the table off it. BAIZETRACE_WRITE_SAMPLES=1 writes the file
// anew.
#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>

#include "base/files.hpp"
#include "compare/tune.hpp"
#include "practice/setup.hpp"
#include "support/full_size.hpp"
#include "support/oracle_shots.hpp"

namespace baizetrace::compare {
namespace {

const std::filesystem::path kSample = std::filesystem::path(BAIZETRACE_SOURCE) / "samples" / "table-test.session.json";

// Invented: slower than the good cloth, livelier side.
motion::Conditions its_table() {
  motion::Conditions c;
  c.sliding = 0.215;
  c.rolling = 0.0104;
  c.spin_decay = 8.2;
  c.cushion_restitution = {{0.5, 0.92}, {5.0, 0.84}};
  c.cushion_friction = 0.165;
  return c;
}

practice::Session table_test() {
  const auto table = test_support::full_size();
  const auto set = *table::read_ball_set("snooker");
  practice::Session s;
  s.complete = true;
  s.clip = {"table-test.mp4 (invented, no film)", 1920, 1080, 0, 0};
  s.rig.table = "full-size";
  s.rig.half_width = table.half_width();
  s.rig.half_length = table.half_length();
  int number = 0, group = 0;
  double begin = 0;
  for (const char* name : {"dead-weight", "up-and-down-the-spots", "round-the-angles"}) {
    const auto setup = practice::read_setup(std::string(BAIZETRACE_SOURCE) + "/samples/" + name + ".setup.toml");
    const auto p = practice::predict_setup(*setup, table, set, {});
    ++group;
    practice::Group g;
    g.number = group;
    for (const motion::Ball& b : p->balls) g.marks[b.name] = b.place;
    s.groups.push_back(g);
    for (int k = 0; k < 3; ++k) {
      support::Dice d{static_cast<std::uint64_t>(100 * group + k)};
      motion::Strike strike = p->strike;
      strike.speed *= 1 + 0.04 * d.normal();
      strike.heading += radians(0.15) * d.normal();
      strike.right += 0.03 * d.normal();
      strike.height += 0.04 * d.normal();
      auto shot =
          support::play_oracle(table, its_table(), strike, p->balls, static_cast<std::uint64_t>(10 * group + k));
      practice::Attempt a = shot.attempt;
      a.number = ++number;
      a.group = group;
      // One after the other in one recording.
      const double shift = begin;
      a.strike_time += shift;
      double last = a.strike_time;
      for (auto& [ball, path] : a.balls) {
        for (PathRow& r : path.rows) r.time += shift;
        for (Contact& c : path.contacts) c.time += shift;
        path.rest_time += shift;
        last = std::max(last, path.rest_time);
      }
      a.rest_time = last;
      begin = last + 20;
      s.attempts.push_back(std::move(a));
    }
  }
  s.measured_until = begin;
  s.clip.duration = begin;
  return s;
}

TEST(TableTest, TheSampleIsWhatTheIntegratorPlays) {
  const std::string made = practice::session_json(table_test());
  if (std::getenv("BAIZETRACE_WRITE_SAMPLES")) {
    ASSERT_TRUE(write_atomically(kSample, made));
  }
  const auto kept = read_text(kSample.string());
  ASSERT_TRUE(kept) << kept.error().what;
  EXPECT_EQ(*kept, made) << "the sample differs from what the test makes";
}

TEST(TableTest, TuneReadsTheTableOffIt) {
  const auto table = test_support::full_size();
  const auto set = *table::read_ball_set("snooker");
  const auto s = practice::read_session(kSample.string());
  ASSERT_TRUE(s) << s.error().what;
  std::vector<TuneShot> shots;
  for (const practice::Attempt& a : s->attempts) shots.push_back({&a, &table});
  const KnownPlay before = assumed_play({});
  const auto t = tune(shots, set, before);
  ASSERT_TRUE(t) << t.error().what;
  EXPECT_EQ(t->used, 9);
  int told = 0;
  for (std::size_t k = 0; k < kSlopePlay; ++k) {
    const double real = value_of(its_table(), k), is = value_of(t->play.conditions, k);
    const double u = t->play.u[static_cast<int>(k)];
    std::printf("%-20s true %.4f found %.4f u %.4f %s\n", kPlayNames[k], real, is, u, t->told[k] ? "told" : "not told");
    EXPECT_LT(std::abs(is - real), 3 * u) << kPlayNames[k];
    told += t->told[k];
  }
  EXPECT_GE(told, 4);
  // Nothing was hit but cushions: the balls' restitution and friction are not told.
  EXPECT_FALSE(t->told[3]);
  EXPECT_FALSE(t->told[4]);
  EXPECT_NE(conditions_toml(*t, before).find("not told by these attempts"), std::string::npos);
  EXPECT_LT(t->off_after, t->off_before);
}

}  // namespace
}  // namespace baizetrace::compare
