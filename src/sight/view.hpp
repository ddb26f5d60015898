// One frame beside what the bare cloth would look like in it: what the fits of one frame look at.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "base/units.hpp"
#include "video/frame.hpp"

namespace baizetrace::sight {

// Brightness of a frame against the background, by place along the readout (lamp flicker makes bands).
struct Gain {
  bool by_row = true;        // false: bands run along the upright picture's columns
  double step = 2;           // px of luma per entry
  std::vector<float> share;  // empty: 1 everywhere

  [[nodiscard]] float at(double x, double y) const {
    if (share.empty()) return 1.0F;
    const int i = static_cast<int>((by_row ? y : x) / step);
    return share[static_cast<std::size_t>(std::min(std::max(i, 0), static_cast<int>(share.size()) - 1))];
  }
};

struct View {
  cv::Mat luma, cb, cr;                 // CV_8U, as in video::Frame
  cv::Mat bare_luma, bare_cb, bare_cr;  // CV_32F, same sizes: the cloth with nothing on it, before the gain
  Gain gain;
  double noise_luma = 2, noise_chroma = 1;  // levels, standard deviation of one pixel
  double blur = 0.7;                        // px, standard deviation of an edge's blur in luma
  Vec2 chroma_offset{0, 0.5};               // px, see chroma_place
};

// Place in luma's pixels of a chroma sample.
inline Vec2 chroma_place(int x, int y, const Vec2& offset) { return Vec2(2.0 * x, 2.0 * y) + offset; }

// That offset in the upright picture. `siting`: along the stored picture's rows, 0 for samples sited at the left luma
// column, 0.5 for those between two (ITU-T H.264 and H.265, chroma sample location types 0 and 1).
inline Vec2 chroma_offset(video::Turn turn, double siting) {
  switch (turn) {
    case video::Turn::clockwise_90:
      return {0.5, siting};
    case video::Turn::half:
      return {1 - siting, 0.5};
    case video::Turn::counter_clockwise_90:
      return {0.5, 1 - siting};
    case video::Turn::none:
      break;
  }
  return {siting, 0.5};
}

}  // namespace baizetrace::sight
