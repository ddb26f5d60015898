#include "register_check/check.hpp"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <ctime>
#include <filesystem>
#include <opencv2/imgcodecs.hpp>

#include "base/median.hpp"
#include "drawn/clips.hpp"

namespace baizetrace::register_check {

namespace {
double cpu_seconds() { return static_cast<double>(std::clock()) / CLOCKS_PER_SEC; }
}  // namespace

RigError rig_error(const camera::Rig& truth, const camera::Rig& found, double radius) {
  RigError e;
  int n = 0;
  std::vector<double> us;
  for (double x = -0.85; x <= 0.851; x += 0.17)
    for (double y = -1.70; y <= 1.701; y += 0.17) {
      const auto pixel = truth.camera.project(Vec3(x, y, radius));
      if (!pixel || pixel->x() < 0 || pixel->y() < 0 || pixel->x() >= truth.camera.width ||
          pixel->y() >= truth.camera.height)
        continue;
      const auto back = found.camera.on_plane(*pixel, radius);
      const Vec2 d = back ? Vec2(*back - Vec2(x, y)) : Vec2(1, 1);
      const Mat2 c = found.place_covariance(Vec2(x, y), radius);
      e.rms += d.squaredNorm();
      e.u += c.trace();
      e.worst = std::max(e.worst, d.norm());
      const double told = d.norm() > 0 ? std::sqrt(d.dot(c * d)) / d.norm() : 0;
      e.silent = std::max(e.silent, d.norm() > 3 * told ? d.norm() : 0.0);
      for (int k = 0; k < 2; ++k) {
        e.inside += std::abs(d[k]) <= 1.96 * std::sqrt(c(k, k));
        us.push_back(std::sqrt(c(k, k)));
      }
      ++n;
    }
  e.rms = std::sqrt(e.rms / std::max(1, n));
  e.u = std::sqrt(e.u / std::max(1, n));
  e.values = 2 * n;
  if (!us.empty()) {
    e.u_median = upper_median(us);
  }
  return e;
}

camera::Rig rig_of(const drawn::Scene& scene) {
  const drawn::Optics& o = scene.optics;
  camera::Rig rig;
  rig.camera.width = o.width;
  rig.camera.height = o.height;
  rig.camera.lens = {o.fx, o.fy, o.cx, o.cy, {o.k1, o.k2, o.p1, o.p2, o.k3}};
  rig.camera.pose.R = o.turn;
  rig.camera.pose.t = -o.turn * o.eye;
  rig.half_width = scene.table.half_width;
  rig.half_length = scene.table.half_length;
  return rig;
}

Result<Outcome> check_scene(unsigned seed, const drawn::Wishes& wishes, const std::string& file,
                            const table::Spec& spec, const table::BallSet& balls, const std::string& pictures) {
  Outcome o;
  o.seed = seed;
  const double begin = cpu_seconds();
  drawn::Scene scene;
  if (std::filesystem::exists(file)) {
    scene = drawn::random_scene(seed, wishes, o.what);
  } else {
    auto made = drawn::draw_registration_clip(seed, wishes, file, o.what);
    if (!made) return pass_on(made);
    scene = std::move(*made);
  }
  const double drawn = cpu_seconds();
  o.drawing = drawn - begin;
  const auto found = camera::register_clip(file, spec, balls);
  if (!found) return pass_on(found);
  o.seconds = cpu_seconds() - drawn;
  const camera::Rig truth = rig_of(scene);
  const Vec3 centre = scene.optics.turn * -scene.optics.eye;
  o.mm_per_pixel = 1000 * centre.norm() / scene.optics.fx;
  o.found = found->found;
  o.why = found->why;
  o.warnings = found->warnings;
  if (o.found) {
    o.error = rig_error(truth, found->rig);
    o.size_width = found->rig.half_width - truth.half_width;
    o.size_length = found->rig.half_length - truth.half_length;
    o.off_width = truth.half_width - spec.half_width;
    o.off_length = truth.half_length - spec.half_length;
    o.wrong = o.error.silent > kSilentlyWrong;
  }
  if (!pictures.empty()) {
    cv::Mat picture = found->background.clone();
    if (o.found) camera::draw_table(picture, found->rig, spec);
    cv::imwrite(fmt::format("{}/{}.png", pictures, seed), picture);
  }
  return o;
}

void add(Tally& t, const Outcome& o) {
  ++t.scenes;
  t.seconds += o.seconds;
  if (!o.found) {
    ++t.refused;
    return;
  }
  ++t.found;
  t.wrong += o.wrong;
  t.inside += o.error.inside;
  t.values += o.error.values;
  t.u.push_back(o.error.u_median / std::max(1.0, o.mm_per_pixel / kUsualPixel));
  t.rms.push_back(o.error.rms);
}

std::string line_of(const Outcome& o) {
  const std::string head = fmt::format("{:4d} {:.1f}s {:.2f} mm/px", o.seed, o.seconds, o.mm_per_pixel);
  if (!o.found) return fmt::format("{}  REFUSED: {} [{}]", head, o.why, o.what);
  std::string said;
  for (const std::string& w : o.warnings) said += "; " + w;
  return fmt::format(
      "{}  rms {:.2f} worst {:.2f} u {:.2f} in {:3.0f} %  size {:+.1f} {:+.1f} (table {:+.1f} {:+.1f}){}{} [{}]", head,
      1e3 * o.error.rms, 1e3 * o.error.worst, 1e3 * o.error.u, 100.0 * o.error.inside / std::max(1, o.error.values),
      1e3 * o.size_width, 1e3 * o.size_length, 1e3 * o.off_width, 1e3 * o.off_length, o.wrong ? "  WRONG" : "", said,
      o.what);
}

std::string summary_of(Tally t) {
  const auto middle = [](std::vector<double>& v, double share) {
    if (v.empty()) return 0.0;
    std::sort(v.begin(), v.end());
    return v[std::min(v.size() - 1, static_cast<std::size_t>(share * static_cast<double>(v.size())))];
  };
  return fmt::format(
      "{} scenes: {} registered ({:.1f} %), {} refused, {} silently wrong; rms median {:.2f}, 90 % {:.2f}, worst "
      "{:.2f} mm; u (one coordinate, at 2.3 mm a pixel) median {:.2f} mm; "
      "95 % intervals hold {:.1f} % of {}; {:.1f} s each",
      t.scenes, t.found, 100.0 * t.found / std::max(1, t.scenes), t.refused, t.wrong, 1e3 * middle(t.rms, 0.5),
      1e3 * middle(t.rms, 0.9), 1e3 * middle(t.rms, 1), 1e3 * middle(t.u, 0.5),
      100.0 * t.inside / std::max(1, t.values), t.values, t.seconds / std::max(1, t.scenes));
}

}  // namespace baizetrace::register_check
