#include "video/frame.hpp"

#include <gtest/gtest.h>

namespace baizetrace::video {
namespace {

Frame flat(int y, int cb, int cr, Matrix matrix) {
  Frame f;
  f.luma = cv::Mat(4, 6, CV_8U, cv::Scalar(y));
  f.cb = cv::Mat(2, 3, CV_8U, cv::Scalar(cb));
  f.cr = cv::Mat(2, 3, CV_8U, cv::Scalar(cr));
  f.matrix = matrix;
  return f;
}

// The 100 % colour bars' 8-bit levels (ITU-R BT.709-6 and BT.601-7, computed from their Kr, Kb and quantisation).
TEST(Frame, BgrFollowsThePublishedMatrices) {
  struct Bar {
    Matrix matrix;
    int y, cb, cr, b, g, r;
  };
  for (const Bar& bar : {Bar{Matrix::bt709, 235, 128, 128, 255, 255, 255}, Bar{Matrix::bt709, 16, 128, 128, 0, 0, 0},
                         Bar{Matrix::bt709, 63, 102, 240, 0, 0, 255}, Bar{Matrix::bt709, 173, 42, 26, 0, 255, 0},
                         Bar{Matrix::bt709, 32, 240, 118, 255, 0, 0}, Bar{Matrix::bt601, 81, 90, 240, 0, 0, 255},
                         Bar{Matrix::bt601, 145, 54, 34, 0, 255, 0}, Bar{Matrix::bt601, 41, 240, 110, 255, 0, 0}}) {
    const cv::Mat bgr = flat(bar.y, bar.cb, bar.cr, bar.matrix).bgr();
    ASSERT_EQ(bgr.size(), cv::Size(6, 4));
    const auto p = bgr.at<cv::Vec3b>(2, 3);
    EXPECT_NEAR(p[0], bar.b, 2) << bar.y;
    EXPECT_NEAR(p[1], bar.g, 2) << bar.y;
    EXPECT_NEAR(p[2], bar.r, 2) << bar.y;
  }
}

constexpr double kRounding = 1e-15;  // of shares up to 1

TEST(Frame, RowShareRunsAlongTheReadout) {
  // Upright 100 wide, 200 high; the stored picture's rows run down, to the left, up and to the right.
  EXPECT_NEAR(row_share(Turn::none, 100, 200, {3, 0}), 0.5 / 200, kRounding);
  EXPECT_NEAR(row_share(Turn::none, 100, 200, {3, 199}), 199.5 / 200, kRounding);
  EXPECT_NEAR(row_share(Turn::clockwise_90, 100, 200, {99, 7}), 0.5 / 100, kRounding);
  EXPECT_NEAR(row_share(Turn::half, 100, 200, {3, 199}), 0.5 / 200, kRounding);
  EXPECT_NEAR(row_share(Turn::counter_clockwise_90, 100, 200, {0, 7}), 0.5 / 100, kRounding);
  EXPECT_EQ(row_share(Turn::none, 100, 200, {3, -50}), 0);
  EXPECT_EQ(row_share(Turn::none, 100, 200, {3, 500}), 1);
}

}  // namespace
}  // namespace baizetrace::video
