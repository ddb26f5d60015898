// The picture of one ball, as a model linear in its shading and its shadow, and the samples it is laid over.
//
// A sample is (1 - a) S B + a F, see ball_fit.hpp. Here: the columns of that model for a whole plane of samples, and
// the normal equations from them.
#pragma once

#include <Eigen/Dense>
#include <array>
#include <optional>
#include <vector>

#include "base/units.hpp"
#include "camera/camera.hpp"
#include "sight/ellipse.hpp"

namespace baizetrace::sight {

constexpr int kInside = 10, kOutside = 7, kLinear = kInside + kOutside;
constexpr int kPlace = 5;           // du dv, smear x y, radius
constexpr int kGainTerm = kInside;  // the cloth's own brightness
// Columns of the model's matrix: the linear terms; derivatives of the coverage by the place (u, v), the smear (x, y)
// and the radius, averaged over the exposure; the coverage itself, which gives way to the samples' values; the
// derivatives of the whole model by u and v.
enum Column { kEdge = kLinear, kValue = kLinear + kPlace, kWhole, kColumns = kWhole + 2 };

// Samples of one plane, column by column.
struct Plane {
  Eigen::ArrayXf x, y;         // px, luma's
  Eigen::ArrayXf value, bare;  // levels above black; chroma about grey
  Eigen::ArrayXf weight;       // robust share, 0..1
  Eigen::ArrayXf residual;
  double noise = 1;
  double blur = 0.7;
  bool chroma = false;
  // Levels either side of the outline, shares of white; both 0: not known yet. Light mixes before the camera's gamma
  // bends it: at the edge, and all along a smear.
  float ball_level = 0, cloth_level = 0;
  Eigen::VectorXf solution = Eigen::VectorXf::Zero(kLinear);
  double scale = 1;  // robust scatter, levels

  [[nodiscard]] Eigen::Index count() const { return x.size(); }
  void keep(const std::vector<char>& which);
};

// Geometry of the ball at one place: outline and its contact point.
struct Geometry {
  Ellipse ellipse;
  Vec2 centre;       // px
  Vec2 contact;      // px, where it touches the cloth
  Mat2 bed_from_px;  // m/px on the bed
  double radius_m;
};

[[nodiscard]] std::optional<Geometry> geometry_at(const camera::Camera& camera, const Vec2& at, double radius);

// Places of a smear that a blur of this width (px) asks for.
[[nodiscard]] int sub_times(const Vec2& smear, double blur);

// A: samples x kColumns, all but kWhole filled. `grown`: px by which the outline is larger.
void fill_basis(const Geometry& g, const Plane& p, float blur, float grown, const Vec2& smear, Eigen::MatrixXf& A);

// The model itself, levels, with the ball moved by `moved` px.
void fill_model(const Geometry& g, const Plane& p, float blur, float grown, const Vec2& smear, const Vec2& moved,
                Eigen::ArrayXf& out);

// N = A^T A of the first `columns` columns, all of it.
void normal_matrix(const Eigen::MatrixXf& A, int columns, Eigen::MatrixXf& N);

// The levels either side of a luma plane's outline, from its solution.
void set_levels(Plane& plane);

}  // namespace baizetrace::sight
