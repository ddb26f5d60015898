// Whether the camera stayed where it was: balls that nobody played seem to move together when the mount is knocked.
#pragma once

#include <map>
#include <optional>
#include <string>

#include "base/path.hpp"

namespace baizetrace::practice {

// The displacement that all balls share between two looks at the table, when there is one: at least kFewestBalls
// balls that lie near where they lay, nearly all displaced alike, by more than their places' uncertainty and
// kLeastShift. nullopt: the camera stood still, or too few balls tell.
[[nodiscard]] std::optional<Vec2> common_shift(const std::map<std::string, Place>& then,
                                               const std::map<std::string, Place>& now);

inline constexpr int kFewestBalls = 3;
inline constexpr double kLeastShift = 0.005;  // m; balls are put back to 1-3 mm (common practice), never all alike

}  // namespace baizetrace::practice
