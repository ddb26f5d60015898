// What a still picture of a bed is taken for: cloth with its lines, and things that lie on it. Drawn plainly, seeded.
#include "sight/cloth_field.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgproc.hpp>
#include <random>

namespace baizetrace::sight {
namespace {

constexpr int kColumns = 400, kRows = 240;  // coarse pixels, all of them bed
constexpr double kBall = 6;                 // its radius in them

Region all_bed() {
  Region r;
  r.cols = kColumns;
  r.rows = kRows;
  r.box = {0, 0, kColumns, kRows};
  r.kind = cv::Mat(kRows, kColumns, CV_8U, cv::Scalar(Region::bed));
  r.ball_radius = r.smallest_ball = 2 * kBall;
  return r;
}

// Green cloth with noise; a line down at `line`, as wide as the encoder smears its colour; a faint ball.
struct Picture {
  cv::Mat coarse, luma, cb, cr;
};
Picture drawn(double line, const cv::Point& ball) {
  Picture p;
  std::mt19937 random(7);
  std::normal_distribution<float> noise(0, 0.4F);
  const auto plane = [&](float cloth, float of_line, float of_ball, double wide) {
    cv::Mat m(kRows, kColumns, CV_32F);
    for (int y = 0; y < kRows; ++y)
      for (int x = 0; x < kColumns; ++x) {
        const auto on_line = static_cast<float>(std::exp(-0.5 * std::pow((x - line) / wide, 2)));
        const bool in_ball = std::hypot(x - ball.x, y - ball.y) < kBall;
        m.at<float>(y, x) = cloth + on_line * (of_line - cloth) + (in_ball ? of_ball : 0.0F) + noise(random);
      }
    return m;
  };
  p.coarse = plane(90, 170, -6, 0.9);
  p.cb = plane(116, 126, 4, 1.1);
  p.cr = plane(96, 124, 5, 1.1);
  cv::resize(p.coarse, p.luma, {2 * kColumns, 2 * kRows}, 0, 0, cv::INTER_LINEAR);
  return p;
}

// Stretches of the baulk line were taken for things, filled in, and stood over the cloth ever after: a green ball on
// its spot never lay in the open, and the pot was not seen.
TEST(ClothField, ALineBelongsToTheClothAndAFaintBallDoesNot) {
  const Region region = all_bed();
  const cv::Point ball(300, 120);
  for (const double line : {100.0, 100.3, 100.5}) {
    Picture p = drawn(line, ball);
    const auto filled = fill_in_things(region, p.coarse, p.luma, p.cb, p.cr, 0.6, 0.5, {});
    ASSERT_TRUE(filled);
    int on_line = 0;
    for (int y = 0; y < kRows; ++y) on_line += filled->known.at<std::uint8_t>(y, 100);
    EXPECT_EQ(on_line, kRows) << line;
    EXPECT_EQ(filled->known.at<std::uint8_t>(ball.y, ball.x), 0);
    EXPECT_NEAR(static_cast<double>(p.cr.at<float>(ball.y, ball.x)), 96, 1.5) << "filled in with what lies around";
  }
}

}  // namespace
}  // namespace baizetrace::sight
