// Where chroma samples sit in the upright picture, and blobs against OpenCV's own components.
#include "sight/view.hpp"

#include <gtest/gtest.h>

#include <opencv2/imgproc.hpp>
#include <random>
#include <set>
#include <tuple>

#include "sight/blobs.hpp"

namespace baizetrace::sight {
namespace {

// Stored at column 2c + siting, row 2r + 0.5 of a w x h picture (ITU-T H.264, chroma sample location types 0 and 1);
// turned as the picture is turned.
TEST(ChromaPlace, TurnsWithThePicture) {
  constexpr int w = 40, h = 24, c = 7, r = 3;
  for (const double siting : {0.0, 0.5}) {
    const double x = 2 * c + siting, y = 2 * r + 0.5;
    const auto place = [&](video::Turn turn, int column, int row) {
      return chroma_place(column, row, chroma_offset(turn, siting));
    };
    EXPECT_LT((place(video::Turn::none, c, r) - Vec2(x, y)).norm(), 1e-12);
    EXPECT_LT((place(video::Turn::half, w / 2 - 1 - c, h / 2 - 1 - r) - Vec2(w - 1 - x, h - 1 - y)).norm(), 1e-12);
    // Stored at the top: shown at the right, and at the left.
    EXPECT_LT((place(video::Turn::clockwise_90, h / 2 - 1 - r, c) - Vec2(h - 1 - y, x)).norm(), 1e-12);
    EXPECT_LT((place(video::Turn::counter_clockwise_90, r, w / 2 - 1 - c) - Vec2(y, w - 1 - x)).norm(), 1e-12);
  }
}

TEST(Blobs, AreOpenCvsComponents) {
  std::mt19937 random(3);
  for (const int percent : {5, 45, 60}) {
    cv::Mat mask(61, 83, CV_8U);
    for (int y = 0; y < mask.rows; ++y)
      for (int x = 0; x < mask.cols; ++x)
        mask.at<std::uint8_t>(y, x) = static_cast<int>(random() % 100) < percent ? 1 + random() % 2 : 0;
    for (const int level : {1, 2}) {
      cv::Mat labels, stats, centres;
      const int n = cv::connectedComponentsWithStats(mask >= level, labels, stats, centres, 8);
      std::multiset<std::tuple<int, int, int, int, int>> expected, found;
      for (int k = 1; k < n; ++k)
        expected.insert({stats.at<int>(k, cv::CC_STAT_AREA), stats.at<int>(k, cv::CC_STAT_LEFT),
                         stats.at<int>(k, cv::CC_STAT_TOP), stats.at<int>(k, cv::CC_STAT_WIDTH),
                         stats.at<int>(k, cv::CC_STAT_HEIGHT)});
      for (const Blob& b : find_blobs(mask, cv::Rect(0, 0, mask.cols, mask.rows), level, 1))
        found.insert({b.area, b.box.x, b.box.y, b.box.width, b.box.height});
      EXPECT_EQ(found, expected) << percent << " % filled, level " << level;
    }
  }
}

}  // namespace
}  // namespace baizetrace::sight
