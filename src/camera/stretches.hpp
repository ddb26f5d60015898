// A clip in which the mount was knocked, cut where the camera stood still: its pictures must not be averaged over.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

namespace baizetrace::camera {

// One picture of a clip, whole.
struct Snap {
  double time = 0;  // s
  cv::Mat luma;     // CV_8U
  double sharpness = 0;
};

struct Stretch {
  double from = 0, to = 0;    // s, its first and last picture
  int pictures = 0;           // that tell
  double pixels_to_next = 0;  // how far the picture jumps to the next stretch
};

// In time's order. One stretch: the camera stood still, or the pictures do not tell. No camera need be known: whatever
// has edges is watched, and a jump of kJump between pictures that lasts is a move.
[[nodiscard]] std::vector<Stretch> still_stretches(const std::vector<Snap>& snaps);

}  // namespace baizetrace::camera
