// A lens solved once and used again: *.lens.json, format baizetrace/lens-1. A phone's lens is the same over every
// table; where it stands is not.
#pragma once

#include <string>

#include "base/error.hpp"
#include "camera/solve.hpp"

namespace baizetrace::camera {

struct LensProfile {
  int width = 0, height = 0;  // of the pictures it was solved from
  KnownLens known;
  double rms_pixels = 0;
  int views = 0;  // of the target
};

[[nodiscard]] std::string lens_json(const LensProfile& profile);
// Reads a profile, or the lens of a rig's file. Errors: one line with the file and what was expected.
[[nodiscard]] Result<LensProfile> read_lens(const std::string& file);

// For pictures of another size of the same shape, or turned upright. Error: another shape (the phone crops then, and
// the lens is another).
[[nodiscard]] Result<KnownLens> fitted(const LensProfile& profile, int width, int height, const std::string& file);

}  // namespace baizetrace::camera
