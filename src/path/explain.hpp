// What a ball can have touched where a leg stops explaining its sightings.
#pragma once

#include <vector>

#include "path/search.hpp"

namespace baizetrace::path {

// A touch at about a time, and a guess of what followed.
struct Guess {
  Touch touch;
  double time = 0;
  Vec2 v = Vec2::Zero(), w = Vec2::Zero();
  bool v_known = false;  // false (ball contacts): v is to be read off the sightings
};

// Sequences of one to `depth` touches that the last leg can have met in [from, to].
[[nodiscard]] std::vector<std::vector<Guess>> explanations(const Chain& chain, const World& world, const Cloth& cloth,
                                                           double from, double to, int depth);

}  // namespace baizetrace::path
