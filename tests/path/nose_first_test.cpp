// Balls that meet a cushion before they are first seen on their way. Simulated by the project's own model, which the
// same model reads: only what came first is looked at.
#include "simulated.hpp"

namespace baizetrace::path {
namespace {

using test_support::full_size;
using test_support::snooker;

struct NoseFirst : testing::Test {
  double any(double from, double to) { return from + (to - from) * unit(random); }
  // How many of 40 whites that lie `nearest` to `farthest` m off the right cushion and leave within `wide` rad of
  // straight towards it (away from it) have a first contact that is not the true one, or a start 20 degrees off.
  int wrong(double nearest, double farthest, bool towards) {
    const table::Table table = full_size();
    const table::BallSet set = snooker();
    const double touching = table.half_width() - table.touch_distance(set.kinds[0].radius);
    int shots = 0, wrong = 0;
    while (shots < 40) {
      const std::vector<motion::Ball> balls{
          motion::make_ball(set, "white", Vec2(touching - any(nearest, farthest), any(-1.2, -0.3)))};
      motion::Strike strike;
      strike.speed = any(1.5, 4.5);
      strike.heading = (towards ? 1 : -1) * kPi / 2 + (random() % 2 ? 1 : -1) * any(0.3, 1.1);
      strike.height = any(-0.1, 0.3);
      const auto p = motion::simulate(table, {}, balls, strike);
      if (!p || !p->complete || p->balls[0].pocket || p->balls[0].contacts.empty()) continue;
      Seeing see;
      see.strike = 1 + any(0, 1 / see.frames_per_second);
      const Simulated s = simulated(*p, balls, see, random);
      const EpisodePaths out = reconstruct(s.episode, table, set, {});
      ++shots;
      if (!out.struck) continue;  // not told is not wrong
      const BallPath &told = out.balls[0], &truth = s.truth[0];
      constexpr double kSame = 0.05;  // s
      const bool same = !told.contacts.empty() && told.contacts[0].with == truth.contacts[0].with &&
                        std::abs(told.contacts[0].time - truth.contacts[0].time) < kSame;
      const double off =
          std::abs(wrap_angle(heading_of(told.pieces[0].velocity) - heading_of(truth.pieces[0].velocity)));
      wrong += !same || off > radians(20);
    }
    return wrong;
  }
  std::mt19937 random{5};
  std::uniform_real_distribution<double> unit{0, 1};
};

TEST_F(NoseFirst, AWhiteThatLiesBesideTheCushionItIsPlayedInto) {
  EXPECT_LE(wrong(0.001, 0.020, true), 3) << "of 40";  // three of four before
  EXPECT_LE(wrong(0.020, 0.060, true), 1) << "of 40";
}

TEST_F(NoseFirst, OneThatIsPlayedAwayFromItMetNone) { EXPECT_EQ(wrong(0.001, 0.030, false), 0); }

}  // namespace
}  // namespace baizetrace::path
