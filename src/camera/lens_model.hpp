// The lens model's arithmetic, once, for plain numbers and for automatic derivatives.
//
// Brown-Conrady in OpenCV's convention (its calib3d documentation): with x = X/Z, y = Y/Z, r2 = x^2 + y^2,
//   x_d = x (1 + k1 r2 + k2 r2^2 + k3 r2^3) + 2 p1 x y + p2 (r2 + 2 x^2)
//   y_d = y (1 + k1 r2 + k2 r2^2 + k3 r2^3) + p1 (r2 + 2 y^2) + 2 p2 x y
//   pixel = (fx x_d + cx, fy y_d + cy)
#pragma once

#include <array>
#include <cmath>

#include "camera/camera.hpp"

namespace baizetrace::camera {

// Distorted normalised coordinates of undistorted ones. d: k1 k2 p1 p2 k3.
template <class T, class D>
void distort(const D& d, const T& x, const T& y, T& xd, T& yd) {
  const T r2 = x * x + y * y;
  const T radial = T(1) + r2 * (d[0] + r2 * (d[1] + r2 * d[4]));
  xd = x * radial + d[2] * (x * y) * 2.0 + d[3] * (r2 + x * x * 2.0);
  yd = y * radial + d[2] * (r2 + y * y * 2.0) + d[3] * (x * y) * 2.0;
}

// d (x_d, y_d) / d (x, y).
inline Mat2 distort_jacobian(const std::array<double, 5>& d, double x, double y) {
  const double r2 = x * x + y * y;
  const double radial = 1 + r2 * (d[0] + r2 * (d[1] + r2 * d[4]));
  const double slope = d[0] + r2 * (2 * d[1] + r2 * 3 * d[4]);  // d radial / d r2
  Mat2 j;
  j << radial + 2 * x * x * slope + 2 * d[2] * y + 6 * d[3] * x, 2 * x * y * slope + 2 * d[2] * x + 2 * d[3] * y,
      2 * x * y * slope + 2 * d[2] * x + 2 * d[3] * y, radial + 2 * y * y * slope + 6 * d[2] * y + 2 * d[3] * x;
  return j;
}

// True when the radial model still grows all the way from the axis to r2: beyond its first turning point it folds
// back, and two directions would share a pixel.
inline bool before_fold(const std::array<double, 5>& d, double r2) {
  const double a = 3 * d[0], b = 5 * d[1], c = 7 * d[4];  // growth(s) = 1 + a s + b s^2 + c s^3, s = r2
  const auto growth = [&](double s) { return 1 + s * (a + s * (b + s * c)); };
  if (!(growth(r2) > 0)) return false;
  // Least inside: where a + 2 b s + 3 c s^2 = 0.
  const auto inside_ok = [&](double s) { return !(s > 0 && s < r2) || growth(s) > 0; };
  if (c == 0) return b == 0 || inside_ok(-a / (2 * b));
  const double q = b * b - 3 * a * c;
  if (q < 0) return true;
  const double root = std::sqrt(q);
  return inside_ok((-b + root) / (3 * c)) && inside_ok((-b - root) / (3 * c));
}

}  // namespace baizetrace::camera
