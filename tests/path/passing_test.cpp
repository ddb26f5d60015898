#include "path/passing.hpp"

#include <gtest/gtest.h>

#include "support/truth_looks.hpp"

namespace baizetrace::path {
namespace {

constexpr double kRadius = 0.02625;  // m

BallPath straight(const Vec2& from, const Vec2& to, double seconds) {
  BallPath p;
  p.ball = "white";
  Piece piece;
  piece.to = seconds;
  piece.place = from;
  piece.velocity = (to - from) / seconds;
  p.pieces.push_back(piece);
  return p;
}

TEST(Gates, AStraightPathBetweenTwoBalls) {
  const std::vector<Post> posts{{"brown", {0.0, 0.0}, kRadius}, {"yellow", {0.3, 0.0}, kRadius}};
  const auto gates = gates_between(posts, kRadius);
  ASSERT_EQ(gates.size(), 1U);
  const auto passed = gates_passed(straight({0.1, -0.5}, {0.1, 0.5}, 2.0), kRadius, gates);
  ASSERT_EQ(passed.size(), 1U);
  EXPECT_NEAR(passed[0].time, 1.0, 1e-6);
  EXPECT_NEAR(passed[0].at.x(), 0.1, 1e-9);
  EXPECT_NEAR(passed[0].clearance, 0.1 - 2 * kRadius, 1e-9);
}

TEST(Gates, BesideIsNotBetween) {
  const std::vector<Post> posts{{"brown", {0.0, 0.0}, kRadius}, {"yellow", {0.3, 0.0}, kRadius}};
  EXPECT_TRUE(gates_passed(straight({-0.1, -0.5}, {-0.1, 0.5}, 2.0), kRadius, gates_between(posts, kRadius)).empty());
}

TEST(Gates, StoppingOnTheLineIsNotPassing) {
  const std::vector<Post> posts{{"brown", {0.0, 0.0}, kRadius}, {"yellow", {0.3, 0.0}, kRadius}};
  EXPECT_TRUE(gates_passed(straight({0.1, -0.5}, {0.1, 0.0}, 2.0), kRadius, gates_between(posts, kRadius)).empty());
}

TEST(Gates, ABallBetweenClosesAGateAndFarPostsAreNone) {
  const std::vector<Post> closed{
      {"brown", {0.0, 0.0}, kRadius}, {"yellow", {0.3, 0.0}, kRadius}, {"red-1", {0.15, 0.05}, kRadius}};
  for (const auto& [a, b] : gates_between(closed, kRadius))
    EXPECT_FALSE((a.name == "brown" && b.name == "yellow") || (a.name == "yellow" && b.name == "brown"));
  EXPECT_TRUE(gates_between({{"blue", {0, 0}, kRadius}, {"pink", {0, 0.8}, kRadius}}, kRadius).empty());
}

TEST(Gates, AMirrorImagePassesTheSame) {
  const std::vector<Post> posts{{"brown", {0.0, 0.0}, kRadius}, {"yellow", {0.3, 0.1}, kRadius}};
  std::vector<Post> mirrored = posts;
  for (Post& p : mirrored) p.at.x() *= -1;
  const auto a = gates_passed(straight({0.1, -0.5}, {0.2, 0.5}, 2.0), kRadius, gates_between(posts, kRadius));
  const auto b = gates_passed(straight({-0.1, -0.5}, {-0.2, 0.5}, 2.0), kRadius, gates_between(mirrored, kRadius));
  ASSERT_EQ(a.size(), 1U);
  ASSERT_EQ(b.size(), 1U);
  EXPECT_NEAR(a[0].time, b[0].time, 1e-9);
  EXPECT_NEAR(a[0].clearance, b[0].clearance, 1e-12);
}

TEST(Pockets, LeastDistanceToEachFallLine) {
  const auto spec = table::read_spec(std::string(BAIZETRACE_SOURCE) + "/calibration/tables/full-size.table.toml");
  ASSERT_TRUE(spec);
  const table::Table table(*spec);
  // Along x = 0.5 past the right middle pocket.
  const auto near = nearest_pockets(straight({0.5, -1.0}, {0.5, 1.0}, 4.0), table);
  ASSERT_EQ(near.size(), 6U);
  for (const PocketPassed& p : near) {
    if (p.pocket != "middle-right") continue;
    const table::Pocket* k = table.pocket("middle-right");
    EXPECT_NEAR(p.distance, k->fall_centre.x() - 0.5 - k->fall_radius, 1e-7);
    EXPECT_NEAR(p.time, 2.0, 1e-3);
  }
}

}  // namespace
}  // namespace baizetrace::path
