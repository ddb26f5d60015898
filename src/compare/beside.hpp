// A measured path beside a computed one.
#pragma once

#include "motion/motion.hpp"
#include "practice/session.hpp"

namespace baizetrace::compare {

// A simulated cue ball's path as session.json holds it: rows every `kRowEvery` s and at contacts, times from `begin`.
[[nodiscard]] practice::ComputedPath computed_path(const motion::Prediction& prediction, double begin);

// How far apart they are: at the first contact that both have, at rest, and at worst at the same time on the way up to
// the first difference in what was touched. Absent where there is nothing to compare.
[[nodiscard]] practice::Comparison compare_paths(const BallPath& real, const std::optional<Place>& real_rest,
                                                 const practice::ComputedPath& computed);

}  // namespace baizetrace::compare
