#include "camera/spots.hpp"

#include <algorithm>
#include <cmath>

#include "camera/sampling.hpp"

namespace baizetrace::camera {

namespace {
constexpr double kReach = 0.013;   // m: spots are drawn this near to where the rules put them
constexpr double kGrain = 0.0005;  // m, of the picture of the spot's surroundings
constexpr double kDot = 0.0045;    // m: a dot is darker than the cloth within this of its middle, and not beyond
constexpr double kRing = 0.009;
constexpr double kDarker = 10;  // levels, at the dot's middle
constexpr double kEven = 6;     // levels: how alike the cloth around it must be
}  // namespace

std::map<std::string, Vec2> find_spots(const Scene& scene, const Unknowns& x, const table::Spec& spec) {
  const table::Table table = table::Table(spec).resized(x.half_width, x.half_length);
  const Camera camera = x.camera();
  std::map<std::string, Vec2> spots = table.spots();
  const int n = static_cast<int>((kReach + kRing) / kGrain);
  const int size = 2 * n + 1;
  for (auto& [name, place] : spots) {
    // The surroundings seen straight from above. On the baulk line a dot is dark between bright: the ring's middle
    // value is the cloth.
    cv::Mat view(size, size, CV_32F);
    bool whole = true;
    for (int i = 0; i < size && whole; ++i)
      for (int j = 0; j < size && whole; ++j) {
        const auto pixel = camera.project(Vec3(place.x() + (j - n) * kGrain, place.y() + (i - n) * kGrain, 0));
        double v = 0;
        whole = pixel && sample_plane(scene.luma, 1, *pixel, v);
        view.at<float>(i, j) = static_cast<float>(v);
      }
    if (!whole) continue;
    const int reach = static_cast<int>(kReach / kGrain), dot = static_cast<int>(kDot / kGrain),
              ring = static_cast<int>(kRing / kGrain);
    double least = 1e9;
    cv::Point at;
    cv::minMaxLoc(view(cv::Rect(n - reach, n - reach, 2 * reach + 1, 2 * reach + 1)), &least, nullptr, &at);
    at += cv::Point(n - reach, n - reach);
    std::vector<double> around;
    for (int i = -ring; i <= ring; ++i)
      for (int j = -ring; j <= ring; ++j) {
        const double d = std::hypot(i, j);
        if (d > 1.3 * dot && d <= ring) around.push_back(static_cast<double>(view.at<float>(at.y + i, at.x + j)));
      }
    std::sort(around.begin(), around.end());
    const double cloth = around[around.size() / 2];
    if (cloth - least < kDarker || cloth - around[around.size() / 10] > kEven) continue;  // none, or a ball's shade
    double sum = 0, sx = 0, sy = 0;
    for (int i = -dot; i <= dot; ++i)
      for (int j = -dot; j <= dot; ++j) {
        if (std::hypot(i, j) > dot) continue;
        const double w = std::max(0.0, cloth - static_cast<double>(view.at<float>(at.y + i, at.x + j)) - 2);
        sum += w;
        sx += w * j;
        sy += w * i;
      }
    const Vec2 off((at.x - n + sx / sum) * kGrain, (at.y - n + sy / sum) * kGrain);
    if (off.norm() < kReach) place += off;
  }
  return spots;
}

}  // namespace baizetrace::camera
