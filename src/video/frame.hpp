// One shown frame of a clip: upright, with its time, its planes and its readout direction.
#pragma once

#include <cstdint>
#include <memory>
#include <opencv2/core.hpp>

#include "base/units.hpp"

namespace baizetrace::video {

// How the rows of the stored picture run through the upright one. Turned right: what was stored at the top is shown
// at the right (rotation of the stored picture by 90 degrees clockwise), and so on.
enum class Turn { none, clockwise_90, half, counter_clockwise_90 };

// The weights that luma was made with (the stream's tag; untagged: BT.709 from 720 rows up, else BT.601).
enum class Matrix { bt709, bt601, bt2020 };

struct Frame {
  int index = 0;         // among shown frames; identity only
  double time = 0;       // s, container timestamp less that of the first shown frame
  bool damaged = false;  // the decoder flagged errors or the packet was corrupt
  // Predicted, straight or through others, from a damaged frame (up to the next key frame): parts may be wrong, though
  // the decoder has no complaint about this one. A damaged frame is not called doubtful.
  bool doubtful = false;
  bool repeated = false;  // pixel for pixel the frame before
  Turn turn = Turn::none;

  Matrix matrix = Matrix::bt709;

  // Planes of the upright picture, 8 bits, always in the limited range (luma 16..235, chroma 16..240 about 128; a
  // full-range clip is brought to it): luma h x w; chroma ceil(h/2) x ceil(w/2). 10-bit and other pixel formats are
  // brought to this. Each plane holds its own share of the buffer and may outlive the Frame.
  // To be read only: the decoder may still predict other frames from the same buffer.
  cv::Mat luma, cb, cr;

  [[nodiscard]] int width() const { return luma.cols; }
  [[nodiscard]] int height() const { return luma.rows; }

  // Share of the readout (0 top row .. 1 bottom row of the stored picture) at which an upright pixel is exposed:
  // (v + 0.5) / height in the stored picture's rows. Clamped to [0, 1].
  [[nodiscard]] double row_share(const Vec2& pixel) const;

  // The picture as 8-bit BGR: for drawing only, never for measuring.
  [[nodiscard]] cv::Mat bgr() const;
};

// row_share for a picture of this size turned so; the same as Frame's, for those who have no frame at hand.
[[nodiscard]] double row_share(Turn turn, int upright_width, int upright_height, const Vec2& pixel);

}  // namespace baizetrace::video
