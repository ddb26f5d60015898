// The end of a chain fitted by itself: what the search does again and again.
#pragma once

#include <vector>

#include "path/search.hpp"

namespace baizetrace::path {

// Squared standard deviations (two degrees of freedom) beyond which a sighting is not explained.
inline constexpr double kOff = 18.0;

// Squared distance of a sighting from a place, in its standard deviations.
[[nodiscard]] inline double off(const Seen& s, const Vec2& at) { return (s.root * (at - s.at)).squaredNorm(); }

// A track's sightings as the fit takes them; those at places where no ball can lie, or after it dropped, untrusted.
[[nodiscard]] std::vector<Seen> prepare(const BallTrack& track, const World& world);

// Fits the last `back` legs to the sightings up to index `end` (what lies before is held) and returns the cost.
double fit_window(Chain& chain, const World& world, Cloth& cloth, std::size_t end, int iterations, std::size_t back = 2,
                  int gentle = 0);

// The same, thoroughly, from several slides: which way a ball slides is not seen in its first sightings, and the fit
// does not turn a slide round by itself. Keeps and returns the least cost.
double fit_reseeded(Chain& chain, const World& world, Cloth& cloth, std::size_t end, std::size_t back);

// Iterations where a leg begins: contact time, slide and velocity depend on each other along a narrow valley.
inline constexpr int kThorough = 30, kGentlePass = 15;

// Whether the chain explains the sightings in [from, end) and its last leg stays where a ball can be.
[[nodiscard]] bool explains(const Chain& chain, const World& world, const Cloth& cloth, std::size_t from,
                            std::size_t end);

}  // namespace baizetrace::path
