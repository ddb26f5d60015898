// A followed ball's part in an episode.
#pragma once

#include "path/episode.hpp"
#include "path/followed.hpp"

namespace baizetrace::path {

inline constexpr double kNudged = 0.0010;  // m: a smaller shift of a resting ball is not told from the camera's own

// Of an episode that is over: what the ball did, and what was seen of it.
[[nodiscard]] BallTrack track_of(const Followed& ball);

}  // namespace baizetrace::path
