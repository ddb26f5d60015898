// A cheap look before the costly fit: could a ball's outline be here at all?
#pragma once

#include "sight/ellipse.hpp"
#include "sight/view.hpp"

namespace baizetrace::sight {

// Share of the outline (swept along `smear`) with bare cloth, shadowed perhaps, just outside and something else just
// inside: near 1 for a ball lying free, near 0 inside a sleeve or along a cue. 0.3 ms/100 calls.
[[nodiscard]] double rim_share(const View& view, const Ellipse& ellipse, const Vec2& smear);

}  // namespace baizetrace::sight
