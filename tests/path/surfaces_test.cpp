#include "path/surfaces.hpp"

#include <gtest/gtest.h>

#include "support/truth_looks.hpp"

namespace baizetrace::path {
namespace {

constexpr double kRadius = 0.02625;  // m

table::Table full_size() {
  return table::Table(*table::read_spec(std::string(BAIZETRACE_SOURCE) + "/calibration/tables/full-size.table.toml"));
}

// Mathavan, Jackson & Parkin 2010 put the nose at 7/5 R: the centre of a touching ball is sqrt(R^2 - (2/5 R)^2) from
// it.
TEST(Surfaces, ABallTouchesWhereTheNoseIsAtSevenFifths) {
  const table::Table table = full_size();
  const double touch = kRadius * std::sqrt(1 - 0.16);
  for (const Surface& s : surfaces_of(table, kRadius)) {
    if (s.kind != ContactKind::cushion || s.name != "right") continue;
    EXPECT_NEAR(s.gap(Vec2(table.half_width() - touch, s.a.y())), 0, 1e-5);
  }
}

TEST(Surfaces, FirstTouchOfARollIsWhereTheParabolaCrosses) {
  const table::Table table = full_size();
  const Cloth cloth;
  Leg leg;
  leg.v = {1.0, 0.3};
  leg.p = {0.0, 0.5};
  const double wall = table.half_width() - table.touch_distance(kRadius);
  for (const Surface& s : surfaces_of(table, kRadius)) {
    if (s.kind != ContactKind::cushion || s.name != "right" || s.a.y() + s.b.y() < 0) continue;
    const auto t = first_touch(leg, cloth, s, 0, 10, 0);
    ASSERT_TRUE(t);
    EXPECT_NEAR(leg.at(*t, cloth).x(), wall, 1e-9);
  }
}

// Asked for from before the leg began, when nothing moved: a stride there would pass over an arc.
TEST(Surfaces, ALegTouchesNothingBeforeItBegins) {
  const table::Table table = full_size();
  Leg leg;
  leg.t = 1.0;
  leg.p = {-0.80, -1.70};
  leg.v = 1.5 * Vec2(-0.9152 + 0.80, -1.8107 + 1.70).normalized();
  for (const Surface& s : surfaces_of(table, kRadius)) {
    if (s.kind != ContactKind::pocket || s.name != "baulk-left") continue;
    const auto exact = first_touch(leg, {}, s, 1.0, 3, 0), early = first_touch(leg, {}, s, 0.98, 3, 0);
    ASSERT_TRUE(exact && early);
    EXPECT_NEAR(*early, *exact, 1e-9);
  }
}

TEST(Surfaces, AJawGoesOnFromItsNoseWithoutAStep) {
  const table::Table table = full_size();
  const auto all = surfaces_of(table, kRadius);
  int joints = 0;
  for (const Surface& j : all) {
    if (j.kind != ContactKind::jaw) continue;
    for (const Surface& n : all) {
      if (n.kind != ContactKind::cushion) continue;
      for (const Vec2& end : {n.a, n.b}) {
        if (std::abs(j.gap(end)) > 1e-9) continue;
        ++joints;
        EXPECT_LT((j.normal(end) - n.inward).norm(), 1e-6);
      }
    }
  }
  EXPECT_EQ(joints, 12);
}

TEST(Surfaces, ABallThatStopsShortTouchesNothing) {
  const table::Table table = full_size();
  const Cloth cloth;
  Leg leg;
  leg.v = {0.2, 0.0};  // runs 0.2^2 / (2 roll) = 0.21 m
  for (const Surface& s : surfaces_of(table, kRadius)) EXPECT_FALSE(first_touch(leg, cloth, s, 0, 100, 0));
}

}  // namespace
}  // namespace baizetrace::path
