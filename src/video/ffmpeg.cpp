#include "video/ffmpeg.hpp"

#include <spdlog/spdlog.h>

#include <array>
#include <mutex>
#include <string_view>

namespace baizetrace::video {

namespace {
// Complaints about how the stream was written, not about this picture's data: such a stream decodes as it was meant.
bool is_about_the_writer(std::string_view format) {
  return format.find("mmco") != format.npos || format.find("number of reference frames") != format.npos ||
         format.find("co located POCs") != format.npos;
}

bool tells_damage(int level, std::string_view format) {
  if (level <= AV_LOG_ERROR) return !is_about_the_writer(format);
  return format.starts_with("concealing");  // said at a lower level, yet the picture's missing parts were made up
}

// FFmpeg's objects begin with a pointer to their class.
AVCodecContext* as_codec(void* object) {
  if (!object) return nullptr;
  const AVClass* c = *static_cast<const AVClass* const*>(object);
  return c == avcodec_get_class() ? static_cast<AVCodecContext*>(object) : nullptr;
}

void to_our_log(void* object, int level, const char* format, va_list arguments) {
  if (AVCodecContext* codec = as_codec(object); codec && codec->opaque && tells_damage(level, format))
    static_cast<Complaints*>(codec->opaque)->add(codec->reordered_opaque);
  if (level > AV_LOG_WARNING || !spdlog::should_log(spdlog::level::debug)) return;
  std::array<char, 512> line{};
  int prefix = 1;
  av_log_format_line2(object, level, format, arguments, line.data(), static_cast<int>(line.size()), &prefix);
  std::string text(line.data());
  while (!text.empty() && text.back() == '\n') text.pop_back();
  spdlog::debug("decoder: {}", text);
}
}  // namespace

void Complaints::listen_to(AVCodecContext& codec) { codec.opaque = this; }

void Complaints::name_packet(AVCodecContext& codec, std::int64_t serial) { codec.reordered_opaque = serial; }

void Complaints::take_up_to(std::int64_t serial, std::set<std::int64_t>& packets) {
  const std::scoped_lock lock(mutex_);
  const auto last = serials_.upper_bound(serial);
  packets.insert(serials_.begin(), last);
  serials_.erase(serials_.begin(), last);
}

void Complaints::clear() {
  const std::scoped_lock lock(mutex_);
  serials_.clear();
}

void Complaints::add(std::int64_t serial) {
  const std::scoped_lock lock(mutex_);
  serials_.insert(serial);
}

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
