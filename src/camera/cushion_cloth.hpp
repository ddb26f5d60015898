// Whether what lies beyond a nose wears the bed's cloth, as every cushion does.
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

}  // namespace baizetrace::camera
