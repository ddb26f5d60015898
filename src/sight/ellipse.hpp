// The image of a ball as an ellipse, and the gain of a frame against the background it is compared with.
#pragma once

#include <cmath>
#include <optional>
#include <span>
#include <vector>

#include "base/units.hpp"
#include "camera/camera.hpp"

namespace baizetrace::sight {

// Outline of a sphere in the picture: |shape (p - centre)| = 1. A pinhole's is exactly an ellipse; the lens's
// distortion over one ball leaves it one within a few hundredths of a pixel.
struct Ellipse {
  Vec2 centre = Vec2::Zero();     // px; not the image of the sphere's centre
  Mat2 shape = Mat2::Identity();  // 1/px
  double radius = 0;              // px, geometric mean of the half axes

  [[nodiscard]] double share(const Vec2& p) const { return (shape * (p - centre)).norm(); }
  // Signed distance to the outline, px, first order: exact on it.
  [[nodiscard]] double distance(const Vec2& p) const {
    const Vec2 u = shape * (p - centre);
    const double r = u.norm();
    if (r < 1e-9) return -radius;
    return (r - 1.0) * r / (shape.transpose() * u).norm();
  }
  // Half height and width of its upright box, px.
  [[nodiscard]] Vec2 half_box() const {
    const Mat2 q = (shape.transpose() * shape).inverse();
    return {std::sqrt(q(0, 0)), std::sqrt(q(1, 1))};
  }
};

// Ellipse of a ball whose centre is at `at` over the bed, at height z = radius; nullopt: not in front of the camera.
[[nodiscard]] std::optional<Ellipse> ball_ellipse(const camera::Camera& camera, const Vec2& at, double radius);

}  // namespace baizetrace::sight
