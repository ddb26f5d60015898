// Whether a resting ball has moved, told from its own picture: shade that falls across it does not move it; and whether
// anything has changed there.
#include "sight/known_ball.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace baizetrace::sight {
namespace {

constexpr double kRadius = 11;  // px

// A round shaded ball on darker cloth, its edge blurred; brightness falls across it by `shade` a pixel; noise of one
// level.
View drawn(const Vec2& centre, double level, double shade, unsigned seed) {
  View v;
  v.noise_luma = 1;
  v.luma.create(64, 72, CV_8U);
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0, 1);
  for (int y = 0; y < v.luma.rows; ++y)
    for (int x = 0; x < v.luma.cols; ++x) {
      const Vec2 d = Vec2(x, y) - centre;
      const double cover = 0.5 * std::erfc((d.norm() - kRadius) / (0.8 * std::sqrt(2.0)));
      const double body = level * (0.7 + 0.3 * std::sqrt(std::max(0.0, 1 - d.squaredNorm() / (kRadius * kRadius))));
      const double light = 1 + shade * d.x();
      v.luma.at<std::uint8_t>(y, x) =
          cv::saturate_cast<std::uint8_t>(light * (cover * body + (1 - cover) * 70) + noise(random));
    }
  return v;
}

KnownBall lying(const Vec2& centre) {
  KnownBall b;
  b.pixel = b.ellipse.centre = centre;
  b.ellipse.shape = Mat2::Identity() / kRadius;
  b.ellipse.radius = kRadius;
  return b;
}

TEST(KnownBall, ShadeDoesNotMoveItAndAMoveIsTold) {
  const Vec2 at(35.3, 30.8);
  for (const double level : {30.0, 120.0, 210.0}) {
    KnownBall ball = lying(at);
    EXPECT_FALSE(ball.moved_since_anchored(drawn(at, level, 0, 1)));  // nothing to compare with yet
    ball.anchor(drawn(at, level, 0, 1), 1);
    for (const double shade : {0.0, 0.012, -0.02}) {
      const auto still = ball.moved_since_anchored(drawn(at, level, shade, 2));
      ASSERT_TRUE(still) << level << " " << shade;
      EXPECT_LT(still->norm(), 0.12) << level << " " << shade;
    }
    for (const Vec2& by : {Vec2(0.5, 0.0), Vec2(-0.3, 0.7), Vec2(0.0, -0.9)}) {
      const auto moved = ball.moved_since_anchored(drawn(at + by, level, 0.008, 3));
      ASSERT_TRUE(moved) << level;
      EXPECT_LT((*moved - by).norm(), 0.2) << level;
    }
  }
}

TEST(KnownBall, CannotTellWhenItIsGoneOrCovered) {
  const Vec2 at(35.3, 30.8);
  KnownBall ball = lying(at);
  ball.anchor(drawn(at, 200, 0, 1), 1);
  EXPECT_FALSE(ball.moved_since_anchored(drawn(Vec2(-100, -100), 200, 0, 2)));  // bare cloth
  View covered = drawn(at, 200, 0, 2);
  covered.luma(cv::Rect(0, 0, 37, 64)).setTo(150);
  const auto half = ball.moved_since_anchored(covered);
  EXPECT_TRUE(!half || half->norm() < 0.35);
  ball.lift_anchor();
  EXPECT_FALSE(ball.anchored());
  EXPECT_FALSE(ball.moved_since_anchored(drawn(at, 200, 0, 2)));
}

// A brown ball on blue cloth may be as bright as the cloth: when it rolls away the picture there changes in colour
// alone. (Such a ball was told to lie still for half a second after it had gone.)
TEST(KnownBall, TheColourThatWentTellsThatItRolledAway) {
  const Vec2 at(35.3, 30.8);
  const auto scene = [&](const Vec2& ball, unsigned seed) {
    View v = drawn({-100, -100}, 0, 0, seed);
    v.noise_luma = v.noise_chroma = 1;
    v.cb.create(v.luma.rows / 2, v.luma.cols / 2, CV_8U);
    v.cr.create(v.cb.size(), CV_8U);
    std::mt19937 random(seed);
    std::normal_distribution<double> noise(0, 1);
    for (int y = 0; y < v.cb.rows; ++y)
      for (int x = 0; x < v.cb.cols; ++x) {
        const bool inside = (2 * Vec2(x, y) - ball).norm() < kRadius;
        v.cb.at<std::uint8_t>(y, x) = cv::saturate_cast<std::uint8_t>((inside ? 118 : 140) + noise(random));
        v.cr.at<std::uint8_t>(y, x) = cv::saturate_cast<std::uint8_t>((inside ? 142 : 117) + noise(random));
      }
    return v;
  };
  KnownBall ball = lying(at);
  ball.remember(scene(at, 1));
  for (unsigned seed = 2; seed < 6; ++seed) EXPECT_LT(ball.change(scene(at, seed)), 1) << "only noise";
  constexpr double kSurely = 3;  // times what noise does
  EXPECT_GT(ball.change(scene(at + Vec2(25, 0), 7)), kSurely) << "it rolled away";
  EXPECT_GT(ball.change(scene(at + Vec2(9, 0), 7)), 1) << "it rolls";
}

// Beside a green ball on green cloth a shadow a third of its size stood for a second: the ball was taken for something
// under a hand (drawn).
TEST(KnownBall, AShadowBesideItHidesNothing) {
  std::vector<KnownBall> known{lying({100, 80})};
  known[0].seen = true;
  EXPECT_TRUE(shadow_beside(known, {100 + 3.1 * kRadius, 80}, 0.35));
  EXPECT_FALSE(shadow_beside(known, {100 + 3.1 * kRadius, 80}, 0.8)) << "as large as a ball, or a hand";
  EXPECT_FALSE(shadow_beside(known, {100 + 6 * kRadius, 80}, 0.35)) << "far from it";
  known[0].seen = false;
  EXPECT_FALSE(shadow_beside(known, {100 + 3.1 * kRadius, 80}, 0.35)) << "it may be what hides the ball";
}

}  // namespace
}  // namespace baizetrace::sight
