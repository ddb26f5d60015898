// Video out: H.264 in MP4 by FFmpeg's libraries (x264). Each picture keeps the time it is given.
#pragma once

#include <cstdint>
#include <memory>
#include <opencv2/core.hpp>
#include <string>

#include "base/error.hpp"
#include "video/clip.hpp"

namespace baizetrace::video {

struct FilmOptions {
  int width = 0, height = 0;  // px; even, as 4:2:0 needs
  // A tick of its clock in s. A time that is a whole number of ticks is kept exactly; others to half a tick.
  std::int64_t tick_numerator = 1, tick_denominator = 90000;
  double rate = 30;     // pictures a second, about: for the encoder's own decisions
  double quality = 21;  // x264's constant rate factor; its default is 23, smaller is better
  int threads = 2;
};

// The ticks of a clip's own clock (90 kHz when its slow motion was stretched: its true times are no whole ticks).
void take_clock(FilmOptions& options, const ClipInfo& clip);

// Sound to go with it: packets of a recording, copied as they are.
struct FilmSound {
  std::string file;         // "" : none
  double starts_at = 0;     // ClipInfo's
  double from = 0, to = 0;  // s
  double at = 0;            // s of the film at which `from` is heard
};

class Film {
 public:
  // Laws: (1) `file` appears when finish() succeeded, whole, and not before; (2) a picture's time in the file is the
  // time given, to half a tick; (3) no pictures are reordered, so that no edit list shifts the picture against sound.
  // Errors: cannot be written; sizes are odd; no H.264 encoder.
  static Result<Film> create(const std::string& file, const FilmOptions& options, const FilmSound& sound = {});
  Film(Film&&) noexcept;
  Film& operator=(Film&&) noexcept;
  ~Film();

  // The next picture: BGR, 8 bits, the film's size. Requires: time later than the one before, the first at 0.
  // Error: the disk is full, or the encoder failed.
  Result<Done> add(const cv::Mat& bgr, double time);
  Result<Done> finish();

  // Why sound that was asked for is not in it, one line; "": it is, or none was there.
  [[nodiscard]] const std::string& without_sound() const;
  [[nodiscard]] int pictures() const;

 private:
  struct State;
  explicit Film(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace baizetrace::video
