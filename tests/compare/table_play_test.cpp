// What was read off a recording goes into the prediction; a rebound that the model itself made is read back.
#include "compare/table_play.hpp"

#include <gtest/gtest.h>

#include "base/files.hpp"
#include "compare/beside.hpp"
#include "motion/motion.hpp"
#include "support/full_size.hpp"

namespace baizetrace::compare {
namespace {

using test_support::full_size;

table::BallSet snooker() {
  set_data_folder(BAIZETRACE_SOURCE);
  return *table::read_ball_set("snooker");
}

// One ball up and down the table on a cloth whose cushions are `shift` livelier than assumed.
practice::Attempt up_and_down(double shift, double speed) {
  motion::Conditions real;
  for (auto& row : real.cushion_restitution) row[1] += shift;
  const auto table = full_size();
  std::vector<motion::Ball> balls{motion::make_ball(snooker(), "white", {0.3, -1.0})};
  const auto p = motion::simulate(table, real, balls, {.speed = speed, .heading = 0.4, .height = 0.4});
  practice::Attempt a;
  if (p) a.balls["white"] = *p->ball("white");
  return a;
}

TEST(ReadRebound, RecoversTheCushionsItWasPlayedOn) {
  const auto table = full_size();
  const auto balls = snooker();
  double worst = 0;
  for (double shift : {-0.08, -0.03, 0.0, 0.04}) {
    const std::vector<practice::Attempt> attempts{up_and_down(shift, 1.5), up_and_down(shift, 2.2)};
    const Rebound r = read_rebound(attempts, table, balls, motion::Conditions{});
    ASSERT_GE(r.contacts, 3);
    worst = std::max(worst, std::abs(r.shift - shift));
    EXPECT_LT(std::abs(r.shift - shift), 2 * r.u) << "shift " << shift;
  }
  // The ball carries spin of its own from the first cushion on, which the reading takes for a plain roll.
  EXPECT_LT(worst, 0.03);
  RecordProperty("worst_shift_error", std::to_string(worst));
}

TEST(ReadRebound, NothingSeenNothingClaimed) {
  const Rebound r = read_rebound({}, full_size(), snooker(), motion::Conditions{});
  EXPECT_EQ(r.contacts, 0);
  const auto played = conditions_as_played({}, path::Play{}, r);
  EXPECT_EQ(played.in_words, "all conditions assumed");
  for (const auto& [name, value] : played.values) EXPECT_FALSE(value.measured) << name;
}

TEST(ReadRebound, ContactsOutOfSightTellNothing) {
  auto a = up_and_down(0.05, 2.0);
  for (Contact& c : a.balls["white"].contacts) c.inferred = true;
  EXPECT_EQ(read_rebound(std::vector{a}, full_size(), snooker(), motion::Conditions{}).contacts, 0);
}

TEST(ConditionsAsPlayed, MeasuredValuesReplaceAssumedOnes) {
  path::Play play;
  play.rolling = {0.0112, 0.0002, true, 5};
  const auto played = conditions_as_played({}, play, Rebound{});
  EXPECT_DOUBLE_EQ(played.conditions.rolling, 0.0112);
  EXPECT_TRUE(played.values.at("rolling").measured);
  EXPECT_FALSE(played.values.at("cushion_restitution").measured);
  EXPECT_EQ(played.in_words, "rolling measured on this table, the rest assumed");
}

TEST(ComparePaths, APathBesideItselfIsNowhereOff) {
  const auto table = full_size();
  std::vector<motion::Ball> balls{motion::make_ball(snooker(), "white", {0.3, -1.0})};
  const auto p = motion::simulate(table, {}, balls, {.speed = 2.0, .heading = 0.4});
  ASSERT_TRUE(p) << p.error().what;
  const auto computed = computed_path(*p, 1.5);
  ASSERT_GT(computed.path.size(), 10U);
  for (std::size_t i = 1; i < computed.path.size(); ++i) EXPECT_GT(computed.path[i].time, computed.path[i - 1].time);
  BallPath real = *p->ball("white");
  for (Contact& c : real.contacts) c.time += 1.5;
  real.rows = computed.path;
  const auto c = compare_paths(real, real.rest, computed);
  EXPECT_NEAR(c.first_contact_off.value(), 0, 1e-12);
  EXPECT_NEAR(c.rest_off.value().norm(), 0, 1e-12);
  EXPECT_NEAR(c.worst_off.value(), 0, 1e-12);
  EXPECT_FALSE(c.parts);

  // The same way a little later is the same way; off it by more than it is known, the paths part there.
  const auto later = [](double t) { return 1.5 + 1.1 * (t - 1.5); };
  BallPath slower = real;
  for (PathRow& r : slower.rows) r.time = later(r.time);
  for (Contact& k : slower.contacts) k.time = later(k.time);
  EXPECT_FALSE(compare_paths(slower, real.rest, computed).parts);
  ASSERT_GT(slower.rows.size(), 60U);
  for (std::size_t i = 40; i < slower.rows.size(); ++i) slower.rows[i].at += Vec2(0.02, 0.0);
  const auto parted = compare_paths(slower, real.rest, computed);
  ASSERT_TRUE(parted.parts);
  EXPECT_NEAR(parted.parts->time, slower.rows[40].time, 0.1);
}

}  // namespace
}  // namespace baizetrace::compare
