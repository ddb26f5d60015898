// A player's scatter: by name, or from what the journal remembers of them.
#pragma once

#include <string>

#include "compare/routes.hpp"

namespace baizetrace::cli {

// `spread`: professional, good-club, club, or a journal's file. From a journal: pace, direction and mark from attempts
// of one setup on one evening about their own mean, pooled; of the setup asked for when it has kFewestRemembered, else
// of all; what the camera adds is not taken out. The tip's likewise, right and height together, from the strikes in
// which they are told (of at least kFewestRemembered; else a good club player's), less what their own uncertainties
// add. `ball_radius`: m, the cue ball's. Errors: neither a name nor a file; no journal; too few attempts.
[[nodiscard]] Result<compare::Spread> player_spread(const std::string& spread, const std::string& player,
                                                    const std::string& setup, double ball_radius);

inline constexpr int kFewestRemembered = 10;

}  // namespace baizetrace::cli
