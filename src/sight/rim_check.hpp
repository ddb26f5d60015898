// A cheap look before the costly fit: could a ball's outline be here at all?
#pragma once

#include <optional>
#include <span>

#include "sight/ellipse.hpp"
#include "sight/view.hpp"

namespace baizetrace::sight {

// Who asks. `known`: a ball that was followed here may lie in the deepest shadow. `near_people`: what is inside must
// not be cloth in a shadow either (a ball of the cloth's colour may fail that).
enum class RimFor { known, fresh, near_people };

// Share of the outline (swept along `smear`) with bare cloth, shadowed perhaps, just outside and something else just
// inside: near 1 for a ball lying free, near 0 inside a sleeve or along a cue. Where another ball of `others` lies just
// outside nothing can be told; such points do not count.
[[nodiscard]] double rim_share(const View& view, const Ellipse& ellipse, const Vec2& smear,
                               std::span<const Ellipse> others, RimFor asked = RimFor::fresh);

// How much the picture itself changes across an outline: the mean over it of the step's size, levels of luma. Noise
// alone gives 0.8 of its standard deviation.
[[nodiscard]] double rim_step(const View& view, const Ellipse& ellipse);

// What sets the picture inside an outline apart, mean size of the difference, levels, luma and chroma together: from
// the picture `beside` it, px away to either side, on the side where that is less; and how much of what it differs from
// the bare cloth by that is. For a ball all of it, next to nothing where the cloth itself is darker than it was taken
// for. Nothing if both lie beyond the picture.
struct Apart {
  double beside, share;
};
[[nodiscard]] std::optional<Apart> apart_from_beside(const View& view, const Ellipse& ellipse, const Vec2& beside);

// What fills an outline, as if it were the cloth in a shadow, which keeps its hue.
struct Shade {
  double share;   // of the bare cloth's luma there
  double beyond;  // levels of mean chroma away from the bare cloth's at that brightness
};
[[nodiscard]] Shade shade_inside(const View& view, const Ellipse& ellipse);

// Whether that is the step of a ball of nearly the cloth's own colour, in the picture itself and not only against the
// cloth as it is thought to be there.
[[nodiscard]] bool has_step_at_rim(const View& view, const Ellipse& outline);

}  // namespace baizetrace::sight
