// Attempts found in invented evenings: every one, none invented, whatever happens between.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <iostream>

#include "base/files.hpp"
#include "support/invented_evening.hpp"

namespace baizetrace::practice {
namespace {

using invented::Evening;

struct Ground {
  Setup setup;
  table::Table table;
  table::BallSet set;
  std::vector<motion::Ball> marks;
  motion::Strike strike;  // that reaches the goal
};
Ground ground(const std::string& sample) {
  set_data_folder(BAIZETRACE_SOURCE);
  const Setup setup = *read_setup(std::string(BAIZETRACE_SOURCE) + "/samples/" + sample + ".setup.toml");
  const table::Table table(*table::read_spec(setup.table));
  const table::BallSet set = *table::read_ball_set(table.spec().balls);
  const auto p = predict_setup(setup, table, set, {});
  return {setup, table, set, balls_of(setup, table, set), p->strike};
}

class Player {
 public:
  Player(const Ground& on, std::uint64_t seed) : g(on), e(on.table, on.set, seed) {
    for (const motion::Ball& b : g.marks) e.put_at_once(b.name, b.place + off(0.001));
    e.wait(2.0);
  }
  // Puts every ball that is off its mark back.
  void set_up() {
    for (const motion::Ball& b : g.marks)
      if (b.name != "white" && away(b)) e.place(b.name, b.place + off(0.001));
    for (const motion::Ball& b : g.marks)
      if (b.name == "white" && away(b)) e.place(b.name, b.place + off(0.002));
  }
  motion::Strike stroke(double wild = 1) {
    motion::Strike s = g.strike;
    s.heading += wild * radians(0.12) * e.dice.normal();
    s.speed *= 1 + wild * 0.04 * e.dice.normal();
    return s;
  }
  void play(Evening::Play how = {}, double wild = 1) {
    if (how.what.empty()) how.what = "attempt";
    e.strike(stroke(wild), {}, how);
  }
  // A shot from where the white lies, at a ball that is there.
  void play_on(const std::string& what = "follow-on") {
    for (const auto& [ball, at] : e.lie) {
      if (ball == "white") continue;
      motion::Strike s;
      s.heading = heading_of(at - e.lie["white"]) + radians(0.3);
      s.speed = 1.8;
      e.strike(s, {}, {.attempt = false, .what = what});
      return;
    }
  }
  [[nodiscard]] std::vector<std::string> faults(bool with_setup = true) {
    found = invented::find_attempts(e.looks(e.now + 2.0), g.table, g.set,
                                    with_setup ? std::span(&g.setup, 1) : std::span<const Setup>());
    return invented::faults(e.shots, found);
  }
  [[nodiscard]] std::string told() const {
    std::string out;
    for (const std::string& w : found.why_not) out += "\n  " + w;
    return out;
  }

  const Ground& g;
  Evening e;
  invented::Found found;

