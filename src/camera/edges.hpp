// Sub-pixel marks along the model's curves: noses, the cloth's outer edge, baulk line, D.
//
// A stripe is a short piece of a curve; the picture's values across it, averaged along it, are its profile. What a
// nose looks like was measured on footage with truth: from above, the lit top of the cushion ends at the nose, and a
// dark band (the undercut face and the shadow under it) lies inside; where the cushion hides the bed, as on the near
// side of an oblique view, there may be no band and no mark. The mark is where the profile passes half way from the
// band to the cushion, by a fit that knows the blur (nose_profile.hpp).
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "camera/nose_profile.hpp"
#include "camera/scene.hpp"
#include "camera/solve.hpp"

namespace baizetrace::camera {

inline constexpr double kLinePiece = 0.04, kDPiece = 0.03;  // m: pieces of the baulk line and of the D

struct EdgeOptions {
  double nose_reach = 0.014;  // m, either side of the model's nose in which it is looked for
  double rail_reach = 0.014;
  double line_reach = 0.020;
  double step = 0.08;  // m, a stripe's length
  double gamma = 1;    // in which edges are read (profile.hpp)
  NoseLook look;       // what noses look like in this picture
};

// How many stripes each side has, in the order of Side.
[[nodiscard]] std::array<int, 4> stripe_counts(const table::Table& table, double step);

// `look`: what the noses of this picture turned out to look like, for the next round.
[[nodiscard]] std::vector<Mark> nose_marks(const Scene& scene, const Unknowns& x, const table::Table& table,
                                           const EdgeOptions& options, NoseLook* look = nullptr);
[[nodiscard]] std::vector<Mark> rail_marks(const Scene& scene, const Unknowns& x, const table::Table& table,
                                           const EdgeOptions& options);
[[nodiscard]] std::vector<Mark> line_marks(const Scene& scene, const Unknowns& x, const EdgeOptions& options);
[[nodiscard]] std::vector<Mark> d_marks(const Scene& scene, const Unknowns& x, const EdgeOptions& options);

// How clearly the whole baulk line, or the whole D, is seen within `reach` of where it is thought to be: its height
// over the scatter of the cloth beside it. Noise comes to 3 or 4. The line is taken as level.
[[nodiscard]] double line_strength(const Scene& scene, const Unknowns& x, double reach);
[[nodiscard]] double d_strength(const Scene& scene, const Unknowns& x, double reach);

}  // namespace baizetrace::camera
