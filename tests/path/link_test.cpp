// Which ball set which off.
#include "path/link.hpp"

#include <gtest/gtest.h>

namespace baizetrace::path {
namespace {

constexpr double kRadius = 0.02625, kMass = 0.142;

Chain chain(const std::string& ball, const Vec2& place, double begins, const Vec2& velocity) {
  Chain c;
  c.ball = ball;
  c.radius = kRadius;
  c.mass = kMass;
  c.start = Anchor{place, 1e3 * Mat2::Identity()};
  ChainLeg first;
  first.touch.kind = Touch::Kind::start;
  first.leg.t = begins;
  first.leg.p = place;
  first.leg.v = velocity;
  c.legs.push_back(first);
  return c;
}

// A red runs into a white, which sets off at that moment; or only seems to creep beside a white that is struck.
Touch::Kind what_set_the_white_off(double red_speed, double white_speed) {
  Problem problem;
  problem.cloth = problem.prior = {0.2 * kGravity, 0.01 * kGravity};
  constexpr double kBefore = 0.05;  // s
  const Vec2 white(0.3, 0.2), red = white - Vec2(2 * kRadius + kBefore * red_speed, 0);
  problem.chains = {chain("red-1", red, 1.0, {red_speed, 0}), chain("white", white, 1.0 + kBefore, {white_speed, 0})};
  link(problem);
  return problem.chains[1].legs[0].touch.kind;
}

TEST(Link, NothingSendsABallOffFasterThanItCame) {
  EXPECT_EQ(what_set_the_white_off(1.0, 0.9), Touch::Kind::ball);
  EXPECT_EQ(what_set_the_white_off(0.05, 0.04), Touch::Kind::ball);
  EXPECT_EQ(what_set_the_white_off(0.05, 1.5), Touch::Kind::start) << "it was struck";
}

}  // namespace
}  // namespace baizetrace::path
