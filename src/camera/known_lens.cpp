#include "camera/known_lens.hpp"

#include <Eigen/Dense>
#include <opencv2/calib3d.hpp>

namespace baizetrace::camera {

namespace {
// What another focus and another day change, 1 sigma: of the focal length (share), the centre (share of the longer
// side) and the shape (k1 k2 p1 p2 k3). Published for phones: drifts of some pixels over half an hour of use (Elias et
// al. 2020, Sensors 20, 643).
constexpr double kFocalU = 0.004, kCentreU = 0.002;
constexpr std::array<double, 5> kShapeU{0.004, 0.004, 0.0002, 0.0002, 0.004};
}  // namespace

KnownLens known_lens(const Rig& rig) {
  KnownLens out{rig.camera.lens, {}};
  const double longer = std::max(rig.camera.width, rig.camera.height);
  for (std::size_t i = 0; i < 9; ++i) {
    const double floor = i < 2 ? kFocalU * rig.camera.lens.fx : i < 4 ? kCentreU * longer : kShapeU[i - 4];
    const auto k = static_cast<Eigen::Index>(i);
    out.u[i] = rig.covariance.rows() > k ? std::hypot(floor, std::sqrt(std::max(0.0, rig.covariance(k, k)))) : floor;
  }
  return out;
}

Unknowns seen_through(const Unknowns& x, const Lens& lens) {
  const Camera guess = x.camera();
  Camera through = guess;
  through.lens = lens;
  through.pose = Pose{};
  std::vector<cv::Point3d> places;
  std::vector<cv::Point2d> directions;
  for (int i = -2; i <= 2; ++i)
    for (int j = -4; j <= 4; ++j) {
      const Vec3 p(0.5 * i * x.half_width, 0.25 * j * x.half_length, 0);
      const auto pixel = guess.project(p);
      if (!pixel) continue;
      const Vec3 ray = through.ray(*pixel);
      if (!(ray.z() > 0.02)) continue;
      places.emplace_back(p.x(), p.y(), p.z());
      directions.emplace_back(ray.x() / ray.z(), ray.y() / ray.z());
    }
  Unknowns out = x;
  if (places.size() < 8) return out;
  cv::Mat turn, shift, R;
  if (!cv::solvePnP(places, directions, cv::Mat::eye(3, 3, CV_64F), cv::noArray(), turn, shift)) return out;
  cv::Rodrigues(turn, R);
  for (int r = 0; r < 3; ++r) {
    for (int c = 0; c < 3; ++c) out.pose.R(r, c) = R.at<double>(r, c);
    out.pose.t[r] = shift.at<double>(r);
  }
  if (!(out.pose.position().z() > 0)) return x;
  out.lens = lens;
  return out;
}

}  // namespace baizetrace::camera
