// What became of the balls: how the one that was meant to be potted ran at its pocket (by how much off the middle,
// thick or thin, which jaw), and which went nobody saw where.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "practice/session.hpp"
#include "practice/setup.hpp"

namespace baizetrace::practice {

// Thick: the object ball was hit fuller than the pot asks, thin: finer. Judged by the directions that the object ball
// took and would have had to take, seen along the white's way to it. Straight pots are neither; nor are plants and
// doubles, whose object ball the white does not send by itself.
// `at_mouth`: where the object ball's line, before it touched anything, meets the line between the jaws' nearest
// points: how far from the middle, square to the ball's way, m. Absent: it touched a ball on its way, or never ran at
// the pocket. `jaw`: the first jaw of that pocket that it touched, "near" or "far" as seen from where the ball lay.
[[nodiscard]] PotLine pot_line(const Attempt& attempt, const Shot& shot, const table::Table& table);

// The note of the score's part: "in, middle of the pocket", "missed thick by 9 mm, far jaw".
[[nodiscard]] std::string pot_note(const Attempt& attempt, const Shot& shot, const table::Table& table,
                                   const table::BallSet& set);

// The balls other than the cue ball that lay there before the strike or were seen on their way, did not fall, and were
// not seen at rest afterwards: what became of them is not known. Not those that were seen to come off a cushion or a
// jaw, and were taken by a hand or cut off by the recording's end after that.
[[nodiscard]] std::vector<std::string> gone_of(const Attempt& attempt);

// Whether the ball that was to be potted next fell; nullopt: nobody saw what became of it.
[[nodiscard]] std::optional<bool> next_potted(const FollowOn& shot, const std::string& next);

// Whether a ball was hit that nothing followed on its way.
[[nodiscard]] bool hit_unseen(const Attempt& attempt, const std::string& ball);

}  // namespace baizetrace::practice
