#include "camera/stretches.hpp"

#include <algorithm>

#include "base/median.hpp"
#include "camera/watch.hpp"

namespace baizetrace::camera {

namespace {
constexpr double kJump = 0.9;  // px: smeared pictures seem to lie up to half a pixel off
constexpr double kLeastShare = 0.35;
constexpr double kJumpSteps = 4;     // or so many times the usual step from picture to picture
constexpr std::size_t kLasting = 2;  // pictures in a row
constexpr std::size_t kFew = 5;      // pictures that tell where the camera stands

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
  if (told.size() < 2 * kLasting) return out;
  // Each stretch begins with pictures that agree with one another.
  out.clear();
  // What pictures scatter by without any move: an encoder short of bits shifts edges.
  std::vector<double> steps;
  for (std::size_t i = 1; i < told.size(); ++i) steps.push_back(watch.apart(told[i - 1].pose, told[i].pose).pixels);
  const double jump = std::max(kJump, kJumpSteps * upper_median(steps));
  // The picture of a few that lies nearest to the others.
  const auto typical = [&](std::size_t from, std::size_t to) {
    std::size_t best = from;
    double least = 1e30;
    for (std::size_t i = from; i < to; ++i) {
      double sum = 0;
      for (std::size_t k = from; k < to; ++k) sum += watch.apart(told[i].pose, told[k].pose).pixels;
      if (sum < least) least = sum, best = i;
    }
    return told[best].pose;
  };
  std::size_t begin = 0;
  for (std::size_t i = 1; i <= told.size(); ++i) {
    bool moved = i == told.size();
    double by = 0;
    if (!moved && i - begin >= kLasting && i + kLasting <= told.size()) {
      const Pose here = typical(i - begin > kFew ? i - kFew : begin, i);
      moved = true;
      for (std::size_t k = i; k < i + kLasting; ++k) moved = moved && watch.apart(here, told[k].pose).pixels > jump;
      by = watch.apart(here, typical(i, std::min(i + kFew, told.size()))).pixels;
      moved = moved && by > jump;
    }
    if (!moved) continue;
    out.push_back({told[begin].time, told[i - 1].time, static_cast<int>(i - begin), by});
    begin = i;
  }
  return out;
}

}  // namespace baizetrace::camera
