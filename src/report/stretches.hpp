// A measured way in stretches, each seen or out of sight: every drawing tells the two apart.
#pragma once

#include <span>
#include <vector>

#include "base/path.hpp"

namespace baizetrace::report {

struct Stretch {
  std::vector<PathRow> rows;  // in time's order; neighbours share the row where they meet
  bool seen = true;
};

// A ball that is missing in a picture or two was not out of sight: shorter gaps than this count as seen.
inline constexpr double kOutOfSight = 0.1;  // s

// Laws: 1. the stretches' rows, shared ends once, are `rows`; 2. neighbours differ in `seen`; 3. no unseen stretch is
// shorter than kOutOfSight.
[[nodiscard]] std::vector<Stretch> stretches_of(std::span<const PathRow> rows);

}  // namespace baizetrace::report
