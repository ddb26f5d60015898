// Speed along a path, for a chart and its table.
#pragma once

#include <vector>

#include "base/path.hpp"

namespace baizetrace::report {

struct SpeedPoint {
  double time = 0;   // s
  double speed = 0;  // m/s
};

// From the pieces where there are any, else from neighbouring rows of one run (never across a contact); at every
// contact the speed just before and just after. In time's order, at most about `most` points.
[[nodiscard]] std::vector<SpeedPoint> speeds_along(const BallPath& path, std::size_t most = 120);

}  // namespace baizetrace::report
