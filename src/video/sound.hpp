// A recording's sound: its packets as they are, to be copied; and how loud it was, to line two recordings up by.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "video/ffmpeg.hpp"

namespace baizetrace::video {

// The packets of the first sound stream in order, with their times on the clock of the first shown frame.
class SoundPackets {
 public:
  // nullopt: the file has no sound. `starts_at`: ClipInfo's. Error: the file cannot be opened.
  static Result<std::optional<SoundPackets>> open(const std::string& file, double starts_at);

  [[nodiscard]] const AVCodecParameters& parameters() const;
  [[nodiscard]] AVRational tick() const;
  [[nodiscard]] const char* codec() const;

  struct One {
    PacketPtr packet;
    double time = 0;  // s
  };
  // The next packet that has a time; nullopt: no more.
  std::optional<One> next();
  // Goes on near `time` (at or before it).
  void seek(double time);

 private:
  InputPtr input_;
  int stream_ = -1;
  double starts_at_ = 0;
};

// Loudness over time: mean square of the mono signal in bins of 1 ms, from the first shown frame's time on.
inline constexpr double kLoudnessBin = 0.001;  // s
// nullopt: the file has no sound. Errors: the file cannot be opened; its sound cannot be decoded.
[[nodiscard]] Result<std::optional<std::vector<float>>> loudness_of(const std::string& file, double starts_at);

// When in `other` happened what was heard at time 0 of `one`, s: time in other = time in one + shift.
struct Lined {
  double shift = 0;
  double peak = 0;    // correlation of the onsets at that shift
  double second = 0;  // the best elsewhere
};
// By cross-correlation of the onsets of sound (clicks of balls and cue). nullopt: it cannot be told, no shift stands
// out.
[[nodiscard]] std::optional<Lined> line_up(const std::vector<float>& one, const std::vector<float>& other);

}  // namespace baizetrace::video
