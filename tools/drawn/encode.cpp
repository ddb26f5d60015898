#include "drawn/encode.hpp"

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/display.h>
#include <libavutil/opt.h>
}

#include <cmath>
#include <cstring>

namespace baizetrace::drawn {

namespace {
constexpr int kTicks = 90000;  // a second
}

struct Encoder::State {
  AVFormatContext* format = nullptr;
  AVCodecContext* codec = nullptr;
  AVStream* stream = nullptr;
  AVFrame* frame = nullptr;
  AVPacket* packet = nullptr;
  std::string file;
  bool open = false;

  ~State() {
    if (format && format->pb) avio_closep(&format->pb);
    av_packet_free(&packet);
    av_frame_free(&frame);
    avcodec_free_context(&codec);
    if (format) avformat_free_context(format);
  }
  Result<Done> send(const AVFrame* f) {
    if (avcodec_send_frame(codec, f) < 0) return fail("{}: the encoder refused a frame", file);
    while (true) {
      const int got = avcodec_receive_packet(codec, packet);
      if (got == AVERROR(EAGAIN) || got == AVERROR_EOF) return Done{};
      if (got < 0) return fail("{}: encoding failed", file);
      av_packet_rescale_ts(packet, codec->time_base, stream->time_base);
      packet->stream_index = stream->index;
      if (av_interleaved_write_frame(format, packet) < 0) return fail("{}: cannot be written", file);
    }
  }
};

Encoder::Encoder(std::unique_ptr<State> state) : state_(std::move(state)) {}
Encoder::Encoder(Encoder&&) noexcept = default;
Encoder& Encoder::operator=(Encoder&&) noexcept = default;
Encoder::~Encoder() = default;

Result<Encoder> Encoder::open(const std::string& file, int width, int height, const EncodeOptions& options) {
  av_log_set_level(AV_LOG_ERROR);  // encoders are talkative
  auto s = std::make_unique<State>();
  s->file = file;
  const AVCodec* codec = avcodec_find_encoder_by_name(options.codec.c_str());
  if (!codec) return fail("{}: this build of FFmpeg has no encoder {}", file, options.codec);
  if (avformat_alloc_output_context2(&s->format, nullptr, "mp4", file.c_str()) < 0)
    return fail("{}: no such container", file);
  s->codec = avcodec_alloc_context3(codec);
  s->codec->width = width;
  s->codec->height = height;
  s->codec->pix_fmt = AV_PIX_FMT_YUV420P;
  s->codec->time_base = {1, kTicks};
  s->codec->framerate = {60, 1};
  s->codec->gop_size = options.key_every;
  s->codec->thread_count = 2;
  s->codec->color_range = AVCOL_RANGE_MPEG;
  s->codec->color_primaries = AVCOL_PRI_BT709;
  s->codec->color_trc = AVCOL_TRC_BT709;
  s->codec->colorspace = AVCOL_SPC_BT709;
  if ((s->format->oformat->flags & AVFMT_GLOBALHEADER) != 0) s->codec->flags |= AV_CODEC_FLAG_GLOBAL_HEADER;
  av_opt_set_double(s->codec->priv_data, "crf", options.quality, 0);
  av_opt_set(s->codec->priv_data, "preset", options.speed.c_str(), 0);
  if (options.codec == "libx265") av_opt_set(s->codec->priv_data, "x265-params", "log-level=error", 0);
  if (avcodec_open2(s->codec, codec, nullptr) < 0)
    return fail("{}: the encoder {} does not start", file, options.codec);
  s->stream = avformat_new_stream(s->format, nullptr);
  s->stream->time_base = s->codec->time_base;
  avcodec_parameters_from_context(s->stream->codecpar, s->codec);
  if (options.codec == "libx265") s->stream->codecpar->codec_tag = MKTAG('h', 'v', 'c', '1');
  if (options.rotation != 0) {
    auto* matrix = reinterpret_cast<std::int32_t*>(
        av_stream_new_side_data(s->stream, AV_PKT_DATA_DISPLAYMATRIX, 9 * sizeof(std::int32_t)));
    av_display_rotation_set(matrix, -options.rotation);  // FFmpeg counts counter-clockwise
  }
  if (avio_open(&s->format->pb, file.c_str(), AVIO_FLAG_WRITE) < 0) return fail("{}: cannot be written", file);
  if (avformat_write_header(s->format, nullptr) < 0) return fail("{}: cannot be written", file);
  s->open = true;
  s->packet = av_packet_alloc();
  s->frame = av_frame_alloc();
  s->frame->width = width;
  s->frame->height = height;
  s->frame->format = AV_PIX_FMT_YUV420P;
  if (av_frame_get_buffer(s->frame, 0) < 0) return fail("{}: no memory for a frame", file);
  return Encoder(std::move(s));
}

Result<Done> Encoder::put(const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr, double time) {
  State& s = *state_;
  if (av_frame_make_writable(s.frame) < 0) return fail("{}: no memory for a frame", s.file);
  const cv::Mat* planes[3] = {&luma, &cb, &cr};
  for (int k = 0; k < 3; ++k)
    for (int y = 0; y < planes[k]->rows; ++y)
      std::memcpy(s.frame->data[k] + static_cast<std::ptrdiff_t>(y) * s.frame->linesize[k], planes[k]->ptr(y),
                  static_cast<std::size_t>(planes[k]->cols));
  s.frame->pts = std::llround(time * kTicks);
  return s.send(s.frame);
}

Result<Done> Encoder::close() {
  State& s = *state_;
  if (!s.open) return Done{};
  s.open = false;
  if (auto flushed = s.send(nullptr); !flushed) return flushed;
  if (av_write_trailer(s.format) < 0) return fail("{}: cannot be written", s.file);
  return Done{};
}

}  // namespace baizetrace::drawn
