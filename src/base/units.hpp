// Units and angles. SI in code; conversions stand here and nowhere else.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <numbers>

namespace baizetrace {

using Vec2 = Eigen::Vector2d;
using Vec3 = Eigen::Vector3d;
using Mat2 = Eigen::Matrix2d;
using Mat3 = Eigen::Matrix3d;

inline constexpr double kPi = std::numbers::pi;
inline constexpr double kGravity = 9.81;  // m/s2; local values differ by 0.3 %, far below what friction is known to

constexpr double radians(double degrees) { return degrees * kPi / 180.0; }
constexpr double degrees(double radians_) { return radians_ * 180.0 / kPi; }

// The same angle in (-pi, pi].
inline double wrap_angle(double a) {
  a = std::remainder(a, 2.0 * kPi);
  return a <= -kPi ? kPi : a;
}

// Heading: angle from +y (towards the top cushion), clockwise seen from above, radians in (-pi, pi].
inline double heading_of(const Vec2& v) { return std::atan2(v.x(), v.y()); }
inline Vec2 along_heading(double heading) { return {std::sin(heading), std::cos(heading)}; }

// z component of a x b.
inline double cross(const Vec2& a, const Vec2& b) { return a.x() * b.y() - a.y() * b.x(); }
// a turned by +90 degrees (counter-clockwise).
inline Vec2 left_of(const Vec2& a) { return {-a.y(), a.x()}; }

}  // namespace baizetrace
