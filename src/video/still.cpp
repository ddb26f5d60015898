#include "video/still.hpp"

#include <png.h>
#include <turbojpeg.h>

#include <algorithm>
#include <memory>

namespace baizetrace::video {
namespace {

using Handle = std::unique_ptr<void, int (*)(tjhandle)>;

cv::Mat of_jpeg(std::span<const std::uint8_t> file, StillAs as) {
  const Handle reader(tjInitDecompress(), tjDestroy);
  int width = 0, height = 0, sampling = 0, colours = 0;
  if (!reader || tjDecompressHeader3(reader.get(), file.data(), file.size(), &width, &height, &sampling, &colours) != 0)
    return {};
  const bool colour = as == StillAs::colour;
  cv::Mat out(height, width, colour ? CV_8UC3 : CV_8UC1);
  const int done = tjDecompress2(reader.get(), file.data(), file.size(), out.data, width, static_cast<int>(out.step),
                                 height, colour ? TJPF_BGR : TJPF_GRAY, TJFLAG_ACCURATEDCT);
  // A file that is cut off gives what there is, as a warning.
  return done == 0 || tjGetErrorCode(reader.get()) == TJERR_WARNING ? out : cv::Mat();
}

cv::Mat of_png(std::span<const std::uint8_t> file, StillAs as) {
  png_image image{};
  image.version = PNG_IMAGE_VERSION;
  if (png_image_begin_read_from_memory(&image, file.data(), file.size()) == 0) return {};
  image.format = as == StillAs::colour ? PNG_FORMAT_BGR : PNG_FORMAT_GRAY;
  cv::Mat out(static_cast<int>(image.height), static_cast<int>(image.width), as == StillAs::colour ? CV_8UC3 : CV_8UC1);
  const png_color black{0, 0, 0};  // under what is see-through
  if (png_image_finish_read(&image, &black, out.data, static_cast<png_int_32>(out.step), nullptr) == 0) return {};
  return out;
}

}  // namespace

std::vector<std::uint8_t> jpeg_of(const cv::Mat& bgr, int quality) {
  CV_Assert(bgr.empty() || bgr.type() == CV_8UC3);
  const Handle writer(tjInitCompress(), tjDestroy);
  if (bgr.empty() || !writer) return {};
  unsigned char* made = nullptr;
  unsigned long size = 0;
  const int done = tjCompress2(writer.get(), bgr.data, bgr.cols, static_cast<int>(bgr.step), bgr.rows, TJPF_BGR, &made,
                               &size, TJSAMP_420, quality, TJFLAG_ACCURATEDCT);
  const std::unique_ptr<unsigned char, void (*)(unsigned char*)> owned(made, tjFree);
  return done == 0 ? std::vector<std::uint8_t>(made, made + size) : std::vector<std::uint8_t>();
}

std::vector<std::uint8_t> png_of(const cv::Mat& bgr) {
  CV_Assert(bgr.empty() || bgr.type() == CV_8UC3);
  if (bgr.empty()) return {};
  png_image image{};
  image.version = PNG_IMAGE_VERSION;
  image.width = static_cast<png_uint_32>(bgr.cols);
  image.height = static_cast<png_uint_32>(bgr.rows);
  image.format = PNG_FORMAT_BGR;
  image.flags = PNG_IMAGE_FLAG_FAST;
  png_alloc_size_t size = PNG_IMAGE_PNG_SIZE_MAX(image);
  std::vector<std::uint8_t> out(size);
  if (png_image_write_to_memory(&image, out.data(), &size, 0, bgr.data, static_cast<png_int_32>(bgr.step), nullptr) ==
      0)
    return {};
  out.resize(size);
  return out;
}

cv::Mat still_of(std::span<const std::uint8_t> file, StillAs as) {
  constexpr std::uint8_t kJpeg[] = {0xFF, 0xD8}, kPng[] = {0x89, 'P', 'N', 'G'};
  const auto begins = [&](std::span<const std::uint8_t> with) {
    return file.size() > with.size() && std::equal(with.begin(), with.end(), file.begin());
  };
  return begins(kJpeg) ? of_jpeg(file, as) : begins(kPng) ? of_png(file, as) : cv::Mat();
}

}  // namespace baizetrace::video
