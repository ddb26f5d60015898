#include "camera/place_map.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "camera/size_belief.hpp"

namespace baizetrace::camera {

PlaceMap place_map(const Rig& rig, double ball_radius, int across, int along) {
  PlaceMap map;
  map.across = across;
  map.along = along;
  std::vector<double> all;
  // Balls lie no nearer to the noses than their own radius.
  const double w = rig.half_width - ball_radius, l = rig.half_length - ball_radius;
  for (int j = 0; j < along; ++j)
    for (int i = 0; i < across; ++i) {
      PlaceExpected p;
      p.at = {w * (2.0 * i / (across - 1) - 1), l * (2.0 * j / (along - 1) - 1)};
      const auto pixel = rig.camera.project({p.at.x(), p.at.y(), ball_radius});
      p.seen = pixel && pixel->x() >= 0 && pixel->y() >= 0 && pixel->x() <= rig.camera.width - 1 &&
               pixel->y() <= rig.camera.height - 1;
      const Mat2 c = rig.place_covariance(p.at, ball_radius);
      p.u = c.diagonal().cwiseMax(0).cwiseSqrt();
      p.either = std::sqrt(0.5 * p.u.squaredNorm());
      if (p.seen) all.push_back(p.either);
      map.points.push_back(p);
    }
  if (!all.empty()) {
    std::sort(all.begin(), all.end());
    map.median = all[all.size() / 2];
    map.worst = all.back();
  }
  return map;
}

std::optional<double> median_if_taped(const Rig& rig, double ball_radius) {
  constexpr double kWorthIt = 0.8;
  if (rig.covariance.size() == 0) return std::nullopt;
  Rig taped = rig;
  Eigen::MatrixXd& c = taped.covariance;
  const Mat2 size = c.bottomRightCorner<2, 2>();
  const Mat2 known = size.inverse();
  if (!known.allFinite()) return std::nullopt;  // the size was held fixed
  const Mat2 with_tape = (known + Mat2::Identity() / (kTapedSizeU * kTapedSizeU)).inverse();
  const Eigen::MatrixXd follows = c.rightCols<2>() * known;  // what all else does when the size changes
  c += follows * (with_tape - size) * follows.transpose();
  const double median = place_map(taped, ball_radius).median;
  return median < kWorthIt * place_map(rig, ball_radius).median ? std::optional(median) : std::nullopt;
}

}  // namespace baizetrace::camera
