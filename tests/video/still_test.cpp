// Stills beside OpenCV's own reader and writer.
#include "video/still.hpp"

#include <gtest/gtest.h>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

namespace baizetrace::video {
namespace {

// Smooth colours with an edge across them, of a size that is no multiple of a block. Invented.
cv::Mat invented() {
  cv::Mat m(93, 141, CV_8UC3);
  for (int y = 0; y < m.rows; ++y)
    for (int x = 0; x < m.cols; ++x)
      m.at<cv::Vec3b>(y, x) = cv::Vec3b(static_cast<std::uint8_t>(40 + x), static_cast<std::uint8_t>(200 - y),
                                        static_cast<std::uint8_t>(x + 2 * y > 150 ? 60 : 120));
  return m;
}

double furthest(const cv::Mat& a, const cv::Mat& b) { return cv::norm(a, b, cv::NORM_INF); }

TEST(Still, APngKeepsEveryLevel) {
  const cv::Mat m = invented();
  const auto file = png_of(m);
  EXPECT_EQ(furthest(cv::imdecode(file, cv::IMREAD_COLOR), m), 0);
  EXPECT_EQ(furthest(still_of(file), m), 0);
  // A part of a picture, whose rows do not follow each other.
  const cv::Mat part = m(cv::Rect(10, 20, 50, 30));
  EXPECT_EQ(furthest(still_of(png_of(part)), part), 0);
  std::vector<std::uint8_t> theirs;
  ASSERT_TRUE(cv::imencode(".png", m, theirs));
  EXPECT_EQ(furthest(still_of(theirs), m), 0);
}

TEST(Still, AJpegIsWhatOpenCvReadsAndWrites) {
  const cv::Mat m = invented();
  std::vector<std::uint8_t> theirs;
  ASSERT_TRUE(cv::imencode(".jpg", m, theirs, {cv::IMWRITE_JPEG_QUALITY, 92}));
  const auto ours = jpeg_of(m, 92);
  for (const auto& file : {theirs, ours}) {
    EXPECT_LE(furthest(still_of(file), cv::imdecode(file, cv::IMREAD_COLOR)), 1);
    EXPECT_LE(furthest(still_of(file, StillAs::grey), cv::imdecode(file, cv::IMREAD_GRAYSCALE)), 1);
  }
  EXPECT_LE(furthest(still_of(ours), still_of(theirs)), 2);
  EXPECT_LT(jpeg_of(m, 50).size(), ours.size());
}

TEST(Still, WhatIsNoneIsEmpty) {
  EXPECT_TRUE(still_of({}).empty());
  const std::vector<std::uint8_t> text{'n', 'o', 'n', 'e', '.', '.', '.', '.'};
  EXPECT_TRUE(still_of(text).empty());
  auto broken = png_of(invented());
  broken.resize(broken.size() / 2);
  EXPECT_TRUE(still_of(broken).empty());
  std::vector<std::uint8_t> begins{0xFF, 0xD8, 0, 1, 2, 3};
  EXPECT_TRUE(still_of(begins).empty());
  EXPECT_TRUE(png_of({}).empty());
  EXPECT_TRUE(jpeg_of({}, 90).empty());
}

}  // namespace
}  // namespace baizetrace::video
