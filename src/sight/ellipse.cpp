#include "sight/ellipse.hpp"

#include <Eigen/Eigenvalues>

namespace baizetrace::sight {

std::optional<Ellipse> ball_ellipse(const camera::Camera& camera, const Vec2& at, double radius) {
  constexpr int kPoints = 16;  // the outline is smooth: second moments of 16 points are exact for an ellipse
  const auto outline = camera.sphere_outline({at.x(), at.y(), radius}, radius, kPoints);
  if (outline.size() < 8) return std::nullopt;
  // Area moments of the polygon, by its triangles about the mean.
  Vec2 mean = Vec2::Zero();
  for (const auto& p : outline) mean += p.pixel;
  mean /= static_cast<double>(outline.size());
  double area = 0;
  Vec2 first = Vec2::Zero();
  Mat2 second = Mat2::Zero();
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const Vec2 a = outline[i].pixel - mean, b = outline[(i + 1) % outline.size()].pixel - mean;
    const double w = 0.5 * cross(a, b);
    area += w;
    first += w * (a + b) / 3.0;
    const Vec2 s = a + b;
    second += w * (a * a.transpose() + b * b.transpose() + s * s.transpose()) / 12.0;
  }
  if (std::abs(area) < 1e-6) return std::nullopt;
  first /= area;
  second = second / area - first * first.transpose();
  // Ellipse: covariance over the area is M M^T / 4.
  const Eigen::SelfAdjointEigenSolver<Mat2> eigen(second);
  const Vec2 half = (4.0 * eigen.eigenvalues()).cwiseMax(1e-12).cwiseSqrt();
  // An n-gon inscribed in a circle has the moments of a circle smaller by this, in closed form.
  const double n = static_cast<double>(outline.size());
  const double moment_share = std::sqrt((2.0 + std::cos(2 * kPi / n)) / 3.0);
  const Vec2 axes = half / moment_share;
  Ellipse e;
  e.centre = mean + first;
  e.shape = eigen.eigenvectors() * axes.cwiseInverse().asDiagonal() * eigen.eigenvectors().transpose();
  e.radius = std::sqrt(axes.x() * axes.y());
  return e;
}

}  // namespace baizetrace::sight
