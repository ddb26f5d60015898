#include "video/container.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string_view>

extern "C" {
#include <libavutil/display.h>
}

namespace baizetrace::video {
namespace fs = std::filesystem;

namespace {
// Containers that phones, action cameras and editors write, and two that carry raw pictures.
constexpr const char* kContainers = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mpegts,mpeg,nut,yuv4mpegpipe";

// A display matrix this near to a right angle is one (phones write exact ones; editors round).
constexpr double kTurnSlack = 0.5;  // degrees

// A capture-rate tag this many times the stream's rate means stored slow motion. Phones' stretched recordings are 2 to
// 32 times; dropped frames alone bring the average of an ordinary clip down by less than a third.
constexpr double kSlowMotionFrom = 1.5;

enum class Boxes { none, complete, no_index, index_cut };

// Top-level boxes of the MP4/QuickTime family (ISO/IEC 14496-12, section 4.2: 32-bit size, type, optional 64-bit size).
Boxes look_at_boxes(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  std::error_code code;
  const std::uintmax_t length = fs::file_size(file, code);
  std::uintmax_t at = 0;
  bool family = false;
  for (int box = 0; box < 100000 && at + 8 <= length; ++box) {
    std::array<unsigned char, 16> head{};
    in.seekg(static_cast<std::streamoff>(at));
    in.read(reinterpret_cast<char*>(head.data()), 16);
    if (in.gcount() < 8) break;
    in.clear();
    std::uintmax_t size = 0;
    for (int i = 0; i < 4; ++i) size = size << 8 | head[static_cast<std::size_t>(i)];
    if (size == 1) {
      size = 0;
      for (int i = 8; i < 16; ++i) size = size << 8 | head[static_cast<std::size_t>(i)];
    } else if (size == 0) {
      size = length - at;
    }
    const std::string_view type(reinterpret_cast<const char*>(head.data()) + 4, 4);
    if (box == 0) {
      family = type == "ftyp" || type == "moov" || type == "mdat" || type == "wide" || type == "free" || type == "skip";
      if (!family) return Boxes::none;
    }
    if (type == "moov") return at + size <= length ? Boxes::complete : Boxes::index_cut;
    if (size < 8) break;
    at += size;
  }
  return family ? Boxes::no_index : Boxes::none;
}

Error cannot_open(const std::string& file, int code) {
  switch (look_at_boxes(file)) {
    case Boxes::no_index:
      return {fmt::format(
          "{}: its index is missing: the recording was not closed properly or the file was cut; copy it again from the "
          "phone",
          file)};
    case Boxes::index_cut:
      return {fmt::format("{}: the file ends inside its index: it was cut short; copy it again from the phone", file)};
    case Boxes::complete:
      return {fmt::format("{}: its index is damaged ({}); copy it again from the phone", file, ffmpeg_error(code))};
    case Boxes::none:
      break;
  }
  return {fmt::format("{}: not a video (expected MP4, MOV, MKV or AVI)", file)};
}
}  // namespace

Result<Container> open_container(const std::string& file) {
  quiet_ffmpeg();
  std::error_code code;
  const fs::file_status status = fs::status(file, code);
  if (!fs::exists(status)) return fail("{}: no such file", file);
  if (fs::is_directory(status)) return fail("{}: is a folder, expected a video", file);
  if (fs::is_regular_file(status) && fs::file_size(file, code) == 0)
    return fail("{}: is empty, expected a video", file);
  if (std::ifstream probe(file, std::ios::binary); !probe) return fail("{}: cannot be read (permission?)", file);

  AVDictionary* options = nullptr;
  av_dict_set(&options, "format_whitelist", kContainers, 0);
  av_dict_set(&options, "protocol_whitelist", "file", 0);
  AVFormatContext* raw = nullptr;
  const int opened = avformat_open_input(&raw, ("file:" + file).c_str(), nullptr, &options);
  av_dict_free(&options);
  if (opened < 0) return tl::make_unexpected(cannot_open(file, opened));
  Container c;
  c.input.reset(raw);
  // An index cut short can still open: without this a clip would lose its tail silently. FFmpeg also takes an index
  // that it finds inside a `free` box, whose content means nothing (ISO/IEC 14496-12, 8.1.2; from memory): what an
  // editor or a crash had discarded would be measured as if it were the recording.
  const Boxes boxes = look_at_boxes(file);
  const bool of_family = std::string_view(c.input->iformat->name).starts_with("mov");
  if (boxes == Boxes::index_cut || (boxes == Boxes::no_index && of_family))
    return tl::make_unexpected(cannot_open(file, AVERROR_INVALIDDATA));
  if (const int e = avformat_find_stream_info(c.input.get(), nullptr); e < 0)
    return fail("{}: its streams cannot be read ({})", file, ffmpeg_error(e));
  for (unsigned i = 0; i < c.input->nb_streams; ++i)
    if (c.input->streams[i]->disposition & AV_DISPOSITION_ATTACHED_PIC) c.input->streams[i]->discard = AVDISCARD_ALL;
  c.stream = av_find_best_stream(c.input.get(), AVMEDIA_TYPE_VIDEO, -1, -1, nullptr, 0);
  if (c.stream < 0 || (c.video()->disposition & AV_DISPOSITION_ATTACHED_PIC))
    return fail("{}: no video in it (sound only?)", file);
  for (unsigned i = 0; i < c.input->nb_streams; ++i)
    if (static_cast<int>(i) != c.stream) c.input->streams[i]->discard = AVDISCARD_ALL;
  return c;
}

Result<Turn> turn_of(const AVStream& stream, const std::string& file) {
  std::size_t size = 0;
  const auto* data = av_stream_get_side_data(&stream, AV_PKT_DATA_DISPLAYMATRIX, &size);
  if (!data || size < 9 * sizeof(std::int32_t)) return Turn::none;
  std::array<std::int32_t, 9> m{};
  std::copy_n(data, sizeof(m), reinterpret_cast<std::uint8_t*>(m.data()));
  const double determinant = static_cast<double>(m[0]) * m[4] - static_cast<double>(m[1]) * m[3];
  if (determinant < 0)
    return fail("{}: the picture is mirrored; record with the back camera, or export it unmirrored", file);
  const double counter_clockwise = av_display_rotation_get(m.data());
  if (std::isnan(counter_clockwise)) return fail("{}: its display matrix is damaged (not invertible)", file);
  const double quarter = std::round(counter_clockwise / 90);
  if (std::abs(counter_clockwise - 90 * quarter) > kTurnSlack)
    return fail("{}: the picture is to be turned by {:.1f} degrees, expected 0, 90, 180 or 270", file,
                counter_clockwise);
  switch ((static_cast<int>(quarter) % 4 + 4) % 4) {
    case 1:
      return Turn::counter_clockwise_90;
    case 2:
      return Turn::half;
    case 3:
      return Turn::clockwise_90;
    default:
      return Turn::none;
  }
}

Announced announced(const AVStream& stream) {
  // An MP4's index, once edit lists have been applied to it, is exact; other containers' indices hold key frames only.
  const int indexed = avformat_index_get_entries_count(&stream);
  if (stream.nb_frames <= 0 || indexed < stream.nb_frames / 2) return {stream.nb_frames, stream.nb_frames};
  Announced out{indexed, 0};
  for (int i = 0; i < indexed; ++i) {
    // The accessor takes a non-const stream, though it changes nothing.
    const AVIndexEntry* e = avformat_index_get_entry(const_cast<AVStream*>(&stream), i);
    out.shown += e && !(e->flags & AVINDEX_DISCARD_FRAME);
  }
  return out;
}

double time_scale_of(const AVFormatContext& input, const AVStream& stream) {
  const AVDictionaryEntry* tag = av_dict_get(input.metadata, "com.android.capture.fps", nullptr, 0);
  const double rate = av_q2d(stream.avg_frame_rate);
  if (!tag || !(rate > 0)) return 1;
  const double captured = std::strtod(tag->value, nullptr);
  return captured >= kSlowMotionFrom * rate ? rate / captured : 1;
}

Result<std::vector<std::int64_t>> shown_timestamps(const std::string& file) {
  auto c = open_container(file);
  if (!c) return pass_on(c);
  std::vector<std::int64_t> out;
  const PacketPtr packet(av_packet_alloc());
  while (av_read_frame(c->input.get(), packet.get()) >= 0) {
    if (packet->stream_index == c->stream && packet->pts != AV_NOPTS_VALUE && !(packet->flags & AV_PKT_FLAG_DISCARD))
      out.push_back(packet->pts);
    av_packet_unref(packet.get());
  }
  std::sort(out.begin(), out.end());
  return out;
}

}  // namespace baizetrace::video
