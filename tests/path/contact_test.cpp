#include "path/contact.hpp"

#include <gtest/gtest.h>

namespace baizetrace::path {
namespace {

// A chain that touches something at these places.
Chain touching(const std::vector<Vec2>& places, Touch::Kind kind) {
  Chain chain;
  chain.legs.emplace_back();
  for (const Vec2& p : places) {
    ChainLeg leg;
    leg.touch.kind = kind;
    leg.leg.p = p;
    leg.leg.t = chain.legs.back().leg.t + 0.03;
    chain.legs.push_back(leg);
  }
  return chain;
}

// A sleeve over a pocket, followed as the white, was told as one that met its jaws fifty-four times in two seconds.
TEST(Contacts, ABallRattlesSixTimesInAMouthAtMost) {
  const Vec2 one{-0.829, 1.765}, other{-0.880, 1.742};
  EXPECT_FALSE(rattles_on(touching({one, other, one, other, one, other}, Touch::Kind::surface)));
  EXPECT_TRUE(rattles_on(touching({one, other, one, other, one, other, one}, Touch::Kind::surface)));
  // Back and forth over the table, or among balls, as often as it likes.
  const Vec2 far{0.2, -1.76};
  EXPECT_FALSE(rattles_on(touching({one, far, one, far, one, far, one, far}, Touch::Kind::surface)));
  EXPECT_FALSE(rattles_on(touching({one, other, one, other, one, other, one}, Touch::Kind::ball)));
}

}  // namespace
}  // namespace baizetrace::path
