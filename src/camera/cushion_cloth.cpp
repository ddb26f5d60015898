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

struct Look {
  Vec2 chroma;      // over luma
  double luma = 0;  // levels above black
};
std::optional<Look> look_at(const Scene& scene, const Camera& camera, const Vec3& at) {
  const auto pixel = camera.project(at);
  double y, cb, cr;
  if (!pixel || !sample_plane(scene.luma, 1, *pixel, y) || !sample_plane(scene.cb, 0.5, *pixel, cb) ||
      !sample_plane(scene.cr, 0.5, *pixel, cr))
    return std::nullopt;
  const double luma = std::max(0.0, y - 16);
  return Look{Vec2(cb - 128, cr - 128) / (luma + kPedestal), luma};
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
      const auto cushion = look_at(scene, camera, point(kOnCushion, x.nose_height));
      const auto bed = look_at(scene, camera, point(kOnBed, 0));
      if (cushion && bed) apart.push_back((cushion->chroma - bed->chroma).norm());
    }
    if (apart.size() >= kLeastPlaces) out[static_cast<std::size_t>(side)] = upper_median(apart);
  }
  return out;
}

double d_in_sight(const Scene& scene, const Unknowns& x) {
  constexpr double kGrid = 0.1, kOffNose = 0.1, kPiece = 0.02;  // m
  constexpr double kDark = 0.5, kBright = 1.7;                  // of the bed's brightness
  const Camera camera = x.camera();
  std::vector<double> luma, cb, cr;
  for (double u = -x.half_width + kOffNose; u < x.half_width - kOffNose; u += kGrid)
    for (double v = -x.half_length + kOffNose; v < x.half_length - kOffNose; v += kGrid)
      if (const auto look = look_at(scene, camera, {u, v, 0})) {
        luma.push_back(look->luma);
        cb.push_back(look->chroma.x());
        cr.push_back(look->chroma.y());
      }
  constexpr std::size_t kLeast = 50;
  if (luma.size() < kLeast) return 0;
  const double bed = upper_median(luma);
  const Vec2 chroma(upper_median(cb), upper_median(cr));
  int all = 0, cloth = 0;
  for (double angle = -kPi; angle < 0; angle += kPiece / std::max(0.05, x.d_radius), ++all) {
    const auto look =
        look_at(scene, camera,
                {x.d_centre.x() + x.d_radius * std::cos(angle), x.d_centre.y() + x.d_radius * std::sin(angle), 0});
    cloth +=
        look && (look->chroma - chroma).norm() < kOtherStuff && look->luma > kDark * bed && look->luma < kBright * bed;
  }
  return static_cast<double>(cloth) / all;
}

}  // namespace baizetrace::camera
