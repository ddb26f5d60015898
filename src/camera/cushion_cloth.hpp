// What wears the bed's cloth: what lies beyond a nose, as every cushion does; what lies where the D belongs, unless a
// lamp hides it.
#pragma once

#include <array>

#include "camera/scene.hpp"
#include "camera/solve.hpp"

namespace baizetrace::camera {

// How far the colour of each side's cushion lies from that of the bed before it: the middle over the side of the
// distance of chroma over luma (as in cloth.hpp). About 0.05 on cloth; wood beside a coloured cloth is beyond
// kOtherStuff. 0 where it is not seen.
[[nodiscard]] std::array<double, 4> cushion_apart(const Scene& scene, const Unknowns& x);

inline constexpr double kOtherStuff = 0.15;

// Share of the D's arc, where x has it, at which the bed's cloth is in sight: neither another colour nor much darker or
// brighter than the bed. 0 where the bed itself is hardly seen.
[[nodiscard]] double d_in_sight(const Scene& scene, const Unknowns& x);

}  // namespace baizetrace::camera
