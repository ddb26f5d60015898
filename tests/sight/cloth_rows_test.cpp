// The arithmetic of whole rows against OpenCV's; pockets' falls against their circles.
#include "sight/cloth_rows.hpp"

#include <gtest/gtest.h>

#include <opencv2/imgproc.hpp>
#include <random>

#include "sight/region.hpp"
#include "support/full_size.hpp"

namespace baizetrace::sight {
namespace {

TEST(ClothRows, SumsOfTheBedAreOpenCvsMeans) {
  std::mt19937 random(5);
  for (const int width : {3, 8, 61, 200}) {
    cv::Mat luma(1, width, CV_16U), bare(1, width, CV_32F), kind(1, width, CV_8U);
    cv::randu(luma, 64, 940);
    cv::randu(bare, 16, 235);
    for (int x = 0; x < width; ++x) kind.at<std::uint8_t>(x) = static_cast<std::uint8_t>(random() % 3);
    for (const int from : {0, 1, width / 3}) {
      const BedSums sums = bed_sums(luma.ptr<std::uint16_t>(), bare.ptr<float>(), kind.ptr(), 2, from, width);
      const cv::Range part(from, width);
      const cv::Mat on = kind.colRange(part) == 2;
      const int count = cv::countNonZero(on);
      EXPECT_EQ(sums.count, static_cast<float>(count));
      if (count == 0) continue;
      EXPECT_NEAR(static_cast<double>(sums.luma) / count, cv::mean(luma.colRange(part), on)[0], 1e-2);
      EXPECT_NEAR(static_cast<double>(sums.bare) / count, cv::mean(bare.colRange(part), on)[0], 1e-2);
    }
  }
}

TEST(ClothRows, OneValueAboveIsFoundWhereverItStands) {
  for (int at = 0; at < 32; ++at) {
    std::vector<float> row(32, 1.0F);
    EXPECT_FALSE(any_above(row.data(), 32, 2.0F));
    row[static_cast<std::size_t>(at)] = 2.0F;
    EXPECT_TRUE(any_above(row.data(), 32, 2.0F));
  }
}

// A metre above the middle, as a pinhole: what lies beyond a fall is told by its circle.
TEST(Region, TellsWhatLiesBeyondAFall) {
  const table::Table table = test_support::full_size();
  camera::Rig rig;
  rig.half_width = table.half_width();
  rig.half_length = table.half_length();
  camera::Camera& c = rig.camera;
  c.width = 1920;
  c.height = 1080;
  c.lens.fx = c.lens.fy = 900;
  c.lens.cx = 959.5;
  c.lens.cy = 539.5;
  c.pose.R << 0, 1, 0, 1, 0, 0, 0, 0, -1;
  c.pose.t = Vec3(0, 0, 2);
  constexpr double kRadius = 0.02625;
  const Region region = Region::make(rig, table, kRadius);
  EXPECT_LT(region.beyond_falls({0, 0}), -0.5);
  for (const table::Pocket& p : table.pockets()) {
    const Vec2 middle = p.fall_centre;
    EXPECT_NEAR(region.beyond_falls(middle), p.fall_radius, 1e-9);
    const Vec2 in = -middle.normalized();  // towards the bed
    EXPECT_NEAR(region.beyond_falls(middle + (p.fall_radius + 0.01) * in), -0.01, 1e-9);
  }
}

}  // namespace
}  // namespace baizetrace::sight
