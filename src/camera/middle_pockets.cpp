#include "camera/middle_pockets.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "base/median.hpp"
#include "camera/sampling.hpp"

namespace baizetrace::camera {

namespace {
constexpr double kReach = 0.26, kStep = 0.002;             // m along the nose, either way
constexpr double kCushion = 0.15;                          // m: from here on there is no opening but cushion
constexpr std::array<double, 3> kOn{0.012, 0.018, 0.024};  // m beyond the nose: on the cushion's lit top
constexpr double kDark = 0.6;                              // of the cushion's light: a gap is darker than this
constexpr double kNarrowest = 0.07, kWidest = 0.14;        // m; openings of both renderers' tables: 0.078 to 0.118
constexpr double kMiddleU = 0.007;  // m; with 4 a ray-traced table with an end cut off was 5.3 mm off, not 5
constexpr double kBlack = 16;       // level

Vec3 on_cushion(const Unknowns& x, int side, double along, double beyond) {
  return {(side == kLeft ? -1 : 1) * (x.half_width + beyond), along, x.nose_height};
}

// The opening's middle along one side's nose, m.
std::optional<double> opening(const Scene& scene, const Unknowns& x, int side) {
  const Camera camera = x.camera();
  std::vector<double> along, light;
  std::vector<float> cushion;
  for (double y = -kReach; y <= kReach; y += kStep) {
    double sum = 0;
    for (const double beyond : kOn) {
      const auto pixel = camera.project(on_cushion(x, side, y, beyond));
      double value = 0;
      if (!pixel || !sample_plane(scene.luma, 1, *pixel, value)) return std::nullopt;
      sum += std::max(0.0, value - kBlack) / static_cast<double>(kOn.size());
    }
    along.push_back(y);
    light.push_back(sum);
    if (std::abs(y) > kCushion) cushion.push_back(static_cast<float>(sum));
  }
  const auto lit = static_cast<double>(upper_median(cushion));
  const double darkest = *std::min_element(light.begin(), light.end());
  if (darkest > kDark * lit) return std::nullopt;
  // The widest stretch below half way, its ends read between samples.
  const double half = 0.5 * (lit + darkest);
  std::size_t from = 0, to = 0;
  for (std::size_t i = 0; i < light.size(); ++i) {
    if (light[i] >= half) continue;
    std::size_t j = i;
    while (j < light.size() && light[j] < half) ++j;
    if (j - i > to - from) from = i, to = j;
    i = j;
  }
  if (from == 0 || to >= light.size()) return std::nullopt;
  const auto crossing = [&](std::size_t k) {  // between samples k - 1 and k
    return along[k - 1] + kStep * (half - light[k - 1]) / (light[k] - light[k - 1]);
  };
  const double a = crossing(from), b = crossing(to);
  if (b - a < kNarrowest || b - a > kWidest) return std::nullopt;
  return 0.5 * (a + b);
}

// px along the table at the middle of a side, and that way in the picture.
std::optional<Vec2> per_metre(const Unknowns& x, int side, double along) {
  constexpr double kWay = 0.005;  // m
  const Camera camera = x.camera();
  const auto a = camera.project(on_cushion(x, side, along - kWay, kOn[1]));
  const auto b = camera.project(on_cushion(x, side, along + kWay, kOn[1]));
  if (!a || !b || (*b - *a).norm() < 1e-6) return std::nullopt;
  return Vec2((*b - *a) / (2 * kWay));
}
}  // namespace

std::vector<Mark> middle_marks(const Scene& scene, const Unknowns& x) {
  std::vector<Mark> marks;
  for (const int side : {static_cast<int>(kLeft), static_cast<int>(kRight)}) {
    if (side == x.hidden_side) continue;
    const auto middle = opening(scene, x, side);
    if (!middle) continue;
    const auto way = per_metre(x, side, *middle);
    const auto pixel = x.camera().project(on_cushion(x, side, *middle, kOn[1]));
    if (way && pixel) marks.push_back({Kind::pocket, side, kOn[1], *pixel, way->normalized(), kMiddleU * way->norm()});
  }
  return marks;
}

std::optional<double> middle_off(const std::vector<Mark>& marks, const Unknowns& x) {
  std::optional<double> nearest;
  for (const Mark& m : marks) {
    const auto way = per_metre(x, m.index, 0);
    const auto half_way = x.camera().project(x.point(m));
    if (!way || !half_way) continue;
    const double off = std::abs((m.pixel - *half_way).dot(m.normal)) / way->norm();
    if (!nearest || off < *nearest) nearest = off;
  }
  return nearest;
}

}  // namespace baizetrace::camera
