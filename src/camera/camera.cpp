#include "camera/camera.hpp"

#include <Eigen/Dense>
#include <cassert>

#include "camera/lens_model.hpp"

namespace baizetrace::camera {

namespace {
// A point nearer than this in front of the lens has no useful picture.
constexpr double kNearest = 1e-6;              // m
constexpr double kUndistortTolerance = 1e-12;  // normalised units: 1e-9 px at a focal length of 1000 px
constexpr int kNewtonSteps = 50;
constexpr double kWidest = 20;  // normalised radius (87 degrees off the axis): nothing is looked for beyond

// Undistorted radius whose distorted radius is `distorted`; where the lens model never reaches it, the fold's.
// Bisection on the growing branch: cannot leave it.
double undistorted_radius(const std::array<double, 5>& d, double distorted) {
  const auto forward = [&](double r) {
    const double s = r * r;
    return r * (1 + s * (d[0] + s * (d[1] + s * d[4])));
  };
  double low = 0, high = distorted;
  while (high < kWidest && before_fold(d, high * high) && forward(high) < distorted) {
    low = high;
    high = high * 1.25 + 1e-3;
  }
  for (int i = 0; i < 40; ++i) {
    const double middle = 0.5 * (low + high);
    if (before_fold(d, middle * middle) && forward(middle) < distorted)
      low = middle;
    else
      high = middle;
  }
  return low;
}

// False: the lens model reaches no such place before it folds back; x, y are then on the fold.
bool undistort(const Lens& lens, const Vec2& pixel, double& x, double& y) {
  const double xd = (pixel.x() - lens.cx) / lens.fx, yd = (pixel.y() - lens.cy) / lens.fy;
  const std::array<double, 5>& d = lens.distortion;
  x = xd;
  y = yd;
  // Plain Newton from the distorted place serves mild lenses; a start on the radial model serves the others.
  for (int attempt = 0; attempt < 2; ++attempt) {
    if (attempt == 1) {
      const double rd = std::hypot(xd, yd);
      const double scale = rd > 0 ? undistorted_radius(d, rd) / rd : 1;
      x = xd * scale;
      y = yd * scale;
    }
    for (int i = 0; i < kNewtonSteps; ++i) {
      double fx, fy;
      distort(d, x, y, fx, fy);
      const Vec2 off(fx - xd, fy - yd);
      const Mat2 j = distort_jacobian(d, x, y);
      if (!(j.determinant() > 0)) break;
      const Vec2 step = j.inverse() * off;
      x -= step.x();
      y -= step.y();
      if (!(step.norm() < kWidest)) break;
      if (step.norm() < kUndistortTolerance) {
        if (before_fold(d, x * x + y * y) && distort_jacobian(d, x, y).determinant() > 0) return true;
        break;
      }
    }
  }
  const double rd = std::hypot(xd, yd);
  const double scale = rd > 0 ? undistorted_radius(d, rd) / rd : 1;
  x = xd * scale;
  y = yd * scale;
  return false;
}
}  // namespace

std::optional<Vec2> Camera::project(const Vec3& in_table) const {
  const Vec3 c = pose.R * in_table + pose.t;
  if (!(c.z() > kNearest)) return std::nullopt;
  const double x = c.x() / c.z(), y = c.y() / c.z();
  const double r2 = x * x + y * y;
  if (r2 > kWidest * kWidest || !before_fold(lens.distortion, r2)) return std::nullopt;
  double xd, yd;
  distort(lens.distortion, x, y, xd, yd);
  return Vec2(lens.fx * xd + lens.cx, lens.fy * yd + lens.cy);
}

Vec3 Camera::ray(const Vec2& pixel) const {
  double x, y;
  undistort(lens, pixel, x, y);
  return (pose.R.transpose() * Vec3(x, y, 1)).normalized();
}

std::optional<Vec2> Camera::on_plane(const Vec2& pixel, double z) const {
  double x, y;
  if (!undistort(lens, pixel, x, y)) return std::nullopt;
  const Vec3 direction = pose.R.transpose() * Vec3(x, y, 1);
  const Vec3 from = pose.position();
  const double along = (z - from.z()) / direction.z();
  if (!(along > 0) || !std::isfinite(along)) return std::nullopt;
  return Vec2(from.x() + along * direction.x(), from.y() + along * direction.y());
}

Mat2 Camera::plane_jacobian(const Vec3& in_table) const {
  const Vec3 c = pose.R * in_table + pose.t;
  const double x = c.x() / c.z(), y = c.y() / c.z();
  Mat2 focal;
  focal << lens.fx, 0, 0, lens.fy;
  Eigen::Matrix<double, 2, 3> pinhole;
  pinhole << 1 / c.z(), 0, -x / c.z(), 0, 1 / c.z(), -y / c.z();
  return focal * distort_jacobian(lens.distortion, x, y) * pinhole * pose.R.leftCols<2>();
}

std::vector<Camera::OutlinePoint> Camera::sphere_outline(const Vec3& centre, double radius, int n) const {
  assert(n > 0);
  std::vector<OutlinePoint> outline;
  const Vec3 from = pose.position();
  const Vec3 to_centre = centre - from;
  const double distance2 = to_centre.squaredNorm();
  if (!(distance2 > radius * radius)) return outline;  // the lens is inside the ball
  // Rays that touch the sphere touch it on a circle: the tangent cone's.
  const double share = radius * radius / distance2;
  const Vec3 circle_centre = centre - share * to_centre;
  const double circle_radius = radius * std::sqrt(1 - share);
  const Vec3 axis = to_centre.normalized();
  // Starts at the picture's right and runs towards its bottom.
  const Vec3 right_in_picture = pose.R.transpose().col(0);
  const Vec3 e1 = (right_in_picture - axis * axis.dot(right_in_picture)).normalized();
  const Vec3 e2 = axis.cross(e1);
  const Mat2 focal = Vec2(lens.fx, lens.fy).asDiagonal();
  outline.reserve(static_cast<std::size_t>(n));
  for (int i = 0; i < n; ++i) {
    const double a = 2 * kPi * i / n;
    const Vec3 p = circle_centre + circle_radius * (std::cos(a) * e1 + std::sin(a) * e2);
    const auto pixel = project(p);
    if (!pixel) continue;
    const Vec3 c = pose.R * p + pose.t;
    const double x = c.x() / c.z(), y = c.y() / c.z();
    Eigen::Matrix<double, 2, 3> pinhole;
    pinhole << 1 / c.z(), 0, -x / c.z(), 0, 1 / c.z(), -y / c.z();
    const Vec2 along =
        focal * distort_jacobian(lens.distortion, x, y) * pinhole * (pose.R * (-std::sin(a) * e1 + std::cos(a) * e2));
    // e1 right, e2 down, walked from right to down: outwards is the walking direction turned towards up-left's hand.
    const Vec2 normal = Vec2(along.y(), -along.x()).normalized();
    outline.push_back({*pixel, normal, p});
  }
  return outline;
}

}  // namespace baizetrace::camera
