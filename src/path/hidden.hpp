// A ball that goes out of sight and comes back on another way: under a lamp's frame, behind a person.
#pragma once

#include "path/search.hpp"

namespace baizetrace::path {

// A ball unseen for longer was out of sight, s: three frames of 30 a second.
inline constexpr double kOutOfSight = 0.09;

// What the ball met while it was out of sight just before sighting `j`, where no contact that is known of explains it:
// one turn or two, of unknown kind, at instants and places that the ways before and behind tell. Adds the legs to the
// chain and returns the next sighting to read; 0: it was in sight, or comes back in a way that a ball has not by
// itself.
[[nodiscard]] std::size_t find_hidden_turn(Found& found, const World& world, std::size_t j);

// The same in plain sight, where a ball turns at sighting `j` as it does at another that lies still, and none is known
// there: that one has the cloth's own colour, or lies in the dark. Told only between two ways that are well seen, clear
// of the cushions: one turn of unknown kind.
[[nodiscard]] std::size_t find_unseen_ball(Found& found, const World& world, std::size_t j);

}  // namespace baizetrace::path
