#include "camera/cushion_cloth.hpp"

#include <optional>

#include "base/median.hpp"
#include "camera/sampling.hpp"

namespace baizetrace::camera {

namespace {
constexpr double kPedestal = 12;                        // levels, as in find_cloth
constexpr double kOnCushion = 0.025, kOnBed = -0.060;   // m beyond the nose: clear of shadow, nose and seam
constexpr double kClearOfPocket = 0.16, kEvery = 0.05;  // m
constexpr std::size_t kLeastPlaces = 8;

std::optional<Vec2> chroma_at(const Scene& scene, const Camera& camera, const Vec3& at) {
  const auto pixel = camera.project(at);
  double y, cb, cr;
  if (!pixel || !sample_plane(scene.luma, 1, *pixel, y) || !sample_plane(scene.cb, 0.5, *pixel, cb) ||
      !sample_plane(scene.cr, 0.5, *pixel, cr))
    return std::nullopt;
  return Vec2(cb - 128, cr - 128) / (std::max(0.0, y - 16) + kPedestal);
}
}  // namespace

std::array<double, 4> cushion_apart(const Scene& scene, const Unknowns& x) {
  const Camera camera = x.camera();
  std::array<double, 4> out{};
  for (int side = 0; side < 4; ++side) {
    if (side == x.hidden_side) continue;
    const bool end = side == kBaulk || side == kTop;
    const double sign = side == kBaulk || side == kLeft ? -1 : 1;
    const double reach = (end ? x.half_width : x.half_length) - kClearOfPocket;
    std::vector<double> apart;
    for (double along = -reach; along <= reach; along += kEvery) {
      if (!end && std::abs(along) < kClearOfPocket) continue;
      const auto point = [&](double beyond, double height) {
        const double out_there = sign * ((end ? x.half_length : x.half_width) + beyond);
        return end ? Vec3(along, out_there, height) : Vec3(out_there, along, height);
      };
      const auto cushion = chroma_at(scene, camera, point(kOnCushion, x.nose_height));
      const auto bed = chroma_at(scene, camera, point(kOnBed, 0));
      if (cushion && bed) apart.push_back((*cushion - *bed).norm());
    }
    if (apart.size() >= kLeastPlaces) out[static_cast<std::size_t>(side)] = upper_median(apart);
  }
  return out;
}

}  // namespace baizetrace::camera
