// What is held against a contact that a fit proposes.
#include "path/impact.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace baizetrace::path {
namespace {

constexpr double kRadius = 0.02625;

// Half the sum of squares of a full-ball contact: the white comes up the table onto a red at the origin. `from`: where
// the white's centre is at that moment.
double cost(const Vec2& from, double pulled) {
  Touch touch;
  touch.kind = Touch::Kind::ball;
  ImpactPair pair;
  pair.touch = &touch;
  pair.together = true;
  for (int i = 0; i < 2; ++i) pair.radius[i] = kRadius, pair.mass[i] = 0.142;
  pair.pulled = pulled;
  // Stun, all of the speed handed on but for the restitution's share.
  pair.state[0].at = from;
  pair.state[0].v_in = {0, 3};
  pair.state[0].w_in = pair.state[0].w_out = Vec2::Zero();
  pair.state[0].v_out = {0, 0.075};
  pair.state[1].v_out = {0, 2.925};
  pair.state[0].w_out = kSlipShare * (pair.state[0].v_out - pair.state[0].v_in);
  pair.state[1].w_out = kSlipShare * pair.state[1].v_out;
  double sum = 0;
  for (const double r : impact_residuals(pair, {})) sum += 0.5 * r * r;
  return sum;
}

// Out of sight a white was once told to meet a red on its far side, ten centimetres on: there it is 2 R off as well.
TEST(Impact, BallsMeetOnTheSidesThatFaceEachOther) {
  const double meets = cost({0, -2 * kRadius}, 0), passed = cost({0, 2 * kRadius}, 0);
  EXPECT_LT(meets, 3);
  EXPECT_GT(passed, meets + 50);
}

// A black in a hard shadow is placed 15 mm off, and says that it may be 4: it must not drag the contact as far.
TEST(Impact, BallsWhosePlacesAreBadlyToldHoldTheirContactLoosely) {
  const Vec2 off(0, -2 * kRadius - 0.012);
  const double clear = cost(off, 0), usual = cost(off, ImpactPrior().pulled), shadowed = cost(off, 0.004);
  EXPECT_DOUBLE_EQ(clear, usual);
  EXPECT_GT(clear, 300);
  EXPECT_LT(shadowed, 8);
}

}  // namespace
}  // namespace baizetrace::path
