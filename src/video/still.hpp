// Still pictures as files: JPEG and PNG. Pictures are 8 bits, blue green red; stored as they are, whatever a file says
// of how it is to be turned.
#pragma once

#include <cstdint>
#include <opencv2/core.hpp>
#include <span>
#include <vector>

namespace baizetrace::video {

// `quality`: 1 to 100, JPEG's usual scale. Empty: there is no memory, or no picture.
[[nodiscard]] std::vector<std::uint8_t> jpeg_of(const cv::Mat& bgr, int quality);
[[nodiscard]] std::vector<std::uint8_t> png_of(const cv::Mat& bgr);

enum class StillAs { colour, grey };
// Empty: neither a JPEG nor a PNG, or a broken one.
[[nodiscard]] cv::Mat still_of(std::span<const std::uint8_t> file, StillAs as = StillAs::colour);

}  // namespace baizetrace::video
