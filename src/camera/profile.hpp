// The picture's values across a curve of the table.
#pragma once

#include <vector>

namespace baizetrace::camera {

// Profile across a curve. `at(along, out)`: a point of the table; along in [-half, half] about the stripe's middle,
// out from `from` in steps of `step`. Trimmed mean along; `spread`: its typical scatter along the stripe.
struct Profile {
  double from = 0, step = 0;
  std::vector<double> value;
  double noise = 0;                           // of one value
  [[nodiscard]] double at(double out) const;  // linear between, held at the ends
  [[nodiscard]] double mean(double low, double high) const;
};

}  // namespace baizetrace::camera
