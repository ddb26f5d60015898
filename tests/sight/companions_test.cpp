// Shadows that go along with their balls. Invented sightings; the distances are those of drawn clips.
#include "sight/companions.hpp"

#include <gtest/gtest.h>

#include <algorithm>

namespace baizetrace::sight {
namespace {

KnownBall ball(int id, const Vec2& at, double brightness, bool moving = true) {
  KnownBall k;
  k.id = id;
  k.at = at;
  k.colour = {brightness, 128, 128};
  k.moving = moving;
  k.seen = true;
  return k;
}

// The shadow's ids told over a roll of `frames` frames of 3 cm; `drift`: m a frame that the second draws ahead.
std::vector<int> told(Companions& companions, double brightness, double drift, int frames = 12) {
  std::vector<int> out;
  for (int f = 0; f < frames; ++f) {
    const Vec2 at(0.03 * f, 0.01 * f);
    const std::vector<KnownBall> known{ball(1, at, 180), ball(2, at + Vec2(0.006 + drift * f, 0.049), brightness),
                                       ball(3, {0.3, 0.4}, 30, false)};
    for (const int id : companions.follow(known)) out.push_back(id);
  }
  return out;
}

TEST(Companions, AShadowGoesAlongWithItsBall) {
  Companions companions;
  EXPECT_EQ(told(companions, 40, 0), std::vector<int>{2});
  // And is known again where it comes back, and only there.
  const std::vector<KnownBall> known{ball(1, {0.8, 0.1}, 180)};
  EXPECT_TRUE(companions.shadow_at(known, {0.806, 0.150}, 0.026));
  EXPECT_FALSE(companions.shadow_at(known, {0.75, 0.1}, 0.026));
  EXPECT_FALSE(companions.shadow_at({ball(4, {0.8, 0.1}, 180)}, {0.806, 0.150}, 0.026)) << "another ball";
}

TEST(Companions, BallsThatPartOrAreAsBrightAreBalls) {
  Companions apart, bright, lies, slow;
  EXPECT_TRUE(told(apart, 40, 0.011).empty()) << "a black that it has sent off draws ahead";
  EXPECT_TRUE(told(bright, 170, 0).empty());
  for (int f = 0; f < 40; ++f)
    EXPECT_TRUE(lies.follow({ball(1, {0, 0}, 180, false), ball(2, {0.006, 0.052}, 40, false)}).empty())
        << "a black frozen to the white";
  for (int f = 0; f < 90; ++f)  // 5 mm a frame: never far from one frame to the next
    EXPECT_TRUE(slow.follow({ball(1, {0.005 * f, 0}, 180), ball(2, {0.2, 0.06}, 40, f > 20)}).empty())
        << "a ball that a slow white rolls past";
}

}  // namespace
}  // namespace baizetrace::sight
