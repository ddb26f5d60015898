// A ball that lay beside a nose may have met it before it was first seen on its way: it comes from there, not from
// where it lay.
#pragma once

#include <vector>

#include "path/search.hpp"

namespace baizetrace::path {

// `still`: its chain without legs, at rest until its sighting `i`, the first on the move, then `k`. Chains of two legs,
// to a nose and off it, as the first sightings run back to the nose have it, and as the hit that sent it off says
// (World::begun). Empty: it lay beside no nose that it can have come off.
[[nodiscard]] std::vector<Chain> nose_first(const Chain& still, std::size_t i, std::size_t k, const World& world);

}  // namespace baizetrace::path
