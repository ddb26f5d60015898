// Where the middle pockets open, on drawn tables.
#include "camera/middle_pockets.hpp"

#include <gtest/gtest.h>

#include "support/drawn_table.hpp"
#include "support/full_size.hpp"

namespace baizetrace::camera {
namespace {

struct MiddlePockets : testing::Test {
  MiddlePockets() {
    test_support::draw_luma(camera, table).convertTo(scene.luma, CV_32F);
    scene.width = camera.width;
    scene.height = camera.height;
    x.width = camera.width;
    x.height = camera.height;
    x.lens = camera.lens;
    x.pose = camera.pose;
    x.half_width = table.half_width();
    x.half_length = table.half_length();
    x.nose_height = 0;  // drawn flat
  }
  // Half way along the table is thought to be so far from where it is, m.
  std::optional<double> off_by(double y) {
    Unknowns wrong = x;
    wrong.pose.t = x.pose.t - x.pose.R * Vec3(0, y, 0);
    return middle_off(middle_marks(scene, wrong), wrong);
  }
  const table::Table table = test_support::full_size();
  const Camera camera = test_support::overhead_camera();
  Scene scene;
  Unknowns x;
};

TEST_F(MiddlePockets, LieHalfWayAlong) {
  const std::vector<Mark> marks = middle_marks(scene, x);
  ASSERT_EQ(marks.size(), 2U);
  EXPECT_EQ(marks[0].index, kLeft);
  EXPECT_EQ(marks[1].index, kRight);
  ASSERT_TRUE(off_by(0));
  EXPECT_LT(*off_by(0), 0.002);
  EXPECT_NEAR(off_by(0.03).value_or(0), 0.03, 0.003);
  EXPECT_NEAR(off_by(-0.05).value_or(0), 0.05, 0.004);
}

TEST_F(MiddlePockets, AnArmOverOneIsNoPocketAndTheOtherStillTells) {
  const auto at = camera.project(Vec3(-table.half_width(), 0, 0));
  ASSERT_TRUE(at);
  cv::circle(scene.luma, cv::Point(static_cast<int>(at->x()), static_cast<int>(at->y())), 60, cv::Scalar(20), -1);
  const std::vector<Mark> marks = middle_marks(scene, x);
  ASSERT_EQ(marks.size(), 1U);
  EXPECT_EQ(marks[0].index, kRight);
  x.hidden_side = kRight;
  EXPECT_FALSE(off_by(0));
}

}  // namespace
}  // namespace baizetrace::camera
