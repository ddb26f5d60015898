// One camera over one table: lens and pose.
//
// OpenCV's convention: x_cam = R x_table + t, camera z forward, pixel centres at integers; lens distortion
// k1 k2 p1 p2 k3 (Brown-Conrady). The picture is the upright one. Metres, pixels, radians.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "base/units.hpp"

namespace baizetrace::camera {

struct Lens {
  double fx = 1, fy = 1, cx = 0, cy = 0;
  std::array<double, 5> distortion{};  // k1 k2 p1 p2 k3
};

struct Pose {
  Mat3 R = Mat3::Identity();  // camera_from_table
  Vec3 t = Vec3::Zero();
  [[nodiscard]] Vec3 position() const { return -R.transpose() * t; }  // of the lens, table frame
};

struct Camera {
  int width = 0, height = 0;
  Lens lens;
  Pose pose;

  // Pixel of a point in the table frame; nullopt: behind the camera or where the lens model folds back.
  [[nodiscard]] std::optional<Vec2> project(const Vec3& in_table) const;
  // Direction (unit, table frame) of the ray through a pixel. Undistorts by Newton's method to 1e-12.
  [[nodiscard]] Vec3 ray(const Vec2& pixel) const;
  // Where that ray meets the plane z (table frame); nullopt: it does not.
  [[nodiscard]] std::optional<Vec2> on_plane(const Vec2& pixel, double z) const;
  // d pixel / d (x, y) of a point that moves in the plane z: 2 x 2, pixels per metre.
  [[nodiscard]] Mat2 plane_jacobian(const Vec3& in_table) const;

  // The image of a sphere is its outline: the points where rays from the lens touch it, projected. `n` points in
  // order, each with the touching point on the sphere. A sphere's outline is not centred on its centre's image.
  struct OutlinePoint {
    Vec2 pixel;
    Vec2 normal;    // unit, outwards, in the picture
    Vec3 in_table;  // where the ray touches the sphere
  };
  [[nodiscard]] std::vector<OutlinePoint> sphere_outline(const Vec3& centre, double radius, int n) const;
};

}  // namespace baizetrace::camera
