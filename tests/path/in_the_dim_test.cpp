// Balls whose places are told to a few millimetres only, refitted now and then. Invented sightings, after a drawn clip.
#include <gtest/gtest.h>

#include "watching.hpp"

namespace baizetrace::path {
namespace {

constexpr double kFrame = 1.0 / 60;  // s

struct InTheDim : Watching {
  [[nodiscard]] Sighting see(const std::string& ball, double time, const Vec2& at, double sd, bool fresh) const {
    Sighting s = Watching::see(ball, time, at, sd);
    s.fresh = fresh;
    return s;
  }
  const Vec2 red{0.70, -0.048}, white{-0.3, 0.4};
};

// Somebody's shadow comes near: one fit is 2.5 mm off, and repeated as long as the picture does not change.
TEST_F(InTheDim, OneFitThatIsRepeatedIsNoNudge) {
  constexpr int kShifts = 900;
  const auto nudged = [&](bool fresh) {
    Tracker tracker(table, set);
    for (int f = 0; f < kShifts + 90; ++f) {
      Look l;
      l.frame = f;
      l.time = f * kFrame;
      l.sightings.push_back(see("white", l.time, white, 0.0008, f % 30 == 0));
      const bool shifted = f >= kShifts;
      // Fits of their own scatter by half a millimetre.
      const double scatter = (f / 30) % 2 ? 0.0006 : -0.0006;
      const Vec2 at = red + (shifted ? Vec2(0.0025, 0) : Vec2(scatter, scatter));
      l.sightings.push_back(see("red", l.time, at, 0.0004, shifted ? fresh || f == kShifts : f % 30 == 0));
      if (tracker.push(l)) return true;
    }
    return tracker.finish().has_value();
  };
  EXPECT_FALSE(nudged(false));
  EXPECT_TRUE(nudged(true)) << "fit after fit: it was touched";
}

// A red on red cloth, whose sightings on the move are stated to centimetres, is off its place all the same.
TEST_F(InTheDim, ABallBadlySeenIsOffItsPlaceAllTheSame) {
  constexpr double kHit = 2.0, kSd = 0.004, kMoving = 0.03;
  const Vec2 from = red - Vec2(0.0525, 0), goes = Vec2(0.3, -1.6).normalized();
  Tracker tracker(table, set);
  for (int f = 0; f < 180; ++f) {
    Look l;
    l.frame = f;
    l.time = f * kFrame;
    const double t = l.time - kHit;
    const double before = std::clamp(-t, 0.0, 0.4), after = std::max(0.0, t);
    l.sightings.push_back(
        see("white", l.time, Vec2(from - 2.0 * before * Vec2(1, 0) + 0.9 * after * goes), 0.0008, true));
    // It is told from its shadow late.
    l.sightings.push_back(
        see("red", l.time, red + Vec2(0.45 * std::max(0.0, after - 0.02), 0), t > 0 ? kMoving : kSd, true));
    (void)tracker.push(l);
  }
  const auto e = tracker.finish();
  ASSERT_TRUE(e);
  const auto it = std::find_if(e->balls.begin(), e->balls.end(), [](const BallTrack& b) { return b.ball == "red-1"; });
  ASSERT_NE(it, e->balls.end());
  EXPECT_TRUE(it->moved);
  EXPECT_GT(it->seen.size(), 30U);
}

}  // namespace
}  // namespace baizetrace::path
