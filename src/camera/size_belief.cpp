#include "camera/size_belief.hpp"

#include <Eigen/Dense>
#include <cmath>

namespace baizetrace::camera {

SizeTold settle_size(const SizeTold& seen, const Vec2& nominal) {
  // The careful table's normal distribution over the careless one's is again normal, up to a factor, with this
  // information. Its product with what is seen is the careful table's share.
  const double narrow = 1 / (kCarefulSizeU * kCarefulSizeU), wide = 1 / (kCarelessSizeU * kCarelessSizeU);
  const Mat2 more = (narrow - wide) * Mat2::Identity();
  const Mat2 information = seen.covariance.inverse();
  const Vec2 off = seen.mean - nominal;
  const Mat2 careful_information = information + more;
  const Mat2 careful_covariance = careful_information.inverse();
  const Vec2 careful_off = careful_covariance * (information * off);
  const double fit = off.dot(information * off) - careful_off.dot(careful_information * careful_off);
  const double careful = (1 - kCarelessShare) * (narrow / wide) *
                         std::sqrt(information.determinant() / careful_information.determinant()) *
                         std::exp(-0.5 * fit);
  SizeTold out;
  out.careless = kCarelessShare / (kCarelessShare + careful);
  const double a = out.careless, b = 1 - a;
  const Vec2 mean = a * off + b * careful_off, apart = off - careful_off;
  out.mean = nominal + mean;
  out.covariance = a * seen.covariance + b * careful_covariance + a * b * apart * apart.transpose();
  return out;
}

}  // namespace baizetrace::camera
