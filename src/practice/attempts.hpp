// From an episode (rest, motion, rest) to an attempt: a playing of a shot, as session.json tells it.
#pragma once

#include <functional>
#include <optional>

#include "path/episode.hpp"
#include "path/reconstruct.hpp"
#include "practice/session.hpp"

namespace baizetrace::practice {

struct AttemptOptions {
  std::function<Mat2(const Vec2&)> rig_covariance;  // the rig's share at a place; empty: none
};

// The attempt that an episode was; nullopt when it was none (nothing was struck), see EpisodePaths::why_not.
// Law: depends on what was seen alone, never on a setup's marks or intentions.
[[nodiscard]] std::optional<Attempt> attempt_from(const path::Episode& episode, const path::EpisodePaths& paths,
                                                  const table::BallSet& balls, const AttemptOptions& options);

}  // namespace baizetrace::practice
