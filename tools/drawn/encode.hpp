// Frames into a clip, by FFmpeg's libraries: each with its own time, the turn for display as the container's matrix.
#pragma once

#include <memory>
#include <opencv2/core.hpp>
#include <string>

#include "base/error.hpp"

namespace baizetrace::drawn {

struct EncodeOptions {
  std::string codec = "libx264";  // or libx265
  int quality = 23;               // constant rate factor
  std::string speed = "veryfast";
  int rotation = 0;    // degrees clockwise for display
  int key_every = 60;  // frames
};

class Encoder {
 public:
  // Errors: the codec is missing; the file cannot be written.
  static Result<Encoder> open(const std::string& file, int width, int height, const EncodeOptions& options);
  Encoder(Encoder&&) noexcept;
  Encoder& operator=(Encoder&&) noexcept;
  ~Encoder();
  // CV_8U planes, chroma half size; times grow.
  [[nodiscard]] Result<Done> put(const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr, double time);
  [[nodiscard]] Result<Done> close();

 private:
  struct State;
  explicit Encoder(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace baizetrace::drawn
