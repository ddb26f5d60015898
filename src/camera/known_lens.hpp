// A lens that is known from elsewhere, brought to this picture.
#pragma once

#include "camera/rig.hpp"
#include "camera/solve.hpp"

namespace baizetrace::camera {

// The rig's lens with what its covariance says, and a little more: a phone focuses anew each time.
[[nodiscard]] KnownLens known_lens(const Rig& rig);

// The same table in the same place of the picture, through this lens: the pose that fits best. Unchanged when there is
// none.
[[nodiscard]] Unknowns seen_through(const Unknowns& x, const Lens& lens);

}  // namespace baizetrace::camera
