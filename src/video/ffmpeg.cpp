#include "video/ffmpeg.hpp"

#include <spdlog/spdlog.h>

#include <array>
#include <mutex>

namespace baizetrace::video {

namespace {
void to_our_log(void* object, int level, const char* format, va_list arguments) {
  if (level > AV_LOG_WARNING || !spdlog::should_log(spdlog::level::debug)) return;
  std::array<char, 512> line{};
  int prefix = 1;
  av_log_format_line2(object, level, format, arguments, line.data(), static_cast<int>(line.size()), &prefix);
  std::string text(line.data());
  while (!text.empty() && text.back() == '\n') text.pop_back();
  spdlog::debug("decoder: {}", text);
}
}  // namespace

std::string ffmpeg_error(int code) {
  std::array<char, AV_ERROR_MAX_STRING_SIZE> text{};
  av_strerror(code, text.data(), text.size());
  return text.data();
}

void quiet_ffmpeg() {
  static std::once_flag once;
  std::call_once(once, [] { av_log_set_callback(to_our_log); });
}

}  // namespace baizetrace::video
