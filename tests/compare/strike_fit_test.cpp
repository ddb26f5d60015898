// Strikes read back from motion that the small-step integrator made and that was measured badly.
#include "compare/strike_fit.hpp"
#include "compare/shot_fit.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cstdlib>
#include <limits>

#include "base/files.hpp"
#include "support/full_size.hpp"
#include "support/oracle_shots.hpp"

namespace baizetrace::compare {
namespace {

using support::median;
using support::OracleShot;
using test_support::full_size;
using test_support::snooker;

// Known about as well as fifteen attempts tell it.
KnownPlay tuned_play(const motion::Conditions& c) {
  KnownPlay k = assumed_play(c);
  k.u *= 0.3;
  return k;
}

// The middle red of a simple shot, exactly measured: everything comes back.
TEST(StrikeFit, ExactMotionGivesTheStrikeBack) {
  const auto table = full_size();
  const auto set = snooker();
  for (const std::uint64_t seed : {2U, 35U, 55U}) {
    const OracleShot shot =
        support::random_oracle_shot(table, {}, seed, {.noise = 1e-6, .shared = 1e-6, .cue = 0, .hand = 0});
    const auto e = evidence_of(shot.attempt, table, set);
    ASSERT_TRUE(e) << e.error().what;
    const StrikeFound f = find_strike(*e, *shot.attempt.strike, table, tuned_play({}));
    ASSERT_TRUE(f.fits) << f.why;
    EXPECT_NEAR(f.numbers.strike.speed, shot.strike.speed, 0.02 * shot.strike.speed);
    EXPECT_NEAR(degrees(wrap_angle(f.numbers.strike.heading - shot.strike.heading)), 0, 0.15);
    EXPECT_NEAR(f.numbers.strike.right, shot.strike.right, 0.02);
    EXPECT_NEAR(f.numbers.strike.height, shot.strike.height, 0.02);
  }
}

TEST(StrikeFit, SideDoesNotShowBeforeACushion) {
  const auto table = full_size();
  const auto set = snooker();
  int shots = 0;
  for (std::uint64_t seed = 1; shots < 6; ++seed) {
    const OracleShot shot = support::random_oracle_shot(table, {}, seed);
    if (shot.cushions < 2 || shot.jaw || shot.balls.size() > 1) continue;
    ++shots;
    const auto e = evidence_of(shot.attempt, table, set, {.before_first_cushion = true});
    if (!e) continue;
    const StrikeFound f = find_strike(*e, *shot.attempt.strike, table, tuned_play({}));
    ASSERT_TRUE(f.fits) << f.why;
    EXPECT_FALSE(f.right.number()) << "seed " << seed << ": " << f.right.low << " to " << f.right.high;
    EXPECT_LE(f.right.low, shot.strike.right + 0.05);
    EXPECT_GE(f.right.high, shot.strike.right - 0.05);
  }
}

TEST(StrikeFit, AMotionThatNoStrikeMakesIsNotExplained) {
  const auto table = full_size();
  const auto set = snooker();
  OracleShot shot = support::random_oracle_shot(table, {}, 3);
  // Picked up and thrown after its first cushion.
  auto& white = shot.attempt.balls.at("white");
  for (PathRow& r : white.rows)
    if (r.time > white.contacts[0].time + 0.2) r.at.x() = 0.3 * r.at.x() + 0.2;
  const auto e = evidence_of(shot.attempt, table, set);
  ASSERT_TRUE(e) << e.error().what;
  const StrikeFound f = find_strike(*e, *shot.attempt.strike, table, tuned_play({}));
  EXPECT_FALSE(f.fits);
  EXPECT_FALSE(f.why.empty());
}

// A cue is raised over the cushion behind the ball (8 to 20 degrees there, TRADE.md, common practice): with side the
// white swerves, and that tells it. A level cue, or no side, shows nothing of it.
TEST(StrikeFit, ACueRaisedOverACushionIsToldWhereItShows) {
  const auto table = full_size();
  const auto set = snooker();
  const Vec2 by_the_cushion(0.1, -1.72), in_the_open(0.1, -0.9);
  EXPECT_NEAR(degrees(raised_cue(in_the_open, 0.1, table).usual), 3, 1e-9);
  EXPECT_GT(degrees(raised_cue(by_the_cushion, 0.1, table).usual), 8);
  EXPECT_NEAR(degrees(raised_cue(by_the_cushion, kPi / 2, table).usual), 3, 0.2) << "along the cushion";
  const auto find = [&](double right, double raised, std::uint64_t seed) {
    motion::Ball white;
    white.name = "white";
    white.place = by_the_cushion;
    const motion::Strike s{.speed = 2.4, .heading = 0.1, .right = right, .height = 0.1, .elevation = radians(raised)};
    const OracleShot shot = support::play_oracle(table, {}, s, {white}, seed, {});
    const auto e = evidence_of(shot.attempt, table, set);
    EXPECT_TRUE(e);
    StrikeFound f = find_strike(*e, *shot.attempt.strike, table, tuned_play({}));
    EXPECT_TRUE(f.fits) << f.why;
    EXPECT_TRUE(f.right.low <= right && right <= f.right.high) << f.right.low << " to " << f.right.high;
    EXPECT_NEAR(f.speed.value, s.speed, 0.03 * s.speed);
    return f;
  };
  for (const double raised : {9.0, 13.0, 17.0}) {
    const StrikeFound f = find(0.35, raised, 3);
    ASSERT_TRUE(f.elevation) << raised;
    std::printf("raised %.0f: told %.1f, %.1f to %.1f degrees\n", raised, degrees(f.elevation->value),
                degrees(f.elevation->low), degrees(f.elevation->high));
    EXPECT_LE(degrees(f.elevation->low), raised);
    EXPECT_GE(degrees(f.elevation->high), raised);
  }
  EXPECT_FALSE(find(0.0, 13, 4).elevation) << "without side nothing swerves";
}

// Means of distributions that are known: of a normal one, of a uniform one, and of a half-normal one (0.7979 sd; any
// table of the normal distribution, from memory).
TEST(StrikeFit, AMeanIsTheProfiles) {
  ProfilePoints normal, flat, half;
  for (int i = -40; i <= 40; ++i) {
    const double x = 0.1 * i;
    normal.emplace_back(3 + 0.1 * x, 50 + 2 * x * x);
    if (i >= 0) half.emplace_back(0.1 * x, 7 + x * x);
  }
  flat = {{2.0, 5}, {1.0, 5}};
  EXPECT_NEAR(mean_of(normal, 2), 3, 1e-9);
  EXPECT_NEAR(mean_of(flat, 1), 1.5, 1e-12);
  EXPECT_NEAR(mean_of(half, 1), 0.07979, 2e-4);
  EXPECT_EQ(mean_of({{4, 1}}, 1), 4);
  EXPECT_FALSE(at_its_edge({3, 2.5, 3.2}));
  EXPECT_TRUE(at_its_edge({3.15, 2.5, 3.2}));
  EXPECT_TRUE(at_its_edge({2.55, 2.5, 3.2}));
}

TEST(StrikeFit, OracleShots) {
  const auto table = full_size();
  const auto set = snooker();
  const char* many = std::getenv("BAIZETRACE_SHOTS");
  const int wanted = many ? std::atoi(many) : 25;
  const motion::Conditions truth;
  std::vector<double> speed, heading, right, height, seconds;
  int shots = 0, fitted = 0, held = 0, asked = 0;
  for (std::uint64_t seed = 1; shots < wanted && seed < 1000; ++seed) {
    const OracleShot shot = support::random_oracle_shot(table, truth, seed);
    if (shot.cushions < 2 || shot.jaw || !shot.rests) continue;
    ++shots;
    const auto e = evidence_of(shot.attempt, table, set);
    ASSERT_TRUE(e) << e.error().what;
    const auto begin = std::chrono::steady_clock::now();
    const StrikeFound f = find_strike(*e, *shot.attempt.strike, table, tuned_play(truth));
    seconds.push_back(std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count());
    if (!f.fits) {
      std::printf("seed %lu: %s\n", seed, f.why.c_str());
      continue;
    }
    ++fitted;
    const motion::Strike& s = f.numbers.strike;
    speed.push_back(std::abs(s.speed / shot.strike.speed - 1));
    heading.push_back(degrees(std::abs(wrap_angle(s.heading - shot.strike.heading))));
    const auto ask = [&](const char* what, const Told& t, double real, std::vector<double>* into) {
      const bool in = real >= t.low && real <= t.high;
      ++asked;
      held += in;
      if (!in) std::printf("seed %lu: %s %+.4f outside %+.4f to %+.4f\n", seed, what, real, t.low, t.high);
      if (into && t.number() && t.u() < 0.04) into->push_back(std::abs(t.value - real));
    };
    ask("speed", f.speed, shot.strike.speed, nullptr);
    ask("heading", f.heading, f.heading.value - wrap_angle(s.heading - shot.strike.heading), nullptr);
    ask("right", f.right, shot.strike.right, &right);
    ask("height", f.height, shot.strike.height, &height);
  }
  std::printf(
      "%d shots, %d explained; medians: speed %.2f %%, heading %.3f deg, right %.3f R (%zu told), height %.3f R (%zu "
      "told); "
      "%d of %d intervals hold; %.2f s a shot\n",
      shots, fitted, 100 * median(speed), median(heading), median(right), right.size(), median(height), height.size(),
      held, asked, median(seconds));
  EXPECT_GE(fitted, shots * 19 / 20);
  EXPECT_LT(median(speed), 0.03);
  EXPECT_LT(median(heading), 0.15);
  EXPECT_LT(median(right), 0.04);
  EXPECT_LT(median(height), 0.04);
  EXPECT_GE(held, asked * 9 / 10);
}

}  // namespace
}  // namespace baizetrace::compare
