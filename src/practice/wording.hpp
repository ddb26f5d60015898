// How balls, posts and gaps are called where a person reads: what notes of scores and sentences of reports share.
#pragma once

#include <string>
#include <string_view>

#include "base/units.hpp"

namespace baizetrace::practice {

[[nodiscard]] std::string ball_name(std::string_view ball);  // "red-3" -> "red 3"
// A gate's post: a ball or spot, a pocket, a cushion.
[[nodiscard]] std::string post_name(std::string_view post);
// A gap as the trade says it, to the half ball: "a ball and a half", "three balls"; "a quarter of a ball" and so on
// below one ball; "next to nothing" below an eighth.
[[nodiscard]] std::string ball_widths(double gap, double ball_radius);
// Of cut: less is a straight shot, which has neither a thick and a thin side nor a left and a right.
inline constexpr double kStraightCut = radians(2.0);
// How full a ball is hit by the cut angle (rad; geometry: fullness = 1 - sin(cut)): "full", "three-quarter ball", ...
[[nodiscard]] std::string fullness_words(double cut);

}  // namespace baizetrace::practice
