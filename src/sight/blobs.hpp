// Connected parts of a mask on the coarse grid, and where in them balls may be.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "base/units.hpp"

namespace baizetrace::sight {

struct Run {
  int y, x0, x1;  // x1 exclusive
};

struct Blob {
  cv::Rect box;
  int area = 0;
  Vec2 centre = Vec2::Zero();  // coarse pixels
  Mat2 spread = Mat2::Zero();  // second central moments, coarse pixels^2
  std::vector<Run> runs;
};

// 8-connected parts of what is not less than `level` within `box`, of at least `least` pixels; in order of their first
// row and column.
[[nodiscard]] std::vector<Blob> find_blobs(const cv::Mat& mask, const cv::Rect& box, int level, int least);

// A place where a ball may be.
struct Seed {
  Vec2 at = Vec2::Zero();     // luma pixels, of the outline's middle
  Vec2 smear = Vec2::Zero();  // luma pixels, when the blob is as a swept ball
};

// Of one blob, given the ball's radius there (luma pixels): its middle when it is as large as a ball or a streak, else
// the middles of ball-sized bulges.
[[nodiscard]] std::vector<Seed> seeds_in(const Blob& blob, double radius);

// Share of the blob that is left after taking away what is thinner than `width` coarse pixels.
[[nodiscard]] double stout_share(const Blob& blob, double width);

}  // namespace baizetrace::sight
