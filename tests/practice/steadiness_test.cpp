#include "practice/steadiness.hpp"

#include <gtest/gtest.h>

namespace baizetrace::practice {
namespace {

std::map<std::string, Place> spots() {
  std::map<std::string, Place> m;
  m["blue"].at = {0, 0};
  m["pink"].at = {0, 0.892};
  m["black"].at = {0, 1.46};
  m["brown"].at = {0, -1.05};
  m["white"].at = {0.3, -0.4};
  return m;
}

TEST(CommonShift, AKnockedMountMovesAllAlike) {
  auto now = spots();
  for (auto& [ball, place] : now) place.at += Vec2(0.014, 0.018) + 0.002 * Vec2(place.at.y(), 0);
  now["white"].at = {-0.5, 1.0};  // played
  const auto shift = common_shift(spots(), now);
  ASSERT_TRUE(shift);
  EXPECT_NEAR(shift->x(), 0.014, 0.004);
  EXPECT_NEAR(shift->y(), 0.018, 0.004);
}

TEST(CommonShift, BallsPutBackByHandDoNot) {
  auto now = spots();
  now["white"].at += Vec2(0.004, -0.003);
  now["blue"].at += Vec2(-0.003, 0.002);
  now["pink"].at += Vec2(0.020, 0.010);
  EXPECT_FALSE(common_shift(spots(), now));
  EXPECT_FALSE(common_shift(spots(), spots()));
}

TEST(CommonShift, TooFewBallsTellNothing) {
  std::map<std::string, Place> then, now;
  then["white"].at = {0, 0};
  then["blue"].at = {0, 1};
  now["white"].at = {0.02, 0};
  now["blue"].at = {0.02, 1};
  EXPECT_FALSE(common_shift(then, now));
}

}  // namespace
}  // namespace baizetrace::practice