 private:
  bool away(const motion::Ball& b) { return !e.lie.contains(b.name) || (e.lie[b.name] - b.place).norm() > 0.006; }
  Vec2 off(double sd) { return sd * Vec2(e.dice.normal(), e.dice.normal()); }
};

const Ground& long_red() {
  static const Ground g = ground("long-red-from-the-d");
  return g;
}

#define EXPECT_ALL_RIGHT(player)                               \
  {                                                            \
    const auto wrong = (player).faults();                      \
    EXPECT_THAT(wrong, testing::IsEmpty()) << (player).told(); \
  }

TEST(Evening, NothingButAttempts) {
  Player p(long_red(), 1);
  for (int k = 0; k < 4; ++k) p.set_up(), p.play();
  EXPECT_ALL_RIGHT(p);
}

TEST(Evening, TouchedBallAndNudge) {
  Player p(long_red(), 2);
  p.play();
  p.set_up();
  p.e.nudge("white", {0.003, -0.002});
  p.e.nudge("red-1", {0.002, 0.002});
  p.e.wait(1);
  p.e.nudge("white", {-0.004, 0.001});
  p.play();
  EXPECT_ALL_RIGHT(p);
}

// A ball that nobody played and that lies elsewhere is told, once; those that lie still are not.
TEST(Evening, ANudgedBallIsTold) {
  Player p(long_red(), 14);
  p.play();
  p.set_up();
  p.e.nudge("blue", {0.003, -0.003});
  p.play();
  EXPECT_ALL_RIGHT(p);
  int told = 0;
  for (const std::string& w : p.found.why_not)
    if (w.find("mm by hand") != std::string::npos) {
      ++told;
      EXPECT_THAT(w, testing::HasSubstr("the blue was moved"));
    }
  EXPECT_EQ(told, 1) << p.told();
}

TEST(Evening, FoulReSpot) {
  Player p(long_red(), 3);
  p.play();
  p.e.take("blue");
  p.e.place("blue", {0.001, 0.002});
  p.set_up();
  p.play();
  EXPECT_ALL_RIGHT(p);
}

TEST(Evening, SomeoneWalksBy) {
  Player p(long_red(), 4);
  p.e.walk_by();
  p.play();
  p.e.walk_by();
  p.set_up();
  p.e.walk_by();
  p.play();
  EXPECT_ALL_RIGHT(p);
}

TEST(Evening, BallsRolledBackByHand) {
  Player p(long_red(), 5);
  p.play();
  if (p.e.lie.contains("red-1")) p.e.roll_by_hand("red-1", Vec2(0.40, 0.90));
  p.e.roll_by_hand("white", Vec2(0.10, -1.10));
  p.set_up();
  p.play();
  EXPECT_ALL_RIGHT(p);
}

TEST(Evening, FollowOnBelongsToTheAttemptBefore) {
  Player p(long_red(), 6);
  p.play();
  p.play_on();
  p.set_up();
  p.play();
  EXPECT_ALL_RIGHT(p);
  ASSERT_EQ(p.found.sorted.attempts.size(), 2U);
  ASSERT_TRUE(p.found.sorted.attempts[0].follow_on) << p.told();
  EXPECT_TRUE(p.found.sorted.attempts[0].follow_on->next_potted.has_value());
  EXPECT_FALSE(p.found.sorted.attempts[1].follow_on);
}

TEST(Evening, WhitePickedUpBeforeItRests) {
  Player p(long_red(), 7);
  p.play({.taken_at = 3.2, .what = "picked up"});
  p.set_up();
  p.play();
  EXPECT_ALL_RIGHT(p);
}

// The white has stopped and is back on its mark while a slow ball is still on its way.
TEST(Evening, NextShotStruckWhileABallStillRolls) {
  Player p(long_red(), 8);
  p.e.place("yellow", Vec2(-0.70, 1.60));
  p.e.wait(0.5);
  p.e.roll_by_hand("yellow", Vec2(-0.70, -1.50));
  p.e.now -= 7.0;  // it still has metres to go
  p.play({.what = "while the yellow rolls"});
  p.set_up();
  p.play();
  EXPECT_ALL_RIGHT(p);
}

// A ball that lies aside is sent across the bed by hand, or by a bump, and the white is struck while it rolls. Nothing
// that the shot moves comes near it. False: no such roll was found among many at random.
bool play_while_a_ball_rolls(Player& p, const Ground& g, const std::string& stray, const std::string& name) {
  const motion::Strike stroke = p.stroke();
  const double x = g.table.half_width() - 0.05, y = g.table.half_length() - 0.05;
  const auto anywhere = [&] { return Vec2(x * (2 * p.e.dice.uniform() - 1), y * (2 * p.e.dice.uniform() - 1)); };
  constexpr double kShortest = 0.8;  // m
  for (int tries = 0; tries < 200; ++tries) {
    const Vec2 to = anywhere();
    const Evening::Roll roll = p.e.roll_to(stray, to);
    const double struck = roll.off + 0.8 + p.e.dice.uniform() * std::max(0.0, roll.lasts - 1.2);
    if ((to - roll.from).norm() < kShortest || p.e.meets(roll, stroke, {}, struck)) continue;
    p.e.roll_by_hand(stray, to);
    p.e.now = struck - 1.5;
    p.e.strike(stroke, {}, {.what = name});
    p.e.now = std::max(p.e.now, roll.off + roll.lasts + 0.8);
    return true;
  }
  return false;
}

TEST(Evening, StruckWhileABallSentByHandRolls) {
  const char* const kSamples[] = {"long-red-from-the-d", "middle-red-off-the-side", "screw-back-to-the-mark",
                                  "cannon-to-loosen-three-reds"};
  std::uint64_t first = 1, count = 8;
  if (const char* other = std::getenv("BAIZETRACE_ROLLS")) {
    ASSERT_EQ(std::sscanf(other, "%lu:%lu", &first, &count), 2) << "BAIZETRACE_ROLLS is FIRST:COUNT";
  }
  int shots = 0, wrong = 0, told = 0;
  for (std::uint64_t seed = first; seed < first + count; ++seed) {
    const Ground g = ground(kSamples[seed % 4]);
    Player p(g, 500 + seed);
    const std::string stray = std::array{"yellow", "green", "red-9"}[seed % 3];
    p.e.place(stray, {seed % 2 ? -0.80 : 0.80, 0.3});
    p.e.wait(2.5);
    for (int k = 0; k < 3; ++k) {
      p.set_up();
      shots += play_while_a_ball_rolls(p, g, stray, fmt::format("{} {} of evening {}", stray, k + 1, seed));
    }
    for (const std::string& f : p.faults()) std::cout << f << "\n", ++wrong;
    // That another ball was on its way is told, and nothing of the kind where none was.
    const std::string ball = stray == "red-9" ? "red" : stray;
    for (const std::string& w : p.found.why_not) {
      if (w.find("on the way already") == std::string::npos) continue;
      const double at = std::atof(w.c_str());
      const bool right = w.find(ball) != std::string::npos || w.find("a ball") != std::string::npos;
      const bool then = std::any_of(p.e.shots.begin(), p.e.shots.end(),
                                    [&](const invented::TrueShot& s) { return std::abs(s.time - at) < 0.5; });
      if (right && then)
        ++told;
      else
        std::cout << "told wrongly: " << w << "\n", ++wrong;
    }
  }
  std::cout << shots << " shots, " << wrong << " faults, " << told << " told\n";
  RecordProperty("shots", shots);
  RecordProperty("wrong", wrong);
  EXPECT_GT(shots, 2 * static_cast<int>(count));
  EXPECT_EQ(wrong, 0);
  EXPECT_GE(10 * told, 9 * shots);  // the rest: hidden by hands and cue for too long
}

TEST(Evening, RestAcrossTheTable) {
  Player p(long_red(), 9);
  p.play({.rest_across = true, .what = "with the rest"});
  p.set_up();
  p.play();
  EXPECT_ALL_RIGHT(p);
}

TEST(Evening, BallOffTheTable) {
  Player p(long_red(), 10);
  motion::Strike thick = p.g.strike;
  thick.heading += radians(0.8);
  p.e.strike(thick, {}, {.off_table_at = 0.1, .what = "ball off the table"});
  ASSERT_FALSE(p.e.lie.contains("red-1"));
  ASSERT_FALSE(p.e.shots.back().potted.contains("red-1"));
  p.set_up();
  p.play();
  EXPECT_ALL_RIGHT(p);
}

TEST(Evening, ClothBrushed) {
  Player p(long_red(), 11);
  p.play();
  for (const auto& b : {"white", "blue", "pink", "black"})
    if (p.e.lie.contains(b)) p.e.take(b);
  if (p.e.lie.contains("red-1")) p.e.take("red-1");
  p.e.brush();
  p.set_up();
  p.play();
  EXPECT_ALL_RIGHT(p);
}

TEST(Evening, TwoRedsSwapped) {
  static const Ground g = ground("cannon-to-loosen-three-reds");
  Player p(g, 12);
  p.play();
  // The reds come back in another order.
  std::map<std::string, std::string> swap{{"red-1", "red-2"}, {"red-2", "red-1"}};
  for (const motion::Ball& b : g.marks) {
    const auto it = swap.find(b.name);
    const std::string ball = it == swap.end() ? b.name : it->second;
    if (ball != "white") p.e.place(ball, b.place);
  }
  p.e.place("white", g.marks[0].place);
  p.play();
  (void)p.faults();
  ASSERT_EQ(p.found.sorted.attempts.size(), 2U) << p.told();
  for (const motion::Ball& b : g.marks) {
    const auto it = p.found.sorted.attempts[1].before.find(b.name);
    ASSERT_NE(it, p.found.sorted.attempts[1].before.end()) << b.name;
    EXPECT_LT((it->second.at - b.place).norm(), 0.006) << b.name;
  }
}

TEST(Evening, LastAttemptCutOffSaysSo) {
  Player p(long_red(), 13);
  p.play();
  p.set_up();
  p.play();
  const double struck = p.e.shots.back().time;
  const auto found = invented::find_attempts(p.e.looks(struck + 1.2), p.g.table, p.g.set, std::span(&p.g.setup, 1));
  ASSERT_EQ(found.sorted.attempts.size(), 2U);
  EXPECT_EQ(found.sorted.attempts[0].ended, Ended::rest);
  EXPECT_EQ(found.sorted.attempts[1].ended, Ended::clip);
}

// One evening of five to fifteen attempts with what DESIGN.md 5.12 names, at random; between attempts and in them. A
// ball that a hand set rolling and that rolls on through the next strike has a test of its own above.
void play_at_random(Player& p, const Ground& g, const std::string& name) {
  const auto chance = [&](double share) { return p.e.dice.uniform() < share; };
  const int n = 5 + static_cast<int>(10.99 * p.e.dice.uniform());
  for (int k = 0; k < n; ++k) {
    p.set_up();
    if (chance(0.10)) p.e.walk_by();
    if (chance(0.10)) p.e.nudge("white", {0.003, 0.002});  // a touched ball
    if (chance(0.08))
      for (const motion::Ball& b : g.marks)
        if (b.name != "white" && p.e.lie.contains(b.name)) {
          p.e.nudge(b.name, {0.002, -0.002});
          break;
        }
    Evening::Play how;
    how.what = fmt::format("{} attempt {}", name, k + 1);
    if (chance(0.10))
      how.taken_at = 2.2 + p.e.dice.uniform();
    else if (chance(0.06))
      how.off_table_at = 1.2 + p.e.dice.uniform();
    how.rest_across = chance(0.06);
    const bool wild = chance(0.15);
    how.what +=
        fmt::format("{}{}{}{}", how.taken_at > 0 ? ", picked up" : "", how.off_table_at > 0 ? ", off the table" : "",
                    how.rest_across ? ", rest" : "", wild ? ", wild" : "");
    p.play(how, wild ? 6 : 1);
    if (chance(0.15) && p.e.lie.contains("white")) p.play_on();
    if (chance(0.10) && p.e.lie.contains("white")) p.e.roll_by_hand("white", g.marks[0].place + Vec2(0.08, 0.05));
    if (chance(0.08))  // a foul re-spot: a ball is put back that nobody played
      for (const motion::Ball& b : g.marks)
        if (b.name != "white" && p.e.lie.contains(b.name)) {
          p.e.take(b.name);
          p.e.place(b.name, b.place + Vec2(0.001, 0.002));
          break;
        }
    if (chance(0.04)) {
      for (const motion::Ball& b : g.marks)
        if (p.e.lie.contains(b.name)) p.e.take(b.name);
      p.e.brush();
    }
  }
}

// Twenty evenings. BAIZETRACE_EVENINGS=FIRST:COUNT plays others: those that nothing was mended by.
TEST(Evening, TwentyAtRandom) {
  const char* const kSamples[] = {"long-red-from-the-d", "middle-red-off-the-side", "screw-back-to-the-mark",
                                  "last-black-for-the-yellow", "cannon-to-loosen-three-reds"};
  std::uint64_t first = 1, count = 20;
  if (const char* other = std::getenv("BAIZETRACE_EVENINGS")) {
    ASSERT_EQ(std::sscanf(other, "%lu:%lu", &first, &count), 2) << "BAIZETRACE_EVENINGS is FIRST:COUNT";
  }
  int attempts = 0, wrong = 0, invented = 0;
  for (std::uint64_t seed = first; seed < first + count; ++seed) {
    const Ground g = ground(kSamples[seed % 5]);
    Player p(g, 100 + seed);
    play_at_random(p, g, fmt::format("{} evening {}", kSamples[seed % 5], seed));
    attempts += static_cast<int>(
        std::count_if(p.e.shots.begin(), p.e.shots.end(), [](const invented::TrueShot& s) { return s.attempt; }));
    for (const std::string& f : p.faults()) {
      std::cout << f << "\n";
      ++(f.find("invented") == std::string::npos ? wrong : invented);
    }
  }
  RecordProperty("attempts", attempts);
  RecordProperty("wrong", wrong);
  std::cout << attempts << " attempts, " << wrong << " wrong, " << invented << " invented\n";
  EXPECT_EQ(invented, 0);
  EXPECT_LE(100 * wrong, attempts);
}

}  // namespace
}  // namespace baizetrace::practice
