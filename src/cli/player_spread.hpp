// A player's scatter: by name, or from what the journal remembers of them.
#pragma once

#include <string>

#include "compare/routes.hpp"

namespace baizetrace::cli {

// `spread`: professional, good-club, club, or a journal's file. From a journal: pace, direction and mark from attempts
// of one setup on one evening about their own mean, pooled; of the setup asked for when it has kFewestRemembered, else
// of all. The tip's is not remembered: a good club player's. What the camera adds is not taken out.
// Errors: neither a name nor a file; no journal; too few attempts.
[[nodiscard]] Result<compare::Spread> player_spread(const std::string& spread, const std::string& player,
                                                    const std::string& setup);

inline constexpr int kFewestRemembered = 10;

}  // namespace baizetrace::cli
