// The cue ball when it is told only once it runs: it lay there too short a time, or too little of it was seen.
#pragma once

#include <deque>
#include <optional>
#include <vector>

#include "path/followed.hpp"
#include "path/trails.hpp"

namespace baizetrace::path {

// The ball on a trail that is the cue ball's, from where something of its colour lay until the trail set out from
// there. `lay`: what lay on the bed lately, and was no ball; `strays`: what was seen lately and given to no ball.
// Without its name, kind and radius. nullopt: nothing of the kind lay there, so that where it set out is not known.
[[nodiscard]] std::optional<Followed> told_late(const Trail& run, const std::vector<Candidate>& lay,
                                                const std::deque<Sighting>& strays);

}  // namespace baizetrace::path
