// The picture of one ball, as a model linear in its shading and its shadow, and the samples it is laid over.
//
// A sample is (1 - a) S B + a F, see ball_fit.hpp. Here: the columns of that model for a whole plane of samples, and
// the normal equations from them.
#pragma once

#include <Eigen/Dense>
#include <array>
#include <optional>
#include <span>
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

// The model's matrix, samples x kColumns, in blocks of samples that stay in the nearest cache; a block's column is
// filled up with zeros to whole lanes.
struct Columns {
  static constexpr int kBlock = 96, kLanes = 8;
  struct alignas(64) Block {
    float column[kColumns][kBlock];
  };
  int samples = 0;
  std::vector<Block> blocks;

  [[nodiscard]] static int whole_lanes(int count) { return (count + kLanes - 1) / kLanes * kLanes; }
  void resize(int count) {
    samples = count;
    blocks.resize(static_cast<std::size_t>((count + kBlock - 1) / kBlock));
  }
  [[nodiscard]] float at(int sample, int column) const {
    return blocks[static_cast<std::size_t>(sample / kBlock)].column[column][sample % kBlock];
  }
};

// All but kWhole and what follows. `grown`: px by which the outline is larger.
void fill_basis(const Geometry& g, const Plane& p, float blur, float grown, const Vec2& smear, Columns& A);

// The model itself, levels, with the ball moved by `moved` px.
void fill_model(const Geometry& g, const Plane& p, float blur, float grown, const Vec2& smear, const Vec2& moved,
                Eigen::ArrayXf& out);

// Makes a basis the equations' matrix: derivatives of the coverage become levels by the plane's solution, the
// coverage gives way to the samples' values, `moved` (the model moved by `step` px along u, and along v; nullptr: none)
// becomes the columns from kWhole on, and all is weighed by the roots of the samples' weights.
void weigh_columns(const Plane& p, const std::array<Eigen::ArrayXf, 2>* moved, float step, Columns& A);

// What the solution leaves of the weighed samples, levels; of those that hardly count it stays as it was.
void take_residuals(const Columns& A, Plane& p);

// A^T A of the columns `which`, in their places; 0 elsewhere.
using NormalMatrix = Eigen::Matrix<double, kColumns, kColumns>;
void normal_matrix(const Columns& A, std::span<const int> which, NormalMatrix& N);

// Takes the first unknowns out of symmetric normal equations: to the right of and below `pivots` their Schur
// complement stays, above it the rows to solve the first ones by from the last one back. Requires: positive pivots.
void eliminate(NormalMatrix& N, int pivots);

// The levels either side of a luma plane's outline, from its solution.
void set_levels(Plane& plane);

}  // namespace baizetrace::sight
