#include "video/film.hpp"

#include <cassert>
#include <cerrno>
#include <cmath>
#include <optional>

#include "video/ffmpeg.hpp"
#include "video/half_made.hpp"
#include "video/sound.hpp"

extern "C" {
#include <libavutil/opt.h>
}

namespace baizetrace::video {
namespace {
constexpr double kKeyEvery = 2;  // s between key frames at most: what a player can jump to
}  // namespace

void take_clock(FilmOptions& options, const ClipInfo& clip) {
  if (clip.nominal_rate > 0) options.rate = clip.nominal_rate;
  if (clip.time_scale != 1) return;
  options.tick_numerator = clip.tick_numerator;
  options.tick_denominator = clip.tick_denominator;
}

struct Film::State {
  explicit State(const std::string& file) : half(file) {}

  HalfMade half;
  OutputPtr output;
  CodecPtr codec;
  ScalerPtr scaler;
  FramePtr picture{av_frame_alloc()};
  PacketPtr packet{av_packet_alloc()};
  AVRational tick{1, 90000};
  int stream = -1, sound_stream = -1;
  std::optional<SoundPackets> sound;
  std::optional<SoundPackets::One> waiting;  // the next packet of sound
  FilmSound part;

  PacketPtr held;  // the last packet: how long it lasts is known when the next comes
  std::int64_t last = -1, step = 0, last_sound = INT64_MIN;
  std::string without_sound;
  int pictures = 0;

  Result<Done> fault(const char* doing, int code) const {
    return fail("{}: {} ({})", half.file(), doing, ffmpeg_error(code));
  }

  void next_sound() {
    waiting.reset();
    while (auto one = sound->next()) {
      if (one->time >= part.to) return;
      if (one->time < part.from) continue;
      waiting = std::move(one);
      return;
    }
  }

  // Sound up to a time of the film.
  Result<Done> write_sound(double until) {
    while (waiting && waiting->time - part.from + part.at <= until) {
      AVPacket& p = *waiting->packet;
      const AVRational to = output->streams[sound_stream]->time_base;
      p.pts = p.dts = std::llround((waiting->time - part.from + part.at) / av_q2d(to));
      p.duration = av_rescale_q(p.duration, sound->tick(), to);
      p.stream_index = sound_stream;
      p.pos = -1;
      if (p.dts > last_sound) {
        last_sound = p.dts;
        if (const int e = av_interleaved_write_frame(output.get(), &p); e < 0) return fault("cannot be written", e);
      }
      next_sound();
    }
    return Done{};
  }

  Result<Done> write_held(std::int64_t next) {
    if (!held) return Done{};
    held->duration = std::max<std::int64_t>(1, next - held->pts);
    if (auto w = write_sound(static_cast<double>(held->pts) * av_q2d(tick)); !w) return w;
    av_packet_rescale_ts(held.get(), tick, output->streams[stream]->time_base);
    held->stream_index = stream;
    const int e = av_interleaved_write_frame(output.get(), held.get());
    held.reset();
    if (e < 0) return fault("cannot be written", e);
    return Done{};
  }

  Result<Done> drain() {
    for (;;) {
      const int got = avcodec_receive_packet(codec.get(), packet.get());
      if (got == AVERROR(EAGAIN) || got == AVERROR_EOF) return Done{};
      if (got < 0) return fault("the picture cannot be encoded", got);
      packet->dts = packet->pts;
      if (auto w = write_held(packet->pts); !w) return w;
      held.reset(av_packet_alloc());
      av_packet_move_ref(held.get(), packet.get());
    }
  }

