// When a fitted table is believed. Invented fits.
#include "camera/verdict.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "support/drawn_table.hpp"
#include "support/full_size.hpp"

namespace baizetrace::camera {
namespace {

using testing::Contains;
using testing::HasSubstr;

// All four noses followed, line and D where they belong.
Fit all_seen() {
  const table::Table table = test_support::full_size();
  const Camera camera = test_support::overhead_camera();
  Fit fit;
  fit.x.width = camera.width;
  fit.x.height = camera.height;
  fit.x.lens = camera.lens;
  fit.x.pose = camera.pose;
  fit.x.half_width = table.half_width();
  fit.x.half_length = table.half_length();
  fit.x.ball_radius = 0.02625;
  fit.x.line_y = table.baulk_line_y();
  fit.x.d_centre = Vec2(0, fit.x.line_y);
  fit.x.d_radius = table.spec().d_radius.value_or(0);
  fit.summary.usable = true;
  fit.summary.covariance = Eigen::MatrixXd::Identity(17, 17) * 1e-10;
  fit.nose_share = {0.9, 0.9, 0.9, 0.9};
  fit.line_share = 0.9;
  fit.d_share = 0.8;
  fit.balls = 2;
  return fit;
}

TEST(Verdict, ADOutOfSightIsNoReasonAgainstFourSides) {
  const table::Spec spec = test_support::full_size().spec();
  EXPECT_TRUE(judge(all_seen(), spec).found);
  Fit hidden = all_seen();
  hidden.d_share = 0.1;
  const Verdict v = judge(hidden, spec);
  EXPECT_TRUE(v.found) << v.why;
  EXPECT_FALSE(v.sure) << "another reading of the picture may explain more";
  EXPECT_THAT(v.warnings, Contains(HasSubstr("the D was not seen")));
}

// A board over one end, its edge taken for that end's nose: a drawn table that was 25 mm short and 47 mm wrong in
// silence, its middle pockets 48 mm off.
TEST(Verdict, ATableThatTheMiddlePocketsDoNotHalveIsNotBelieved) {
  const table::Spec spec = test_support::full_size().spec();
  Fit fit = all_seen();
  fit.middle_off = 0.010;
  const Verdict right = judge(fit, spec);
  EXPECT_TRUE(right.found) << right.why;
  fit.middle_off = 0.048;
  const Verdict wrong = judge(fit, spec);
  EXPECT_FALSE(wrong.found);
  EXPECT_LT(wrong.score, right.score) << "another reading of the picture may explain more";
  EXPECT_THAT(wrong.why, HasSubstr("the middle pockets lie 48 mm off"));
  fit.middle_off = 0.014;  // as of an ultra-wide drawn table that was 19 mm wrong
  EXPECT_FALSE(judge(fit, spec).found);
}

// The seam of cloth and wood taken for the noses, all round: 33 mm wider than tables are, 35 mm wrong.
// Three cushions of wood and one of cloth: the cloth's outer edge was taken for three noses (a drawn table was 7 cm off
// where 4 mm were stated). Cushions that all wear another cloth than the bed are none the worse.
TEST(Verdict, CushionsThatDoNotAgreeAreNoCushions) {
  const table::Spec spec = test_support::full_size().spec();
  constexpr double kCloth = 0.05, kWood = 0.5;
  Fit fit = all_seen();
  fit.cushion_apart = {kCloth, kCloth, kCloth, kCloth};
  EXPECT_TRUE(judge(fit, spec).found);
  fit.cushion_apart = {kWood, kWood, kWood, kCloth};
  EXPECT_FALSE(judge(fit, spec).found);
  fit.cushion_apart = {kWood, kWood, kWood, 0};  // one is not seen
  EXPECT_TRUE(judge(fit, spec).found);
}

TEST(Verdict, NoTableIsSoFarOffItsSize) {
  const table::Spec spec = test_support::full_size().spec();
  Fit fit = all_seen();
  fit.x.half_width += 0.0065;
  fit.x.half_length -= 0.0065;
  const Verdict right = judge(fit, spec);
  EXPECT_TRUE(right.found) << right.why;
  fit.x.half_width = spec.half_width + 0.017;
  const Verdict wrong = judge(fit, spec);
  EXPECT_FALSE(wrong.found);
  EXPECT_LT(wrong.score, right.score);
  EXPECT_THAT(wrong.why, HasSubstr("34 mm wider than its file"));
  fit.size_known = true;
  EXPECT_TRUE(judge(fit, spec).found) << "its owner has measured it";
}

TEST(Verdict, ALineWithoutADIsNoBaulkLineWhereASideIsHardlySeen) {
  const table::Spec spec = test_support::full_size().spec();
  Fit fit = all_seen();
  fit.d_share = 0.1;
  fit.nose_share[kTop] = 0.4;
  const Verdict v = judge(fit, spec);
  EXPECT_FALSE(v.found);
  EXPECT_THAT(v.why, HasSubstr("line and D"));
  Fit off = all_seen();
  off.d_share = 0.1;
  off.x.line_y += 0.02;  // 4 times what drawn marks are off by
  EXPECT_FALSE(judge(off, spec).found);
}

// A lamp's edge beside three seams made a rectangle 15 cm off.
TEST(Verdict, SeamsAloneAreNoTable) {
  const table::Spec spec = test_support::full_size().spec();
  Fit fit = all_seen();
  fit.rail_share = {1, 1, 1, 1};
  fit.nose_share = {0.9, 0.9, 0, 0};
  EXPECT_TRUE(judge(fit, spec).found) << "noses of two sides, seams of two";
  EXPECT_FALSE(judge(fit, spec).sure) << "another reading of the picture may explain more";
  fit.nose_share[kRight] = 0;
  EXPECT_THAT(judge(fit, spec).why, HasSubstr("the nose of one cushion only"));
  fit.nose_share[kBaulk] = 0;
  EXPECT_FALSE(judge(fit, spec).found);
  EXPECT_THAT(judge(fit, spec).why, HasSubstr("no cushion's nose"));
}

TEST(Verdict, WhatIsHardlySeenAnywhereDoesNotHoldTogether) {
  const table::Spec spec = test_support::full_size().spec();
  Fit fit = all_seen();
  fit.nose_share = {0.32, 0.32, 0.32, 0.32};
  fit.line_share = fit.d_share = 0.21;
  const Verdict v = judge(fit, spec);
  EXPECT_FALSE(v.found);
  EXPECT_THAT(v.why, HasSubstr("does not hold together"));
}

}  // namespace
}  // namespace baizetrace::camera
