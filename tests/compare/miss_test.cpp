// Misses that the small-step integrator made, taken apart.
#include "compare/miss.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>

#include "base/files.hpp"
#include "compare/what_if.hpp"
#include "support/full_size.hpp"
#include "support/oracle_shots.hpp"

namespace baizetrace::compare {
namespace {

using support::OracleShot;
using test_support::full_size;
using test_support::snooker;

practice::Setup sample(const char* name) {
  set_data_folder(BAIZETRACE_SOURCE);
  return *practice::read_setup(std::string(BAIZETRACE_SOURCE) + "/samples/" + name + ".setup.toml");
}

KnownPlay tuned_play() {
  KnownPlay k = assumed_play({});
  k.u *= 0.15;
  k.tuned = true;
  return k;
}

// One attempt at a setup by a player with a good club player's scatter (TRADE: common practice, no source).
struct Played {
  OracleShot shot;
  motion::Strike meant;
};
std::optional<Played> play(const practice::Setup& setup, const table::Table& table, const table::BallSet& set,
                           std::uint64_t seed) {
  const auto p = practice::predict_setup(setup, table, set, {});
  if (!p) return std::nullopt;
  support::Dice d{seed * 17 + 3};
  motion::Strike s = p->strike;
  s.heading += radians(0.10) * d.normal();
  s.speed *= 1 + 0.05 * d.normal();
  s.right += 0.0015 / 0.02625 * d.normal();
  s.height += 0.0015 / 0.02625 * d.normal();
  std::vector<motion::Ball> balls = p->balls;
  // The integrator's first ball is the one that is struck.
  std::stable_partition(balls.begin(), balls.end(), [](const motion::Ball& b) { return b.name == "white"; });
  balls[0].place += 0.002 * Vec2(d.normal(), d.normal());
  return Played{support::play_oracle(table, {}, s, balls, seed), p->strike};
}

TEST(Miss, PartsAddUpAndLittleIsLeftOver) {
  const auto table = full_size();
  const auto set = snooker();
  const char* many = std::getenv("BAIZETRACE_SHOTS");
  const int each = many ? std::atoi(many) / 4 : 4;
  std::vector<double> left;
  double worst_sum = 0;
  int explained = 0, played = 0, told = 0, parts = 0;
  for (const char* name :
       {"middle-red-off-the-side", "round-the-angles", "long-red-from-the-d", "up-and-down-the-spots"}) {
    const auto setup = sample(name);
    for (std::uint64_t seed = 1; seed <= static_cast<std::uint64_t>(each); ++seed) {
      const auto p = play(setup, table, set, seed);
      ASSERT_TRUE(p) << name;
      if (!p->shot.rests || p->shot.jaw) continue;
      ++played;
      practice::Attempt a = p->shot.attempt;
      explain_attempt(a, setup, table, set, tuned_play(), "tuned");
      if (!a.miss) {
        std::printf("%s %lu: %s\n", name, seed, a.not_explained.c_str());
        continue;
      }
      ++explained;
      const practice::Miss& m = *a.miss;
      const Vec2 sum = m.placing + m.aim + m.pace + m.side + m.height;
      worst_sum = std::max(worst_sum, (sum - (*a.explained->rest - *a.meant->rest)).norm());
      const double miss = (a.after.at("white").at - *a.meant->rest).norm();
      left.push_back(m.left_over.norm() / miss);
      parts += 5;
      for (const char* part : {"placing", "aim", "pace", "side", "height"})
        told += std::count(m.not_told.begin(), m.not_told.end(), part) == 0;
      if (many) std::printf("%s %lu: miss %.0f mm: %s\n", name, seed, 1e3 * miss, m.sentence.c_str());
      EXPECT_FALSE(m.sentence.empty());
    }
  }
  ASSERT_FALSE(left.empty());
  std::sort(left.begin(), left.end());
  std::printf(
      "%d of %d explained; parts add up within %.1e m; left over %.1f %% of the miss (median); %d of %d parts told\n",
      explained, played, worst_sum, 100 * left[left.size() / 2], told, parts);
  EXPECT_GE(explained, played * 9 / 10);
  EXPECT_LT(worst_sum, 1e-3);
  EXPECT_LT(left[left.size() / 2], 0.25);
  EXPECT_GT(told, 0);
}

// A shot that differs in one thing alone: that part is named and no other is larger.
TEST(Miss, NamesThePaceWhenOnlyThePaceWasOff) {
  const auto table = full_size();
  const auto set = snooker();
  const auto setup = sample("round-the-angles");
  const auto p = practice::predict_setup(setup, table, set, {});
  ASSERT_TRUE(p) << p.error().what;
  motion::Strike s = p->strike;
  s.speed *= 1.12;
  OracleShot shot = support::play_oracle(table, {}, s, p->balls, 5);
  practice::Attempt a = shot.attempt;
  explain_attempt(a, setup, table, set, tuned_play(), "tuned");
  ASSERT_TRUE(a.miss) << a.not_explained;
  const practice::Miss& m = *a.miss;
  EXPECT_GT(m.pace.norm(), std::max({m.placing.norm(), m.aim.norm(), m.side.norm(), m.height.norm()}));
  EXPECT_EQ(std::count(m.not_told.begin(), m.not_told.end(), "pace"), 0);
  EXPECT_NE(m.sentence.find("over"), std::string::npos) << m.sentence;
  // On a table that nobody has read, too hard is not said.
  KnownPlay unread = tuned_play();
  unread.tuned = false;
  explain_attempt(a, setup, table, set, unread, "assumed");
  ASSERT_TRUE(a.miss) << a.not_explained;
  EXPECT_EQ(a.miss->sentence.find("over"), std::string::npos) << a.miss->sentence;
}

TEST(Miss, SaysWhyItCannotTell) {
  const auto table = full_size();
  const auto set = snooker();
  const auto setup = sample("round-the-angles");
  const auto p = play(setup, table, set, 2);
  ASSERT_TRUE(p);
  practice::Attempt a = p->shot.attempt;
  a.strike.reset();
  explain_attempt(a, setup, table, set, tuned_play(), "tuned");
  EXPECT_FALSE(a.miss);
  EXPECT_FALSE(a.not_explained.empty());
  a = p->shot.attempt;
  a.balls.at("white").rest.reset();
  a.ended = practice::Ended::hand;
  explain_attempt(a, setup, table, set, tuned_play(), "tuned");
  EXPECT_FALSE(a.miss);
  EXPECT_NE(a.not_explained.find("rest"), std::string::npos) << a.not_explained;
}

// Without draws nobody knows how well a part is known: none is told, and left over least of all (a sample's attempt had
// "not the strike, 137 cm" with nothing given or taken).
TEST(Miss, TellsNothingWhoseUncertaintyIsNotKnown) {
  const auto table = full_size();
  const auto set = snooker();
  const auto setup = sample("round-the-angles");
  const auto p = play(setup, table, set, 1);
  ASSERT_TRUE(p);
  practice::Attempt a = p->shot.attempt;
  explain_attempt(a, setup, table, set, tuned_play(), "tuned", {.draws = 0});
  ASSERT_TRUE(a.miss) << a.not_explained;
  EXPECT_TRUE(a.miss->u.empty());
  for (const char* part : {"placing", "aim", "pace", "side", "height", "pace_and_height", "left_over"})
    EXPECT_EQ(std::count(a.miss->not_told.begin(), a.miss->not_told.end(), part), 1) << part;
  EXPECT_NE(a.miss->sentence.find("nor how well each part of it is known"), std::string::npos) << a.miss->sentence;
}

// On a table that plays otherwise than it is taken to, the strike found is none of it, and no part is told.
TEST(Miss, ATableThatPlaysOtherwiseIsNoReason) {
  const auto table = full_size();
  const auto set = snooker();
  const auto setup = sample("round-the-angles");
  const auto p = play(setup, table, set, 1);
  ASSERT_TRUE(p);
  practice::Attempt a = p->shot.attempt;
  KnownPlay slow = assumed_play({});
  slow.conditions.rolling *= 1.3;
  slow.u *= 3;
  explain_attempt(a, setup, table, set, slow, "assumed");
  EXPECT_FALSE(a.miss);
  EXPECT_FALSE(a.explained);
  EXPECT_NE(a.not_explained.find("with how the table is taken to play"), std::string::npos) << a.not_explained;
}

// A straight shot has no thick side.
TEST(Miss, AStraightShotIsRightOrLeftOfItsLine) {
  const auto table = full_size();
  const auto set = snooker();
  const auto setup = sample("stop-dead-long");
  const auto p = practice::predict_setup(setup, table, set, {});
  ASSERT_TRUE(p) << p.error().what;
  for (const double off : {radians(0.1), radians(-0.1)}) {
    motion::Strike s = p->strike;
    s.heading += off;
    s.speed *= 0.9;
    s.height += 0.2;
    OracleShot shot = support::play_oracle(table, {}, s, p->balls, 5);
    practice::Attempt a = shot.attempt;
    explain_attempt(a, setup, table, set, tuned_play(), "tuned");
    ASSERT_TRUE(a.miss) << a.not_explained;
    EXPECT_FALSE(a.miss->aim_at_ball);
    EXPECT_EQ(a.miss->sentence.find("too thick"), std::string::npos) << a.miss->sentence;
    EXPECT_EQ(a.miss->sentence.find("too thin"), std::string::npos) << a.miss->sentence;
    if (off > 0) {
      EXPECT_NE(a.miss->sentence.find("right of the line at the object ball"), std::string::npos) << a.miss->sentence;
    }
  }
}

// "Every part is smaller than its uncertainty" is not said where one is known and others are not asked for.
TEST(Miss, TheSentenceSaysWhyNothingIsNamed) {
  practice::Miss m;
  MissWords w;
  w.rest_off = Vec2(0, 0.40);
  m.pace = Vec2(0, 0.396);
  m.u = {{"pace", 0.01}, {"left_over", 0.1}};
  m.not_told = {"placing", "aim", "side", "height"};
  EXPECT_NE(sentence_of(m, w).find("how the table plays was not measured"), std::string::npos) << sentence_of(m, w);
  m.pace = Vec2(0, 0.02);
  w.pace_known = true;
  EXPECT_NE(sentence_of(m, w).find("small ones"), std::string::npos) << sentence_of(m, w);
  m.not_told.emplace_back("pace");
  EXPECT_NE(sentence_of(m, w).find("smaller than its uncertainty"), std::string::npos) << sentence_of(m, w);
}

TEST(Miss, ComesBackFromTheFile) {
  const auto table = full_size();
  const auto set = snooker();
  const auto setup = sample("round-the-angles");
  const auto p = play(setup, table, set, 1);
  ASSERT_TRUE(p);
  practice::Session s;
  s.attempts.push_back(p->shot.attempt);
  explain_attempt(s.attempts[0], setup, table, set, tuned_play(), "tuned");
  ASSERT_TRUE(s.attempts[0].miss) << s.attempts[0].not_explained;
  ASSERT_TRUE(s.attempts[0].strike);
  s.attempts[0].strike->elevation = 0.21;  // told where it shows
  s.attempts[0].strike->interval["elevation"] = {0.18, 0.24};
  const auto file = std::filesystem::path(testing::TempDir()) / "miss.session.json";
  ASSERT_TRUE(write_atomically(file, practice::session_json(s)));
  const auto back = practice::read_session(file.string());
  ASSERT_TRUE(back) << back.error().what;
  EXPECT_EQ(practice::session_json(*back), practice::session_json(s));
  const practice::Attempt& a = back->attempts[0];
  ASSERT_TRUE(a.miss && a.meant && a.explained && a.strike);
  EXPECT_EQ(a.strike->from, "whole motion");
  EXPECT_EQ(a.strike->elevation, 0.21);
  EXPECT_EQ(a.miss->sentence, s.attempts[0].miss->sentence);
  std::filesystem::remove(file);
}

TEST(WhatIf, ChangesOneThing) {
  const auto table = full_size();
  const auto set = snooker();
  const auto setup = sample("round-the-angles");
  const auto p = play(setup, table, set, 1);
  ASSERT_TRUE(p);
  const practice::Attempt& a = p->shot.attempt;
  const auto softer = what_if(a, "softer=10", &setup, table, set, tuned_play());
  ASSERT_TRUE(softer) << softer.error().what;
  EXPECT_NEAR(softer->strike.speed, 0.9 * p->shot.strike.speed, 0.05 * p->shot.strike.speed);
  const auto plain = what_if(a, "no-side", &setup, table, set, tuned_play());
  ASSERT_TRUE(plain) << plain.error().what;
  EXPECT_EQ(plain->strike.right, 0);
  // Beside the same strike by the same play: hardly changed, hardly moved.
  const auto hardly = what_if(a, "harder=0.0001", &setup, table, set, tuned_play());
  ASSERT_TRUE(hardly && hardly->unchanged && hardly->motion.ball("white")->rest);
  EXPECT_LT((hardly->motion.ball("white")->rest->at - *hardly->unchanged).norm(), 0.001);
  EXPECT_TRUE(what_if(a, "on-the-mark", &setup, table, set, tuned_play()));
  for (const char* bad : {"louder", "softer=", "softer=200", "right=0.9", "on-the-mark"})
    EXPECT_FALSE(what_if(a, bad, nullptr, table, set, tuned_play())) << bad;
}

}  // namespace
}  // namespace baizetrace::compare
