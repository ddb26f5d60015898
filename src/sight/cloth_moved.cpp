// The cloth as it looks after the camera has moved: its pictures carried over by way of the bed.
#include <opencv2/imgproc.hpp>

#include "sight/cloth.hpp"

namespace baizetrace::sight {

namespace {
constexpr int kMesh = 16;  // px: places carried over exactly; between them the shift is smooth

// Where a pixel of the new picture was in the old one, for every pixel of a plane: full size or half.
cv::Mat map_of(const camera::Camera& before, const camera::Camera& now, const cv::Size& size, int per) {
  cv::Mat shift(now.height / kMesh + 2, now.width / kMesh + 2, CV_32FC2, cv::Scalar(0, 0));
  for (int j = 0; j < shift.rows; ++j)
    for (int i = 0; i < shift.cols; ++i) {
      const Vec2 pixel(i * kMesh, j * kMesh);
      const auto at = now.on_plane(pixel, 0);
      if (!at) continue;
      const auto was = before.project({at->x(), at->y(), 0});
      if (!was) continue;
      shift.at<cv::Vec2f>(j, i) =
          cv::Vec2f(static_cast<float>(was->x() - pixel.x()), static_cast<float>(was->y() - pixel.y()));
    }
  cv::Mat map(size, CV_32FC2);
  const double offset = per == 1 ? 0 : 0.5;
  for (int y = 0; y < size.height; ++y) {
    const double v = (per * y + offset) / kMesh;
    const int j = std::min(static_cast<int>(v), shift.rows - 2);
    const auto b = static_cast<float>(v - j);
    const auto* up = shift.ptr<cv::Vec2f>(j);
    const auto* down = shift.ptr<cv::Vec2f>(j + 1);
    auto* out = map.ptr<cv::Vec2f>(y);
    for (int x = 0; x < size.width; ++x) {
      const double u = (per * x + offset) / kMesh;
      const int i = std::min(static_cast<int>(u), shift.cols - 2);
      const auto a = static_cast<float>(u - i);
      const cv::Vec2f d = (1 - b) * ((1 - a) * up[i] + a * up[i + 1]) + b * ((1 - a) * down[i] + a * down[i + 1]);
      const auto k = static_cast<float>(per);
      out[x] = cv::Vec2f(static_cast<float>(x) + d[0] / k, static_cast<float>(y) + d[1] / k);
    }
  }
  return map;
}

void carry(cv::Mat& plane, const cv::Mat& map, int how) {
  cv::Mat out;
  cv::remap(plane, out, map, cv::noArray(), how, cv::BORDER_REPLICATE);
  plane = out;
}
}  // namespace

void Cloth::seen_from(const camera::Camera& before, const camera::Camera& now) {
  const cv::Mat full = map_of(before, now, luma_.size(), 1), half = map_of(before, now, cb_.size(), 2);
  // Cubic: a background carried over often must not grow soft.
  carry(luma_, full, cv::INTER_CUBIC);
  carry(cb_, half, cv::INTER_CUBIC);
  carry(cr_, half, cv::INTER_CUBIC);
  const cv::Mat coarse = map_of(before, now, coarse_.size(), 2);
  carry(known_, coarse, cv::INTER_NEAREST);
  cv::resize(luma_, coarse_, {region_->cols, region_->rows}, 0, 0, cv::INTER_AREA);
  for (int y = 1; y + 1 < region_->rows; ++y) refresh_tolerance(y);
  for (cv::Mat& m : waiting_) m.setTo(cv::Scalar(-100));
  waited_.setTo(cv::Scalar(0));
}

}  // namespace baizetrace::sight
