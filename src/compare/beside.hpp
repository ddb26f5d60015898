// A measured path beside a computed one.
#pragma once

#include "motion/motion.hpp"
#include "practice/session.hpp"

namespace baizetrace::compare {

// A simulated cue ball's path as session.json holds it: rows every `kRowEvery` s and at contacts, times from `begin`.
[[nodiscard]] practice::ComputedPath computed_path(const motion::Prediction& prediction, double begin);

// How far apart they are: at the first contact that both have, at rest, and at worst at the same time on the way up to
// the first difference in what was touched; at each contact that both have; and where the real path leaves the computed
// one's way (leg by leg between the contacts that both have, whenever the ball was there): the first place from which
// on it is further off than kPartedBy standard uncertainties of a place on it. Absent where there is nothing to
// compare.
[[nodiscard]] practice::Comparison compare_paths(const BallPath& real, const std::optional<Place>& real_rest,
                                                 const practice::ComputedPath& computed);

inline constexpr double kPartedBy = 4;   // standard uncertainties
inline constexpr double kPathU = 0.002;  // m, of a place on a measured path that says nothing better of itself

}  // namespace baizetrace::compare
