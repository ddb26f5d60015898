// The rig: one camera over one table, with lens, pose, timing of the rows and where this table's marks are.
// File: *.rig.json, format baizetrace/rig-1.
#pragma once

#include <Eigen/Core>
#include <map>
#include <string>

#include "base/error.hpp"
#include "camera/camera.hpp"
#include "table/table.hpp"
#include "video/frame.hpp"

namespace baizetrace::camera {

struct Residual {
  int count = 0;
  double rms_pixels = 0;
  double rms = 0;  // m on the bed
};

struct Rig {
  Camera camera;
  std::string table = "full-size";            // name or path of the table's file
  double half_width = 0, half_length = 0;     // m, this table's own
  std::map<std::string, Vec2> spots;          // where this table's spots are drawn, m
  video::Turn turn = video::Turn::none;       // of the stored picture: gives the rows' direction
  double readout = 0, u_readout = 0;          // s; u_readout 0: given as exact
  bool readout_known = false;                 // false: readout is a middling guess with its u
  std::map<std::string, Residual> residuals;  // by kind of evidence: nose, rail, line, d, spot, pocket, ball

  // Covariance of the solved parameters, in the order
  // fx fy cx cy k1 k2 p1 p2 k3, rotation vector (3, left increment: R <- exp(w) R), t (3), half_width, half_length.
  // Parameters held fixed have zero rows. 17 x 17, or 0 x 0: unknown.
  Eigen::MatrixXd covariance;

  // The rig's share of the uncertainty of a ball's place (2 x 2, m^2), from the covariance: what averaging over
  // frames cannot remove.
  [[nodiscard]] Mat2 place_covariance(const Vec2& at, double ball_radius) const;
  // The same measured from the nearer side's nose (x) and the nearer end's (y), which lie where the picture shows them
  // too: what a size that is off does to both alike drops out.
  [[nodiscard]] Mat2 place_covariance_off_noses(const Vec2& at, double ball_radius) const;
  // Of half width and half length (2 x 2, m^2); zero: unknown.
  [[nodiscard]] Mat2 size_covariance() const;
};

[[nodiscard]] Result<Rig> read_rig(const std::string& file);
[[nodiscard]] std::string rig_json(const Rig& rig);
// The table as this rig found it: its own size, its own spots.
[[nodiscard]] table::Table table_of(const Rig& rig, const table::Spec& spec);

}  // namespace baizetrace::camera
