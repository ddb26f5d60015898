#include "video/sound.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>

#include "video/container.hpp"

extern "C" {
#include <libavutil/channel_layout.h>
#include <libavutil/samplefmt.h>
}

namespace baizetrace::video {
namespace {

constexpr int kCoarse = 10;          // bins of loudness a step of the first search: 10 ms
constexpr double kClear = 1.3;       // times the best correlation elsewhere that a shift must reach
constexpr double kLeastPeak = 0.10;  // correlation below which nothing was recognised
constexpr double kAside = 0.25;      // s around the peak that do not count as elsewhere
constexpr double kMostHours = 6;     // of a recording whose loudness is kept (86 MB)

double sample_at(const AVFrame& f, int channel, int i) {
  const bool planar = av_sample_fmt_is_planar(static_cast<AVSampleFormat>(f.format)) != 0;
  const int channels = f.ch_layout.nb_channels;
  const std::uint8_t* data = f.extended_data[planar ? channel : 0];
  const int at = planar ? i : i * channels + channel;
  switch (av_get_packed_sample_fmt(static_cast<AVSampleFormat>(f.format))) {
    case AV_SAMPLE_FMT_U8:
      return (data[at] - 128) / 128.0;
    case AV_SAMPLE_FMT_S16:
      return reinterpret_cast<const std::int16_t*>(data)[at] / 32768.0;
    case AV_SAMPLE_FMT_S32:
      return reinterpret_cast<const std::int32_t*>(data)[at] / 2147483648.0;
    case AV_SAMPLE_FMT_FLT:
      return static_cast<double>(reinterpret_cast<const float*>(data)[at]);
    case AV_SAMPLE_FMT_DBL:
      return reinterpret_cast<const double*>(data)[at];
    default:
      return 0;
  }
}

// Rises of the loudness in decibels, step by step, less their mean: what a click looks like in any room, at any gain.
std::vector<float> onsets(const std::vector<float>& loudness, int step) {
  std::vector<float> level;
  const std::size_t n = loudness.size() / static_cast<std::size_t>(step);
  constexpr double kFloor = 1e-9;  // mean square of a quiet room's last bit
  for (std::size_t k = 0; k < n; ++k) {
    double sum = 0;
    for (int i = 0; i < step; ++i)
      sum += static_cast<double>(loudness[k * static_cast<std::size_t>(step) + static_cast<std::size_t>(i)]);
    level.push_back(static_cast<float>(10 * std::log10(sum / step + kFloor)));
  }
  std::vector<float> rise(n, 0.0F);
  double mean = 0;
  for (std::size_t k = 1; k < n; ++k) {
    rise[k] = std::max(0.0F, level[k] - level[k - 1]);
    mean += static_cast<double>(rise[k]);
  }
  mean /= std::max<double>(1, static_cast<double>(n));
  for (float& r : rise) r -= static_cast<float>(mean);
  return rise;
}

double norm_of(const std::vector<float>& v) {
  double sum = 0;
  for (const float x : v) sum += static_cast<double>(x) * static_cast<double>(x);
  return std::sqrt(sum);
}

}  // namespace

Result<std::optional<SoundPackets>> SoundPackets::open(const std::string& file, double starts_at) {
  auto container = open_container(file);
  if (!container) return pass_on(container);
  SoundPackets s;
  s.input_ = std::move(container->input);
  s.starts_at_ = starts_at;
  s.stream_ = av_find_best_stream(s.input_.get(), AVMEDIA_TYPE_AUDIO, -1, -1, nullptr, 0);
  if (s.stream_ < 0) return std::optional<SoundPackets>{};
  // The container was opened for its picture: now it is the sound that is wanted.
  for (unsigned k = 0; k < s.input_->nb_streams; ++k)
    s.input_->streams[k]->discard = static_cast<int>(k) == s.stream_ ? AVDISCARD_DEFAULT : AVDISCARD_ALL;
  return std::optional<SoundPackets>(std::move(s));
}

const AVCodecParameters& SoundPackets::parameters() const { return *input_->streams[stream_]->codecpar; }
AVRational SoundPackets::tick() const { return input_->streams[stream_]->time_base; }
const char* SoundPackets::codec() const { return avcodec_get_name(parameters().codec_id); }

std::optional<SoundPackets::One> SoundPackets::next() {
  for (;;) {
    PacketPtr packet(av_packet_alloc());
    if (av_read_frame(input_.get(), packet.get()) < 0) return std::nullopt;
    if (packet->stream_index != stream_ || packet->pts == AV_NOPTS_VALUE) continue;
    if (packet->flags & (AV_PKT_FLAG_CORRUPT | AV_PKT_FLAG_DISCARD)) continue;
    const double time = static_cast<double>(packet->pts) * av_q2d(tick()) - starts_at_;
    return One{std::move(packet), time};
  }
}

void SoundPackets::seek(double time) {
  const auto at = static_cast<std::int64_t>(std::floor((time + starts_at_) / av_q2d(tick())));
  av_seek_frame(input_.get(), stream_, at, AVSEEK_FLAG_BACKWARD);
}

Result<std::optional<std::vector<float>>> loudness_of(const std::string& file, double starts_at) {
  auto opened = SoundPackets::open(file, starts_at);
  if (!opened) return pass_on(opened);
  if (!*opened) return std::optional<std::vector<float>>{};
  SoundPackets& sound = **opened;
  const AVCodec* codec = avcodec_find_decoder(sound.parameters().codec_id);
  CodecPtr decoder(codec ? avcodec_alloc_context3(codec) : nullptr);
  if (!decoder || avcodec_parameters_to_context(decoder.get(), &sound.parameters()) < 0 ||
      avcodec_open2(decoder.get(), codec, nullptr) < 0)
    return fail("{}: its sound ({}) cannot be decoded", file, sound.codec());
  decoder->pkt_timebase = sound.tick();
  FramePtr frame(av_frame_alloc());
  std::vector<float> loud;
  std::vector<int> count;
  const auto most = static_cast<std::size_t>(kMostHours * 3600 / kLoudnessBin);
  const auto take = [&] {
    while (avcodec_receive_frame(decoder.get(), frame.get()) == 0) {
      if (frame->best_effort_timestamp == AV_NOPTS_VALUE || frame->sample_rate <= 0) continue;
      const double from = static_cast<double>(frame->best_effort_timestamp) * av_q2d(sound.tick()) - starts_at;
      const int channels = std::max(1, frame->ch_layout.nb_channels);
      for (int i = 0; i < frame->nb_samples; ++i) {
        const double t = from + static_cast<double>(i) / frame->sample_rate;
        if (t < 0) continue;
        const auto bin = static_cast<std::size_t>(t / kLoudnessBin);
        if (bin >= most) return;
        if (bin >= loud.size()) loud.resize(bin + 1, 0.0F), count.resize(bin + 1, 0);
        double mono = 0;
        for (int c = 0; c < channels; ++c) mono += sample_at(*frame, c, i);
        mono /= channels;
        loud[bin] += static_cast<float>(mono * mono);
        ++count[bin];
      }
    }
  };
  while (auto one = sound.next()) {
    if (avcodec_send_packet(decoder.get(), one->packet.get()) < 0) continue;
    take();
  }
  avcodec_send_packet(decoder.get(), nullptr);
  take();
  for (std::size_t k = 0; k < loud.size(); ++k)
    if (count[k] > 0) loud[k] /= static_cast<float>(count[k]);
  return std::optional(std::move(loud));
}

std::optional<Lined> line_up(const std::vector<float>& one, const std::vector<float>& other) {
  const std::vector<float> a = onsets(one, kCoarse), b = onsets(other, kCoarse);
  if (a.size() < 50 || b.size() < 50) return std::nullopt;  // half a second
  const double norm = norm_of(a) * norm_of(b);
  if (norm <= 0) return std::nullopt;
  // Circular correlation of zero-padded signals: every shift without wrapping round.
  const int n = cv::getOptimalDFTSize(static_cast<int>(a.size() + b.size()));
  cv::Mat fa = cv::Mat::zeros(1, n, CV_32F), fb = cv::Mat::zeros(1, n, CV_32F), product, correlation;
  std::copy(a.begin(), a.end(), fa.ptr<float>());
  std::copy(b.begin(), b.end(), fb.ptr<float>());
  cv::dft(fa, fa);
  cv::dft(fb, fb);
  cv::mulSpectrums(fb, fa, product, 0, true);
  cv::dft(product, correlation, cv::DFT_INVERSE | cv::DFT_SCALE);
  const float* c = correlation.ptr<float>();
  const auto shift_of = [&](int k) { return k < static_cast<int>(b.size()) ? k : k - n; };
  int best = 0;
  for (int k = 1; k < n; ++k)
    if (c[k] > c[best]) best = k;
  Lined out;
  out.peak = static_cast<double>(c[best]) / norm;
  const int aside = static_cast<int>(kAside / (kCoarse * kLoudnessBin));
  for (int k = 0; k < n; ++k)
    if (std::abs(shift_of(k) - shift_of(best)) > aside)
      out.second = std::max(out.second, static_cast<double>(c[k]) / norm);
  if (out.peak < kLeastPeak || out.peak < kClear * out.second) return std::nullopt;
  // To the millisecond, near the coarse shift.
  const std::vector<float> fine_a = onsets(one, 1), fine_b = onsets(other, 1);
  const int about = shift_of(best) * kCoarse;
  double most = -1;
  int at = about;
  for (int s = about - 2 * kCoarse; s <= about + 2 * kCoarse; ++s) {
    double sum = 0;
    for (std::size_t k = static_cast<std::size_t>(std::max(0, -s));
         k < fine_a.size() && static_cast<std::ptrdiff_t>(k) + s < static_cast<std::ptrdiff_t>(fine_b.size()); ++k)
      sum += static_cast<double>(fine_a[k]) *
             static_cast<double>(fine_b[static_cast<std::size_t>(static_cast<std::ptrdiff_t>(k) + s)]);
    if (sum > most) most = sum, at = s;
  }
  out.shift = at * kLoudnessBin;
  return out;
}

}  // namespace baizetrace::video