  Result<Done> add_sound_stream() {
    auto opened = SoundPackets::open(part.file, part.starts_at);
    if (!opened) return pass_on(opened);
    if (!*opened) return Done{};
    if (avformat_query_codec(output->oformat, (**opened).parameters().codec_id, FF_COMPLIANCE_NORMAL) != 1) {
      without_sound = fmt::format("{}: its sound ({}) cannot be copied into an MP4 file and was left out", part.file,
                                  (**opened).codec());
      return Done{};
    }
    sound = std::move(*opened);
    AVStream* s = avformat_new_stream(output.get(), nullptr);
    avcodec_parameters_copy(s->codecpar, &sound->parameters());
    s->codecpar->codec_tag = 0;
    s->time_base = sound->tick();
    sound_stream = s->index;
    sound->seek(part.from);
    return Done{};
  }
};

Film::Film(std::unique_ptr<State> state) : state_(std::move(state)) {}
Film::Film(Film&&) noexcept = default;
Film& Film::operator=(Film&&) noexcept = default;
Film::~Film() = default;
const std::string& Film::without_sound() const { return state_->without_sound; }
int Film::pictures() const { return state_->pictures; }

Result<Film> Film::create(const std::string& file, const FilmOptions& o, const FilmSound& sound) {
  quiet_ffmpeg();
  if (o.width < 2 || o.height < 2 || o.width % 2 || o.height % 2)
    return fail("{}: a film of {} x {} cannot be made, expected even sizes", file, o.width, o.height);
  auto state = std::make_unique<State>(file);
  State& s = *state;
  AVFormatContext* made = nullptr;
  avformat_alloc_output_context2(&made, nullptr, "mp4", s.half.part().c_str());
  s.output.reset(made);
  const AVCodec* encoder = avcodec_find_encoder_by_name("libx264");
  if (!made || !encoder) return fail("{}: FFmpeg's libraries here cannot write H.264 (libx264)", file);

  s.tick = {static_cast<int>(o.tick_numerator), static_cast<int>(o.tick_denominator)};
  s.codec.reset(avcodec_alloc_context3(encoder));
  AVCodecContext& c = *s.codec;
  c.width = o.width;
  c.height = o.height;
  c.pix_fmt = AV_PIX_FMT_YUV420P;
  c.time_base = s.tick;
  c.framerate = av_d2q(o.rate, 100000);
  c.gop_size = std::max(1, static_cast<int>(std::lround(kKeyEvery * o.rate)));
  c.max_b_frames = 0;
  c.thread_count = o.threads;
  c.colorspace = AVCOL_SPC_BT709;
  c.color_primaries = AVCOL_PRI_BT709;
  c.color_trc = AVCOL_TRC_BT709;
  c.color_range = AVCOL_RANGE_MPEG;
  c.flags |= AV_CODEC_FLAG_GLOBAL_HEADER;
  av_opt_set(c.priv_data, "preset", "veryfast", 0);
  av_opt_set_double(c.priv_data, "crf", o.quality, 0);
  if (const int e = avcodec_open2(&c, encoder, nullptr); e < 0)
    return fail("{}: the H.264 encoder refuses ({})", file, ffmpeg_error(e));

  AVStream* v = avformat_new_stream(made, nullptr);
  avcodec_parameters_from_context(v->codecpar, &c);
  v->time_base = s.tick;
  v->avg_frame_rate = c.framerate;
  s.stream = v->index;
  s.part = sound;
  if (!sound.file.empty())
    if (auto added = s.add_sound_stream(); !added) return pass_on(added);
  if (const int e = avio_open(&made->pb, s.half.part().c_str(), AVIO_FLAG_WRITE); e < 0)
    return fail("{}: cannot be written ({})", file, ffmpeg_error(e));
  AVDictionary* options = nullptr;
  av_dict_set(&options, "movflags", "+faststart", 0);  // plays while it loads
  const int e = avformat_write_header(made, &options);
  av_dict_free(&options);
  if (e < 0) return fail("{}: cannot be written ({})", file, ffmpeg_error(e));
  if (s.sound) s.next_sound();

  s.picture->format = AV_PIX_FMT_YUV420P;
  s.picture->width = o.width;
  s.picture->height = o.height;
  s.picture->colorspace = AVCOL_SPC_BT709;
  s.picture->color_range = AVCOL_RANGE_MPEG;
  if (av_frame_get_buffer(s.picture.get(), 0) < 0) return fail("{}: out of memory", file);
  s.scaler.reset(sws_getContext(o.width, o.height, AV_PIX_FMT_BGR24, o.width, o.height, AV_PIX_FMT_YUV420P,
                                SWS_BILINEAR, nullptr, nullptr, nullptr));
  const int* weights = sws_getCoefficients(SWS_CS_ITU709);
  sws_setColorspaceDetails(s.scaler.get(), weights, 1, weights, 0, 0, 1 << 16, 1 << 16);
  return Film(std::move(state));
}

Result<Done> Film::add(const cv::Mat& bgr, double time) {
  State& s = *state_;
  assert(bgr.type() == CV_8UC3 && bgr.cols == s.codec->width && bgr.rows == s.codec->height);
  const std::int64_t at = std::llround(time / av_q2d(s.tick));
  if (at <= s.last) return fail("{}: two pictures within a tick of its clock at {:.6f} s", s.half.file(), time);
  if (const int e = av_frame_make_writable(s.picture.get()); e < 0) return s.fault("out of memory", e);
  const std::uint8_t* data[4] = {bgr.data, nullptr, nullptr, nullptr};
  const int steps[4] = {static_cast<int>(bgr.step), 0, 0, 0};
  sws_scale(s.scaler.get(), data, steps, 0, bgr.rows, s.picture->data, s.picture->linesize);
  s.picture->pts = at;
  s.step = s.last >= 0 ? at - s.last : s.step;
  s.last = at;
  ++s.pictures;
  if (const int e = avcodec_send_frame(s.codec.get(), s.picture.get()); e < 0)
    return s.fault("the picture cannot be encoded", e);
  return s.drain();
}

Result<Done> Film::finish() {
  State& s = *state_;
  if (s.pictures == 0) return fail("{}: has no picture", s.half.file());
  avcodec_send_frame(s.codec.get(), nullptr);
  if (auto d = s.drain(); !d) return d;
  const std::int64_t step = s.step > 0 ? s.step : std::llround(1 / (30 * av_q2d(s.tick)));
  if (auto w = s.write_held(s.last + step); !w) return w;
  if (s.sound)
    if (auto w = s.write_sound(static_cast<double>(s.last + step) * av_q2d(s.tick)); !w) return w;
  if (const int e = av_write_trailer(s.output.get()); e < 0) return s.fault("cannot be written", e);
  if (const int e = avio_closep(&s.output->pb); e < 0) return s.fault("cannot be written", e);
  return s.half.keep();
}

}  // namespace baizetrace::video
