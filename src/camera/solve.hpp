// The joint fit: lens, pose, the table's own size and what else was seen, from marks found in the picture.
//
// A mark is a point in the picture that lies on a known curve of the table: a nose, the cloth's outer edge, the baulk
// line, the D, a ball's outline. Its residual is the distance along the curve's normal in the picture, in pixels.
#pragma once

#include <Eigen/Core>
#include <array>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "camera/camera.hpp"
#include "table/table.hpp"

namespace baizetrace::camera {

enum class Kind { nose, rail, line, d, ball, pocket };
[[nodiscard]] const char* name_of(Kind kind);  // as in a rig's file

// Sides in this order everywhere in registration.
enum Side { kBaulk = 0, kRight = 1, kTop = 2, kLeft = 3 };

struct Mark {
  Kind kind = Kind::nose;
  int index = 0;     // nose, rail, pocket: the side; ball: which
  double along = 0;  // nose, rail: x or y along the side, m; line: x, m; d: angle about its centre; ball: about the
                     // view; pocket: m beyond the nose, half way along the side
  Vec2 pixel = Vec2::Zero(), normal = Vec2::Zero();  // normal: unit
  double sd = 0.3;                                   // px, of this mark's own random error
};

// Everything that is solved for.
struct Unknowns {
  int width = 0, height = 0;
  Lens lens;
  Pose pose;
  double half_width = 0, half_length = 0;  // m
  double nose_height = 0;                  // m, given
  double rail_offset = 0.048;              // m, the cloth's outer edge beyond the nose
  double rail_height = 0.040;              // m, its height above the bed
  std::array<double, 4> nose_bias{};       // m, outwards: what the visible nose edge lies beyond the nose
  std::array<double, 4> rail_bias{};       // m, outwards: of each side from the common offset
  double line_y = 0, line_slope = 0;       // baulk line: y = line_y + line_slope x
  Vec2 d_centre = Vec2::Zero();
  double d_radius = 0;
  int hidden_side = -1;     // a side that is thought to be out of sight: nothing is looked for there
  std::vector<Vec2> balls;  // m
  double ball_radius = 0;   // m, given
  double ball_bias = 0;     // px, outwards: what the visible outline lies beyond the outline

  [[nodiscard]] Camera camera() const { return {width, height, lens, pose}; }
  // Of the angle at which each cushion is looked at, square to its length: 0 straight above it, below 0 from beyond it.
  [[nodiscard]] std::array<double, 4> tangents() const;
  // The point of the table that a mark lies on.
  [[nodiscard]] Vec3 point(const Mark& mark) const;
};

struct SolveOptions {
  bool lens_shape = true;  // solve k1, k2 (else kept)
  bool lens_fine = true;   // solve cx, cy, p1, p2, k3 and fx / fy too
  bool size = true;        // solve half_width, half_length
  bool focal = true;
  double loss = 2.0;  // Cauchy's scale in units of a mark's sd
  int iterations = 40;
  bool covariance = false;
};

struct SolveSummary {
  bool usable = false;
  double cost = 0;
  int marks = 0, inliers = 0;
  double rms_pixels = 0;          // of inliers
  std::vector<double> residuals;  // px, a mark each
  Eigen::MatrixXd covariance;     // 17 x 17 in the rig's order; empty unless asked for
  double careless = 0;            // probability that the table is not set up well (size_belief.hpp), with covariance
};

// A lens that is known from elsewhere: a profile, another rig of the same phone. u: of fx fy cx cy k1 k2 p1 p2 k3.
struct KnownLens {
  Lens lens;
  std::array<double, 9> u{};
};

// A length with its standard uncertainty.
struct Told {
  double value = 0, u = 0;
};

// Beliefs before the picture, 1 sigma.
struct Beliefs {
  double half_width = 0, half_length = 0;  // m, the table file's
  double line_y_from_baulk = 0;            // m
  double d_radius = 0;
  double u_drawn = 0.005;  // m, drawn marks
  bool has_line = false, has_d = false;
  // How the visible nose edge is thought to lie beyond the nose itself, a side, and how the cloth's outer edge differs
  // from side to side, 1 sigma. m.
  std::array<double, 4> nose_bias{}, u_nose_bias{0.0004, 0.0004, 0.0004, 0.0004};
  std::array<double, 4> u_rail_bias{0.0015, 0.0015, 0.0015, 0.0015};
  double u_ball_bias = 0.25;  // px, common to all balls' outlines
  // Told by whoever set the camera up.
  std::optional<KnownLens> lens;
  std::optional<Told> focal;   // px
  std::optional<Told> height;  // m, of the lens above the bed
  std::optional<Vec2> taped;   // m, the table's own half width and length (kTapedSizeU)
};

[[nodiscard]] SolveSummary solve(Unknowns& unknowns, const std::vector<Mark>& marks, const Beliefs& beliefs,
                                 const SolveOptions& options);

}  // namespace baizetrace::camera
