// Reading a picture between its pixels.
#pragma once

#include <cmath>
#include <opencv2/core.hpp>

#include "base/units.hpp"

namespace baizetrace::camera {

// Bilinear value of a CV_32F plane at a pixel of the full picture; false outside. A half-size plane's pixel i lies at
// 2 i + 0.5 of the full picture.
inline bool sample_plane(const cv::Mat& plane, double plane_scale, const Vec2& pixel, double& out) {
  const double shift = plane_scale == 1 ? 0 : 0.5;
  const double u = (pixel.x() - shift) * plane_scale, v = (pixel.y() - shift) * plane_scale;
  if (!(u >= 0 && v >= 0 && u < plane.cols - 1 && v < plane.rows - 1)) return false;
  const int x = static_cast<int>(u), y = static_cast<int>(v);
  const double a = u - x, b = v - y;
  const float* p = plane.ptr<float>(y) + x;
  const float* q = plane.ptr<float>(y + 1) + x;
  out = (1 - b) * ((1 - a) * static_cast<double>(p[0]) + a * static_cast<double>(p[1])) +
        b * ((1 - a) * static_cast<double>(q[0]) + a * static_cast<double>(q[1]));
  return true;
}

}  // namespace baizetrace::camera
