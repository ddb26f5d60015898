#include "drawn/optics.hpp"

#include <Eigen/Dense>
#include <cmath>

namespace baizetrace::drawn {

void Optics::bend(double a, double b, double& x, double& y) const {
  const double q = a * a + b * b;
  const double stretch = 1 + q * k1 + q * q * k2 + q * q * q * k3;
  x = a * stretch + 2 * p1 * a * b + p2 * (q + 2 * a * a);
  y = b * stretch + p1 * (q + 2 * b * b) + 2 * p2 * a * b;
}

std::optional<Vec2> Optics::pixel_of(const Vec3& point) const {
  const Vec3 c = turn * (point - eye);
  if (!(c.z() > 1e-3)) return std::nullopt;
  const double a = c.x() / c.z(), b = c.y() / c.z();
  if (std::hypot(a, b) > widest_) return std::nullopt;
  double x, y;
  bend(a, b, x, y);
  return Vec2(fx * x + cx, fy * y + cy);
}

bool Optics::direction(double u, double v, double& a, double& b, Vec3& out) const {
  const double x = (u - cx) / fx, y = (v - cy) / fy;
  // Newton's method with differences: two or three steps from a neighbour's result.
  constexpr double kStep = 1e-6, kDone = 1e-9;
  for (int round = 0; round < 30; ++round) {
    double x0, y0, xa, ya, xb, yb;
    bend(a, b, x0, y0);
    const double ex = x0 - x, ey = y0 - y;
    if (std::abs(ex) + std::abs(ey) < kDone) {
      if (std::hypot(a, b) > widest_) return false;
      out = turn.transpose() * Vec3(a, b, 1);
      return true;
    }
    bend(a + kStep, b, xa, ya);
    bend(a, b + kStep, xb, yb);
    const double j11 = (xa - x0) / kStep, j21 = (ya - y0) / kStep, j12 = (xb - x0) / kStep, j22 = (yb - y0) / kStep;
    const double det = j11 * j22 - j12 * j21;
    if (!(std::abs(det) > 1e-6)) break;
    double da = (j22 * ex - j12 * ey) / det, db = (j11 * ey - j21 * ex) / det;
    const double far = std::hypot(da, db);
    if (far > 0.3) da *= 0.3 / far, db *= 0.3 / far;
    a -= da;
    b -= db;
    if (!(std::hypot(a, b) < 3 * widest_)) break;
  }
  a = b = 0;
  return false;
}

void Optics::settle() {
  widest_ = 8;
  double last = 0;
  for (double t = 0.01; t < 8; t += 0.01) {
    const double r = t * (1 + k1 * t * t + k2 * t * t * t * t + k3 * std::pow(t, 6));
    if (r < last + 0.0015) {  // grows by less than 15 % of what a straight-lined lens would
      widest_ = t;
      return;
    }
    last = r;
  }
}

void shape_lens(Optics& o, double share, double reach) {
  Eigen::Matrix3d n = Eigen::Matrix3d::Zero();
  Eigen::Vector3d g = Eigen::Vector3d::Zero();
  for (double t = 0.02; t <= reach; t += 0.02) {
    const double q = t * t;
    // Misfit in the picture: t times the misfit of the stretch.
    const Eigen::Vector3d row = t * Eigen::Vector3d(q, q * q, q * q * q);
    const double want = t * share * (std::atan(t) / t - 1);
    n += row * row.transpose();
    g += row * want;
  }
  const Eigen::Vector3d k = n.ldlt().solve(g);
  o.k1 = k[0];
  o.k2 = k[1];
  o.k3 = k[2];
  o.settle();
}

}  // namespace baizetrace::drawn
