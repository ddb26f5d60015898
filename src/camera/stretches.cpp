#include "camera/stretches.hpp"

#include <algorithm>

#include "camera/watch.hpp"

namespace baizetrace::camera {

namespace {
constexpr double kJump = 0.9;  // px: smeared pictures seem to lie up to half a pixel off
constexpr double kLeastShare = 0.35;
constexpr int kLasting = 2;  // pictures in a row that agree

// A plain lens over a plane: good enough to tell that a picture has moved.
Camera some_camera(int width, int height) {
  Camera c;
  c.width = width;
  c.height = height;
  const double f = 0.65 * std::max(width, height);
  c.lens = {f, f, 0.5 * (width - 1), 0.5 * (height - 1), {}};
  c.pose.R = Vec3(1, -1, -1).asDiagonal();
  c.pose.t = Vec3(0, 0, 2.5);
  return c;
}
}  // namespace

std::vector<Stretch> still_stretches(const std::vector<Snap>& snaps) {
  std::vector<Stretch> out;
  if (snaps.empty()) return out;
  const auto sharpest = std::max_element(snaps.begin(), snaps.end(),
                                         [](const Snap& a, const Snap& b) { return a.sharpness < b.sharpness; });
  cv::Mat reference;
  sharpest->luma.convertTo(reference, CV_32F);
  const Camera camera = some_camera(reference.cols, reference.rows);
  const Watch watch(reference, camera, nullptr);
  struct Told {
    double time;
    Pose pose;
  };
  std::vector<Told> told;
  for (const Snap& s : snaps) {
    const Pose near = told.empty() ? camera.pose : told.back().pose;
    Glance g = watch.glance(s.luma, near);
    if (!g.tells || g.share < kLeastShare) g = watch.search(s.luma, near);
    if (g.tells && g.share >= kLeastShare) told.push_back({s.time, g.pose});
  }
  out.push_back({snaps.front().time, snaps.back().time, static_cast<int>(told.size()), 0});
  if (told.size() < 2 * static_cast<std::size_t>(kLasting)) return out;
  // Each stretch begins with pictures that agree with one another.
  out.clear();
  Pose here = told[0].pose;
  Stretch now{told[0].time, told[0].time, 1, 0};
  for (std::size_t i = 1; i < told.size(); ++i) {
    if (watch.apart(here, told[i].pose).pixels < kJump) {
      now.to = told[i].time;
      ++now.pictures;
      continue;
    }
    const bool lasts = i + 1 >= told.size() || watch.apart(told[i].pose, told[i + 1].pose).pixels < kJump;
    if (!lasts) continue;  // a smeared picture, or the camera shakes: nobody's
    now.pixels_to_next = watch.apart(here, told[i].pose).pixels;
    out.push_back(now);
    here = told[i].pose;
    now = {told[i].time, told[i].time, 1, 0};
  }
  out.push_back(now);
  // One picture alone at the end is no stretch.
  while (out.size() > 1 && out.back().pictures < kLasting) out.pop_back();
  return out;
}

}  // namespace baizetrace::camera
