// A hit ball's first run read again, led by the ball that hit it.
#pragma once

#include <vector>

#include "path/search.hpp"

namespace baizetrace::path {

// How a ball that lay still was set off: by what the ball that hit it lost (momentum is kept).
[[nodiscard]] std::optional<Leg> set_off(const BallTrack& hit, double mass, const std::vector<Found>& searched);

// The track with its first run, up to the first nose, jaw or pocket, made of the sightings that lie where `begun`
// leads: its own and strays of a colour that can be the ball's. Unchanged when fewer than three do.
[[nodiscard]] BallTrack guided(const BallTrack& track, const std::vector<Sighting>& strays, std::size_t kind,
                               const Leg& begun, const World& world);

}  // namespace baizetrace::path
