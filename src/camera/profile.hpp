// The picture's values across a curve of the table.
#pragma once

#include <vector>

namespace baizetrace::camera {

// Levels as they would be had the picture's tone curve the power 1 / gamma: light itself when gamma is the picture's
// own. A lens blurs light, an encoder and a phone's smoothing blur levels. Where bright meets dark, an edge that was
// blurred as light and is read in levels lies towards the dark side, by 0.3 of the blur when one is seven times as
// bright as the other. Which share of a clip's blur is which cannot be told from the clip; half way (kBetween) leaves a
// tenth of a pixel either way. The slope at `reference` is 1: contrasts keep their size. 1 is levels as
// stored, 2.2 is light, near enough (ITU-R BT.709 with its display curve).
inline constexpr double kAsStored = 1.0, kBetween = 1.5;
[[nodiscard]] double light_of(double level, double reference, double gamma);

// Profile across a curve. `at(along, out)`: a point of the table; along in [-half, half] about the stripe's middle,
// out from `from` in steps of `step`. Trimmed mean along; `spread`: its typical scatter along the stripe.
struct Profile {
  double from = 0, step = 0;
  std::vector<double> value;
  double noise = 0;                           // of one value
  [[nodiscard]] double at(double out) const;  // linear between, held at the ends
  [[nodiscard]] double mean(double low, double high) const;
  [[nodiscard]] Profile light(double reference, double gamma) const;  // the same by light_of()
};

}  // namespace baizetrace::camera
