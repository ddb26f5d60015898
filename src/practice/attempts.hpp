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
// Laws:
//  1. It depends on what was seen alone, never on a setup's marks or intentions.
//  2. A ball that was on its way when the white was struck (EpisodePaths::under_way) has no place in `before`, and is
//     not potted by the attempt unless a ball met it since.
//  3. Of a cue ball that lay out of sight neither its place before nor its strike is told.
[[nodiscard]] std::optional<Attempt> attempt_from(const path::Episode& episode, const path::EpisodePaths& paths,
                                                  const table::BallSet& balls, const AttemptOptions& options);

// Of an attempt during which a ball ran that another hand or a bump had sent before the strike: one line that says so.
// Empty: there was none.
[[nodiscard]] std::string under_way_note(const path::EpisodePaths& paths);

// Of an attempt whose cue ball lay where nobody sees, under a lamp's frame: one line that says so. Empty: it was seen.
[[nodiscard]] std::string unseen_start_note(const path::Episode& episode, const table::BallSet& balls);

// Whether what seems a strike in `now` is the run of the white that went out of sight on its way in `before`: it has
// come out again, turned by what it met there. Not after a hand has ended that run, nor from one clip to the next,
// whose times begin anew.
[[nodiscard]] bool runs_on(const Attempt& before, const Attempt& now, const std::string& white);

}  // namespace baizetrace::practice
