#include "video/plain_copy.hpp"

#include <algorithm>
#include <cmath>

#include "video/container.hpp"
#include "video/half_made.hpp"

namespace baizetrace::video {

Result<PlainCopy> copy_plain(const ClipInfo& clip, double from, double to, const std::string& file, bool mute) {
  auto container = open_container(clip.file);
  if (!container) return pass_on(container);
  AVFormatContext& in = *container->input;
  HalfMade half(file);
  AVFormatContext* made = nullptr;
  avformat_alloc_output_context2(&made, nullptr, "mp4", half.part().c_str());
  OutputPtr output(made);
  if (!made) return fail("{}: FFmpeg's libraries here cannot write MP4", file);
  const AVStream& video = *container->video();
  if (avformat_query_codec(made->oformat, video.codecpar->codec_id, FF_COMPLIANCE_NORMAL) != 1)
    return fail("{}: its {} video cannot be copied into an MP4 file: leave --plain out", clip.file,
                avcodec_get_name(video.codecpar->codec_id));
  PlainCopy done;
  const int sound = mute ? -1 : av_find_best_stream(&in, AVMEDIA_TYPE_AUDIO, -1, -1, nullptr, 0);
  if (sound >= 0) in.streams[sound]->discard = AVDISCARD_DEFAULT;  // the container was opened for its picture
  std::vector<int> to_stream(in.nb_streams, -1);
  for (const int k : {container->stream, sound}) {
    if (k < 0) continue;
    const AVStream& source = *in.streams[k];
    if (k == sound && avformat_query_codec(made->oformat, source.codecpar->codec_id, FF_COMPLIANCE_NORMAL) != 1) {
      done.without_sound = fmt::format("{}: its sound ({}) cannot be copied into an MP4 file and was left out",
                                       clip.file, avcodec_get_name(source.codecpar->codec_id));
      continue;
    }
    AVStream* s = avformat_new_stream(made, nullptr);
    avcodec_parameters_copy(s->codecpar, source.codecpar);
    s->codecpar->codec_tag = 0;
    s->time_base = source.time_base;
    s->sample_aspect_ratio = source.sample_aspect_ratio;
    std::size_t size = 0;
    if (const auto* matrix = av_stream_get_side_data(&source, AV_PKT_DATA_DISPLAYMATRIX, &size))
      if (auto* copy = av_stream_new_side_data(s, AV_PKT_DATA_DISPLAYMATRIX, size)) std::copy_n(matrix, size, copy);
    to_stream[static_cast<std::size_t>(k)] = s->index;
  }
  const double tick = av_q2d(video.time_base), scale = clip.time_scale;
  // Container seconds of a shown time.
  const auto clock = [&](double time) { return clip.starts_at + time / scale; };
  constexpr double kSame = 1e-6;  // s: far below a tick
  if (const int e = av_seek_frame(&in, container->stream, std::llround(clock(from) / tick), AVSEEK_FLAG_BACKWARD);
      e < 0)
    return fail("{}: cannot be searched ({})", clip.file, ffmpeg_error(e));
  if (const int e = avio_open(&made->pb, half.part().c_str(), AVIO_FLAG_WRITE); e < 0)
    return fail("{}: cannot be written ({})", file, ffmpeg_error(e));
  AVDictionary* options = nullptr;
  av_dict_set(&options, "movflags", "+faststart", 0);
  const int header = avformat_write_header(made, &options);
  av_dict_free(&options);
  if (header < 0) return fail("{}: cannot be written ({})", file, ffmpeg_error(header));

  std::optional<double> origin;  // container's clock at the key frame
  const double end = clock(to) + kSame;
  PacketPtr packet(av_packet_alloc());
  while (av_read_frame(&in, packet.get()) >= 0) {
    const auto k = static_cast<std::size_t>(packet->stream_index);
    const bool is_video = packet->stream_index == container->stream;
    const int stream = k < to_stream.size() ? to_stream[k] : -1;
    const std::int64_t shown = packet->pts != AV_NOPTS_VALUE ? packet->pts : packet->dts;
    if (stream < 0 || shown == AV_NOPTS_VALUE || (!origin && !(is_video && packet->flags & AV_PKT_FLAG_KEY))) {
      av_packet_unref(packet.get());
      continue;
    }
    const AVRational base = in.streams[k]->time_base;
    const double at = static_cast<double>(shown) * av_q2d(base);
    if (is_video && !origin) {
      origin = at;
      done.from = (at - clip.starts_at) * scale;
    }
    const double decoded = packet->dts != AV_NOPTS_VALUE ? static_cast<double>(packet->dts) * av_q2d(base) : at;
    if (is_video && decoded > end) {
      av_packet_unref(packet.get());
      break;
    }
    // Shown before the key frame: they lean on pictures that are left behind. A picture shown after the end but decoded
    // before it stays: others lean on it.
    if (at < *origin - kSame || (!is_video && at > end)) {
      av_packet_unref(packet.get());
      continue;
    }
    const std::int64_t shift = std::llround(*origin / av_q2d(base));
    if (packet->pts != AV_NOPTS_VALUE) packet->pts -= shift;
    if (packet->dts != AV_NOPTS_VALUE) packet->dts -= shift;
    av_packet_rescale_ts(packet.get(), base, made->streams[stream]->time_base);
    packet->stream_index = stream;
    packet->pos = -1;
    if (is_video) {
      ++done.pictures;
      done.to = std::max(done.to, (at - clip.starts_at) * scale);
    }
    if (const int e = av_interleaved_write_frame(made, packet.get()); e < 0)
      return fail("{}: cannot be written ({})", file, ffmpeg_error(e));
  }
  if (done.pictures == 0) return fail("{}: has no picture from {:.1f} to {:.1f} s", clip.file, from, to);
  if (const int e = av_write_trailer(made); e < 0) return fail("{}: cannot be written ({})", file, ffmpeg_error(e));
  if (const int e = avio_closep(&made->pb); e < 0) return fail("{}: cannot be written ({})", file, ffmpeg_error(e));
  if (auto kept = half.keep(); !kept) return pass_on(kept);
  return done;
}

}  // namespace baizetrace::video
