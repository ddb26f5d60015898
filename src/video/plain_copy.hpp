// A piece of a recording copied as it is: no picture is decoded, none encoded.
#pragma once

#include <string>

#include "base/error.hpp"
#include "video/clip.hpp"

namespace baizetrace::video {

struct PlainCopy {
  double from = 0;  // s, where it really begins: the key frame at or before what was asked
  double to = 0;    // s, the last picture: up to a few after what was asked, when those before lean on them
  int pictures = 0;
  std::string without_sound;  // why sound is not in it; ""
};

// Copies what is shown from `from` to `to` (s, as Frame::time) from the key frame before, with its sound (unless
// `mute`) and its rotation. A stretched slow motion stays as it is stored. Errors: cannot be read or written; a codec
// that MP4 does not hold.
[[nodiscard]] Result<PlainCopy> copy_plain(const ClipInfo& clip, double from, double to, const std::string& file,
                                           bool mute);

}  // namespace baizetrace::video
