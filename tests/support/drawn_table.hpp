// A full-size table drawn through a camera, plainly: for tests of what moves in a picture. Not footage: flat colours,
// no compression. Noise is seeded.
#pragma once

#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <random>

#include "camera/camera.hpp"
#include "table/table.hpp"

namespace baizetrace::test_support {

// A wide lens 1.9 m above the bed.
inline camera::Camera overhead_camera(int width = 1280, int height = 720) {
  camera::Camera c;
  c.width = width;
  c.height = height;
  const double f = 0.5 * width;
  c.lens = {f, f, width / 2.0 + 3, height / 2.0 - 4, {-0.28, 0.09, 0, 0, -0.01}};
  c.pose.R << 0, 1, 0, 1, 0, 0, 0, 0, -1;
  c.pose.t = Vec3(0.02, -0.01, 1.9);
  return c;
}

// Luma (CV_8U). Levels at a place of the plan, averaged over 2 x 2 places a pixel; the noise is added after.
inline cv::Mat draw_luma(const camera::Camera& camera, const table::Table& table, double noise = 2, unsigned seed = 1) {
  const double line = table.baulk_line_y(), d = table.spec().d_radius.value_or(0);
  const auto level = [&](const Vec2& p) -> float {
    const double x = std::abs(p.x()) - table.half_width(), y = std::abs(p.y()) - table.half_length();
    for (const table::Pocket& k : table.pockets())
      if (k.to_fall(p) < 0.01) return 18;
    const double out = std::max(x, y);
    if (out > 0.14)
      return (static_cast<int>(std::floor(p.x() * 5)) + static_cast<int>(std::floor(p.y() * 5))) & 1
                 ? 60.0F
                 : 66.0F;       // the floor's tiles
    if (out > 0.05) return 45;  // wood
    if (out > 0) return 105;    // the cushion's top
    if (out > -0.007) return 62;
    const Vec2 off = p - Vec2(0, line);
    if (std::abs(off.y()) < 0.0015 || (off.y() < 0 && std::abs(off.norm() - d) < 0.0015)) return 150;
    return 92;
  };
  cv::Mat out(camera.height, camera.width, CV_8U);
  std::mt19937 random(seed);
  std::normal_distribution<float> grain(0, static_cast<float>(noise));
  // Places on a mesh, straight between: a mesh of 8 px bends by less than a hundredth.
  constexpr int kMesh = 8;
  cv::Mat mesh(camera.height / kMesh + 2, camera.width / kMesh + 2, CV_64FC2);
  for (int j = 0; j < mesh.rows; ++j)
    for (int i = 0; i < mesh.cols; ++i) {
      const auto at = camera.on_plane(Vec2(i * kMesh - 0.5, j * kMesh - 0.5), 0);
      mesh.at<cv::Vec2d>(j, i) = at ? cv::Vec2d(at->x(), at->y()) : cv::Vec2d(9, 9);
    }
  for (int v = 0; v < out.rows; ++v)
    for (int u = 0; u < out.cols; ++u) {
      float sum = 0;
      for (const double b : {0.25, 0.75})
        for (const double a : {0.25, 0.75}) {
          const double x = (u + a) / kMesh, y = (v + b) / kMesh;
          const int i = static_cast<int>(x), j = static_cast<int>(y);
          const double s = x - i, t = y - j;
          const cv::Vec2d p = (1 - t) * ((1 - s) * mesh.at<cv::Vec2d>(j, i) + s * mesh.at<cv::Vec2d>(j, i + 1)) +
                              t * ((1 - s) * mesh.at<cv::Vec2d>(j + 1, i) + s * mesh.at<cv::Vec2d>(j + 1, i + 1));
          sum += 0.25F * level({p[0], p[1]});
        }
      out.at<std::uint8_t>(v, u) = cv::saturate_cast<std::uint8_t>(sum + grain(random));
    }
  return out;
}

}  // namespace baizetrace::test_support
