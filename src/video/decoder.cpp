#include "video/decoder.hpp"

#include <algorithm>
#include <cmath>
#include <cstring>

extern "C" {
#include <libavutil/pixdesc.h>
}

namespace baizetrace::video {

namespace {
// Two times nearer than this are the same: far below any frame interval, far above a double's rounding.
constexpr double kSameTime = 1e-6;  // s

// Where only a duration is announced, a video that ends this much before it was cut: sound tracks run on a little.
constexpr double kMissingTail = 0.5;  // s

// Errors in a row without a packet being taken: more than any decoder's delay in frames.
constexpr int kMostRefusals = 256;

std::string tag(const char* name) { return name && std::strcmp(name, "unknown") != 0 ? name : ""; }

bool same_picture(const cv::Mat& a, const cv::Mat& b) {
  if (a.size() != b.size()) return false;
  const auto same_row = [&](int y) { return std::memcmp(a.ptr(y), b.ptr(y), static_cast<std::size_t>(a.cols)) == 0; };
  constexpr int kStride = 37;  // a first look at few rows: nearly every pair of frames differs there already
  for (int y = 0; y < a.rows; y += kStride)
    if (!same_row(y)) return false;
  for (int y = 0; y < a.rows; ++y)
    if (!same_row(y)) return false;
  return true;
}
}  // namespace

Result<Decoder> Decoder::open(const std::string& file, int threads) {
  auto container = open_container(file);
  if (!container) return pass_on(container);
  Decoder d;
  d.file_ = file;
  d.container_ = std::move(*container);
  const AVStream& stream = *d.container_.video();
  const auto turn = turn_of(stream, file);
  if (!turn) return pass_on(turn);
  d.maker_ = PlaneMaker(*turn);

  const AVCodec* codec = avcodec_find_decoder(stream.codecpar->codec_id);
  if (!codec)
    return fail("{}: its video is {}, which cannot be decoded here", file, avcodec_get_name(stream.codecpar->codec_id));
  d.codec_.reset(avcodec_alloc_context3(codec));
  d.picture_.reset(av_frame_alloc());
  d.packet_.reset(av_packet_alloc());
  avcodec_parameters_to_context(d.codec_.get(), stream.codecpar);
  d.codec_->pkt_timebase = stream.time_base;
  d.codec_->thread_count = std::max(1, threads);
  d.complaints_->listen_to(*d.codec_);
  // Broken frames come out and are flagged: their time is known, and a gap could be taken for a dropped frame.
  d.codec_->flags |= AV_CODEC_FLAG_OUTPUT_CORRUPT;
  if (const int e = avcodec_open2(d.codec_.get(), codec, nullptr); e < 0)
    return fail("{}: its {} video cannot be decoded ({})", file, codec->name, ffmpeg_error(e));

  d.info_.time_scale = time_scale_of(*d.container_.input, stream);
  d.tick_ = av_q2d(stream.time_base) * d.info_.time_scale;
  if (!d.next_picture()) {
    const std::string why = d.end_.why.empty() ? "" : fmt::format(" ({})", d.end_.why);
    return fail("{}: no frame of its {} video can be decoded{}", file, codec->name, why);
  }
  d.pending_ = true;
  d.first_ = d.picture_->best_effort_timestamp;
  d.width_ = d.picture_->width;
  d.height_ = d.picture_->height;
  d.format_ = d.picture_->format;
  Frame probe;
  if (auto made = d.maker_.make(*d.picture_, probe); !made) return fail("{}: {}", file, made.error().what);

  const auto format = static_cast<AVPixelFormat>(d.format_);
  ClipInfo& i = d.info_;
  i.file = file;
  i.codec = avcodec_get_name(stream.codecpar->codec_id);
  i.pixel_format = av_get_pix_fmt_name(format);
  i.bit_depth = av_pix_fmt_desc_get(format)->comp[0].depth;
  i.width = probe.width();
  i.height = probe.height();
  i.turn = *turn;
  i.tick_numerator = stream.time_base.num;
  i.tick_denominator = stream.time_base.den;
  i.starts_at = static_cast<double>(d.first_) * av_q2d(stream.time_base);
  const AVFormatContext& input = *d.container_.input;
  const double seconds = stream.duration > 0  ? static_cast<double>(stream.duration) * av_q2d(stream.time_base)
                         : input.duration > 0 ? static_cast<double>(input.duration) / AV_TIME_BASE
                                              : 0;
  i.duration = seconds * i.time_scale;
  i.expected_frames = static_cast<int>(announced(stream).shown);
  i.nominal_rate = stream.avg_frame_rate.den > 0 ? av_q2d(stream.avg_frame_rate) / i.time_scale : 0;
  i.transfer = tag(av_color_transfer_name(d.picture_->color_trc));
  i.matrix = tag(av_color_space_name(d.picture_->colorspace));
  i.range = d.picture_->color_range == AVCOL_RANGE_JPEG   ? "full"
            : d.picture_->color_range == AVCOL_RANGE_MPEG ? "limited"
                                                          : "";
  return d;
}

double Decoder::time_of(std::int64_t ticks) const { return static_cast<double>(ticks - first_) * tick_; }

void Decoder::feed() {
  for (;;) {
    const int got = av_read_frame(container_.input.get(), packet_.get());
    if (got < 0) {
      if (got != AVERROR_EOF) read_error_ = ffmpeg_error(got);
      avcodec_send_packet(codec_.get(), nullptr);
      drained_ = true;
      return;
    }
    if (packet_->stream_index == container_.stream) break;
    av_packet_unref(packet_.get());
  }
  ++packets_;
  if (!(packet_->flags & AV_PKT_FLAG_DISCARD)) ++kept_;
  last_corrupt_ = packet_->flags & AV_PKT_FLAG_CORRUPT;
  sent_[packet_->pts != AV_NOPTS_VALUE ? packet_->pts : packet_->dts] = ++serial_;
  if (last_corrupt_) damaged_.insert(serial_);
  if (packet_->flags & AV_PKT_FLAG_KEY) keys_.insert(serial_);
  Complaints::name_packet(*codec_, serial_);
  // A packet that the decoder refuses gives no frame; close() counts it as lost.
  avcodec_send_packet(codec_.get(), packet_.get());
  av_packet_unref(packet_.get());
}

bool Decoder::next_picture() {
  if (ended_) return false;
  for (int refusals = 0;;) {
    const int got = avcodec_receive_frame(codec_.get(), picture_.get());
    if (got == 0) {
      if (picture_->best_effort_timestamp == AV_NOPTS_VALUE) {
        close("its frames carry no timestamps");
        return false;
      }
      return true;
    }
    if (got == AVERROR_EOF) {
      close("");
      return false;
    }
    if (got == AVERROR(EAGAIN)) {
      feed();
      refusals = 0;
    } else if (++refusals > kMostRefusals) {  // else: a packet that cannot be decoded, told once; go on
      close(fmt::format("the decoder gives up ({})", ffmpeg_error(got)));
      return false;
    }
  }
}

std::string Decoder::what_changed() const {
  if (picture_->width != width_ || picture_->height != height_)
    return fmt::format("the picture changes from {}x{} to {}x{}", width_, height_, picture_->width, picture_->height);
  if (picture_->format != format_)
    return fmt::format("the pixel format changes from {} to {}", info_.pixel_format,
                       av_get_pix_fmt_name(static_cast<AVPixelFormat>(picture_->format)));
  return "";
}

void Decoder::judge(std::int64_t ticks, Frame& frame) {
  frame.damaged = picture_->decode_error_flags != 0 || (picture_->flags & AV_FRAME_FLAG_CORRUPT) != 0;
  const auto sent = sent_.find(ticks);
  if (sent == sent_.end()) return;  // the decoder made the timestamp up
  const std::int64_t serial = sent->second;
  // Frames come out in time's order: what should have come out before this one never will (cut away by an edit list,
  // passed over by a seek, or lost).
  sent_.erase(sent_.begin(), std::next(sent));
  // By now everything decoded before this frame has been complained about; packets after it perhaps not yet.
  complaints_->take_up_to(serial, damaged_);
  if (frame.damaged) damaged_.insert(serial);
  frame.damaged = damaged_.contains(serial);
  // A frame is predicted from frames decoded before it, back to the key frame before.
  const auto after = keys_.upper_bound(serial);
  const std::int64_t key = after == keys_.begin() ? 0 : *std::prev(after);
  keys_.erase(keys_.begin(), keys_.lower_bound(key));
  damaged_.erase(damaged_.begin(), damaged_.lower_bound(key));
  frame.doubtful = !frame.damaged && !damaged_.empty() && *damaged_.begin() < serial;
}

std::optional<Frame> Decoder::read() {
  for (;;) {
    if (!pending_ && !next_picture()) return std::nullopt;
    pending_ = false;
    const std::int64_t ticks = picture_->best_effort_timestamp;
    const double time = time_of(ticks);
    if (const std::string change = what_changed(); !change.empty()) {
      close(fmt::format("{} at {:.2f} s: read up to there", change, time));
      return std::nullopt;
    }
    Frame frame;
    judge(ticks, frame);
    // Not after the frame before it: it is never shown.
    if (last_ && ticks <= *last_) {
      ++end_.damaged;
      continue;
    }
    if (auto made = maker_.make(*picture_, frame); !made) {
      close(made.error().what);
      return std::nullopt;
    }
    frame.index = index_++;
    frame.time = time;
    frame.repeated = !last_luma_.empty() && same_picture(frame.luma, last_luma_);
    last_luma_ = frame.luma;
    last_ = ticks;
    ++end_.frames;
    last_damaged_ = frame.damaged;
    end_.damaged += frame.damaged;
    end_.doubtful += frame.doubtful;
    end_.repeated += frame.repeated;
    end_.last_time = time;
    return frame;
  }
}

void Decoder::close(std::string why) {
  ended_ = true;
  end_.complete = false;
  end_.why = std::move(why);
  if (!end_.why.empty()) return;
  const AVStream& stream = *container_.video();
  const Announced all = announced(stream);
  const std::int64_t read = from_start_ ? packets_ : static_cast<std::int64_t>(shown_.size()) + all.packets - all.shown;
  const std::string place = info_.duration > 0 ? fmt::format("{:.2f} s of {:.2f} s", end_.last_time, info_.duration)
                                               : fmt::format("{:.2f} s", end_.last_time);
  if (!read_error_.empty()) {
    end_.why = fmt::format("the file cannot be read beyond {} ({})", place, read_error_);
  } else if (read < all.packets || last_corrupt_ ||
             (all.packets == 0 && (last_damaged_ || info_.duration - end_.last_time > kMissingTail))) {
    end_.why = fmt::format("the file ends at {}: it was cut short", place);
  } else if (const std::int64_t lost = kept_ - end_.frames; from_start_ && lost > 0) {
    end_.damaged += static_cast<int>(lost);
    end_.why = fmt::format("{} of {} frames cannot be decoded: the file is damaged", lost, kept_);
  } else {
    end_.complete = true;
  }
}

Result<Done> Decoder::jump_to(std::int64_t ticks) {
  // The key frame before it by the index; where reordering hides it, a little earlier, and at last from the start.
  const double ticks_per_second = 1 / av_q2d(container_.video()->time_base);
  for (double back = 0;; back = back == 0 ? 1 : back * 4) {
    const std::int64_t from = ticks - static_cast<std::int64_t>(back * ticks_per_second);
    const bool start = from <= shown_.front();
    int e =
        av_seek_frame(container_.input.get(), container_.stream, start ? shown_.front() : from, AVSEEK_FLAG_BACKWARD);
    if (e < 0 && start) e = av_seek_frame(container_.input.get(), container_.stream, shown_.front(), 0);
    if (e < 0) return fail("{}: seeking to {:.3f} s failed ({})", file_, time_of(ticks), ffmpeg_error(e));
    avcodec_flush_buffers(codec_.get());
    drained_ = ended_ = pending_ = last_corrupt_ = false;
    packets_ = kept_ = 0;
    read_error_.clear();
    complaints_->clear();
    sent_.clear();
    keys_.clear();
    damaged_.clear();
    end_ = {};
    last_.reset();
    last_luma_.release();
    if (!next_picture()) {
      if (start) return fail("{}: seeking to {:.3f} s found no frame", file_, time_of(ticks));
      continue;
    }
    pending_ = true;
    if (picture_->best_effort_timestamp <= ticks || start) return Done{};
  }
}

Result<Done> Decoder::seek(double time) {
  if (shown_.empty()) {
    auto all = shown_timestamps(file_);
    if (!all) return pass_on(all);
    shown_ = std::move(*all);
    // Frames before the first one that could be decoded are never shown.
    shown_.erase(shown_.begin(), std::lower_bound(shown_.begin(), shown_.end(), first_));
    if (shown_.empty()) return fail("{}: seeking needs timestamps, the file has none", file_);
  }
  const auto target = first_ + static_cast<std::int64_t>(std::ceil((time - kSameTime) / tick_));
  const auto at = std::lower_bound(shown_.begin(), shown_.end(), target);
  if (at == shown_.end()) {
    from_start_ = false;
    pending_ = false;
    end_ = {};
    end_.last_time = time_of(shown_.back());
    close("");
    return Done{};
  }
  // One frame earlier, so that a repeated frame is seen to be one.
  const std::int64_t before = at == shown_.begin() ? *at : *(at - 1);
  if (auto jumped = jump_to(before); !jumped) return jumped;
  from_start_ = at == shown_.begin();
  while (pending_ && picture_->best_effort_timestamp < *at) {
    if (picture_->best_effort_timestamp == before && what_changed().empty()) {
      Frame previous;
      if (maker_.make(*picture_, previous)) last_luma_ = previous.luma;
    }
    pending_ = next_picture();
  }
  index_ = static_cast<int>(at - shown_.begin());
  return Done{};
}

}  // namespace baizetrace::video
