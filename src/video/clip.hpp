// Clips in: FFmpeg's libraries directly (exact timestamps, rotation, damage), never a nominal frame rate.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "base/error.hpp"
#include "video/frame.hpp"

namespace baizetrace::video {

struct ClipInfo {
  std::string file, codec, pixel_format;
  int width = 0, height = 0;  // upright
  Turn turn = Turn::none;
  double duration = 0;      // s, what the container says
  int expected_frames = 0;  // what the container says; 0: it does not say
  double nominal_rate = 0;  // frames/s, average; for messages only
  int bit_depth = 8;
  std::string transfer, matrix, range;  // colour tags in the container's words, "" unknown
  // True seconds per container second (slow motion stored stretched: < 1). Already in Frame::time and in `duration`.
  double time_scale = 1;
  // The container's clock: a tick in seconds (as written there, before time_scale), and the first shown frame's place.
  std::int64_t tick_numerator = 1, tick_denominator = 90000;
  double starts_at = 0;  // s of the container's clock
};

// What reading to the end came to. Pessimistic until read. After a seek the counts are of what came since.
struct ClipEnd {
  bool complete = false;  // every frame that the container announces came out
  int frames = 0, damaged = 0, doubtful = 0, repeated = 0;
  double last_time = 0;
  std::string why;  // one line when not complete
};

struct ClipOptions {
  int threads = 2;         // decoder's own
  bool read_ahead = true;  // decode in a thread of its own, a few frames ahead
};

class Clip {
 public:
  // Errors, each one line with the file's name: no such file; not a video; its index is missing (moov); no video
  // stream; a picture that is mirrored or turned by other than a right angle.
  static Result<Clip> open(const std::string& file, const ClipOptions& options = {});
  Clip(Clip&&) noexcept;
  Clip& operator=(Clip&&) noexcept;
  ~Clip();

  [[nodiscard]] const ClipInfo& info() const;
  // The next shown frame in time's order; nullopt at the end (see end()). Memory is bounded.
  [[nodiscard]] std::optional<Frame> next();
  // Moves so that next() gives the first frame at or after `time` s (exact: from the key frame before, by timestamps).
  Result<Done> seek(double time);
  // Meaningful once next() gave nullopt.
  [[nodiscard]] const ClipEnd& end() const;

 private:
  struct State;
  explicit Clip(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace baizetrace::video
