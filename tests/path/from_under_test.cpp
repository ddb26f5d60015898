// A white that lies under a lamp's frame from the beginning, and is seen once it has been struck. Invented sightings.
#include "path/from_under.hpp"

#include <gtest/gtest.h>

#include <Eigen/Dense>

#include "path/reconstruct.hpp"
#include "watching.hpp"

namespace baizetrace::path {
namespace {

constexpr double kFrame = 1.0 / 30;  // s

struct FromUnder : Watching {
  FromUnder() {
    cover.half_width = 1.0;
    cover.half_length = 1.9;
    for (double y = -0.5; y < -0.2; y += 0.01)
      for (double x = -1; x < 1; x += 0.01) cover.cover({x, y});
  }
  // Struck at 2 s below the frame, off up the table; `over`: whether what hides the bed does so in a look.
  template <class Over>
  std::optional<Episode> watched(double speed, Over over, const Sighting* paint = nullptr) {
    Tracker tracker(table, set);
    std::optional<Episode> out;
    for (int f = 0; f * kFrame < 4.1 && !out; ++f) {
      Look l;
      l.frame = f;
      l.time = f * kFrame;
      l.cover.half_width = cover.half_width;
      l.cover.half_length = cover.half_length;
      if (over(l.time)) l.cover = cover;
      const double t = std::clamp(l.time - kStruck, 0.0, speed / kSlows);
      const Vec2 at = kLay + (speed * t - 0.5 * kSlows * t * t) * kWay;
      if (!cover.covered(at)) l.sightings.push_back(see("white", l.time, at));
      if (!l.sightings.empty() && paint) l.sightings[0].colour = paint->colour;
      l.sightings.push_back(see("pink", l.time, {0, 0.9}));
      out = tracker.push(l);
    }
    return out ? out : tracker.finish();
  }
  static const BallTrack* white_of(const std::optional<Episode>& e) {
    if (!e) return nullptr;
    const auto w = std::find_if(e->balls.begin(), e->balls.end(), [](const BallTrack& b) { return b.ball == "white"; });
    return w == e->balls.end() ? nullptr : &*w;
  }
  static constexpr double kStruck = 2, kSlows = 0.1;  // s; m/s^2
  const Vec2 kLay{-0.2, -0.35}, kWay = Vec2(0.2, 1).normalized();
  CoverMap cover;
};

const auto kAlways = [](double) { return true; };

TEST_F(FromUnder, ItIsToldFromTheHiddenPartOfItsWay) {
  const auto e = watched(1.0, kAlways);
  const BallTrack* white = white_of(e);
  ASSERT_TRUE(white);
  ASSERT_TRUE(white->before);
  EXPECT_FALSE(white->before->seen());
  // It lies within what is said of it: along its way, and nearly on it.
  const Vec2 off = white->before->at - kLay;
  const Mat2 within = white->before->covariance.inverse();
  EXPECT_LT(off.dot(within * off), 2 * 2);
  EXPECT_LT(std::abs(off.x() * kWay.y() - off.y() * kWay.x()), 0.01);
  EXPECT_GT(std::sqrt(white->before->covariance.trace()), 0.05) << "anywhere under the frame";
  const EpisodePaths paths = reconstruct(*e, table, set, {});
  EXPECT_TRUE(paths.struck) << paths.why_not;
  EXPECT_NEAR(paths.strike_time, kStruck, 0.2);
}

TEST_F(FromUnder, APersonIsNoFrameAndAHandIsNoCue) {
  // Somebody leans there before it comes out, and has not all the time.
  EXPECT_FALSE(white_of(watched(1.0, [](double t) { return t < 0.5 || (t > 1.5 && t < 2.5); })));
  EXPECT_TRUE(white_of(watched(1.0, kAlways)));
  EXPECT_FALSE(white_of(watched(0.42, kAlways))) << "rolled by hand: 0.37 m/s where it comes out";
}

// A white that nobody saw at rest teaches nobody its colour; what it looks like lies elsewhere in sight.
TEST_F(FromUnder, WhatLiesInSightIsNotWhatRuns) {
  Sighting pale = see("white", 0, {0, 0});
  for (std::size_t k = 0; k < set.kinds.size(); ++k) {
    if (set.kinds[k].name == "white") pale.colour[k] = -0.5F;
    if (set.kinds[k].name == "pink") pale.colour[k] = 0.0F;
  }
  EXPECT_TRUE(white_of(watched(1.0, kAlways, &pale)));
  for (std::size_t k = 0; k < set.kinds.size(); ++k)
    if (set.kinds[k].name == "red") pale.colour[k] = 0.0F;
  EXPECT_FALSE(white_of(watched(1.0, kAlways, &pale))) << "a red, it may be";
}

}  // namespace
}  // namespace baizetrace::path
