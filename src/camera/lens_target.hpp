// The printable target, and the lens solved from pictures of it.
//
// A chessboard of 9 x 6 inner corners, the pattern of OpenCV's calibration samples; it is found by OpenCV's
// findChessboardCornersSB and solved by its calibrateCamera (Zhang's method: Z. Zhang, "A flexible new technique for
// camera calibration", 2000). A lens needs no scale: the print may be of any size, but must be flat.
#pragma once

#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "camera/lens_profile.hpp"

namespace baizetrace::camera {

inline constexpr int kTargetColumns = 9, kTargetRows = 6;  // inner corners

// SVG at true size: lengths in mm. Errors: another paper than a4 or a3.
[[nodiscard]] Result<std::string> target_svg(const std::string& paper);

// One picture of the target.
using TargetView = std::vector<cv::Point2f>;  // kTargetColumns * kTargetRows corners, row by row; empty: not seen
[[nodiscard]] TargetView find_target(const cv::Mat& luma);

// Takes what differs enough from what it has: gathers views from a clip as it is waved about.
class TargetViews {
 public:
  // False: no target in it, or one nearly as before.
  bool push(const cv::Mat& luma);
  [[nodiscard]] const std::vector<TargetView>& views() const { return views_; }
  [[nodiscard]] int looked_at() const { return looked_at_; }
  [[nodiscard]] cv::Size size() const { return size_; }

 private:
  std::vector<TargetView> views_;
  int looked_at_ = 0;
  cv::Size size_;
};

struct LensSolved {
  bool found = false;
  std::string why;  // one line when not
  LensProfile profile;
  double covered = 0;  // share of the picture that the corners reach, 0..1
  std::vector<std::string> warnings;
};

[[nodiscard]] LensSolved solve_lens(const std::vector<TargetView>& views, const cv::Size& size);

}  // namespace baizetrace::camera
