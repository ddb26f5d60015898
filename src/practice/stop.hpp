// Where the cue ball stopped beside where it was wanted: along = by how much the travelled length differs, across =
// sideways from the last run's line.
#pragma once

#include <optional>
#include <string>

#include "practice/session.hpp"
#include "practice/setup.hpp"

namespace baizetrace::practice {

// nullopt: not known, or the white took another route than the one wanted, so that short and long mean nothing.
struct Stop {
  double along = 0;   // m, positive: long
  double across = 0;  // m, positive: to the left of the run
  double u = 0;       // m
};
[[nodiscard]] std::optional<Stop> stop_of(const BallPath& white, const Place& rest, const Setup& setup);
[[nodiscard]] std::optional<Stop> stop_beside(const Attempt& attempt, const Setup& setup);

inline constexpr double kSurely = 2;  // standard uncertainties by which a limit must be cleared to be called so

// Where the white came to rest, or would have (`extrapolated` set); nullopt: fell, or not known.
struct Rest {
  Place place;
  bool extrapolated = false;
};
[[nodiscard]] std::optional<Rest> rest_of(const Attempt& attempt);

// "22 cm short, 5 cm left" of the zone's middle; what lies within its uncertainty is left out: "on the mark".
[[nodiscard]] std::string stop_words(const Stop& stop);

}  // namespace baizetrace::practice
