// A decoded picture -> upright 8-bit planes, without a copy where none is needed.
#pragma once

#include "base/error.hpp"
#include "video/ffmpeg.hpp"
#include "video/frame.hpp"

namespace baizetrace::video {

// Keeps a scaler for the pixel formats that need one (RGB, palettes): one maker a clip, one thread at a time.
class PlaneMaker {
 public:
  explicit PlaneMaker(Turn turn) : turn_(turn) {}
  // Fills turn, matrix and planes of `frame`. An unturned 8-bit 4:2:0 limited-range picture is shared, not copied.
  // Error: a pixel format that cannot be read.
  Result<Done> make(const AVFrame& picture, Frame& frame);

 private:
  Turn turn_;
  ScalerPtr scaler_;
};

// The colour tags decide; untagged: BT.709 from 720 rows up, else BT.601 (common practice of players).
[[nodiscard]] Matrix matrix_of(AVColorSpace space, int height);

}  // namespace baizetrace::video
