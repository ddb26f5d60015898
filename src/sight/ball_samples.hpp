// The samples around a ball that its model is laid over: what belongs to other balls, hands, cues and lines left out.
#pragma once

#include <span>

#include "sight/ball_model.hpp"
#include "sight/view.hpp"

namespace baizetrace::sight {

enum class PlaneKind { luma, cb, cr };

// Samples of one plane within `search` px and an edge's reach of the outline swept along `smear`; but not those of
// `others`. `on_its_way`: a bright ball's deep shadow is left out too.
[[nodiscard]] Plane collect(const View& view, PlaneKind kind, const Geometry& g, const Vec2& smear, double search,
                            std::span<const Ellipse> others, bool on_its_way);

}  // namespace baizetrace::sight
