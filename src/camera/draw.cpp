#include <opencv2/imgproc.hpp>

#include "camera/register.hpp"

namespace baizetrace::camera {

namespace {
constexpr int kSubpixel = 4;  // binary places of drawn coordinates
const cv::Scalar kNoseInk(60, 200, 255), kJawInk(255, 190, 60), kFallInk(255, 120, 200), kMarkInk(255, 90, 170);

void polyline(cv::Mat& bgr, const Camera& camera, const std::vector<Vec3>& points, const cv::Scalar& ink) {
  const double scale = 1 << kSubpixel;
  for (std::size_t i = 0; i + 1 < points.size(); ++i) {
    const auto a = camera.project(points[i]), b = camera.project(points[i + 1]);
    if (!a || !b) continue;
    cv::line(bgr, cv::Point(cvRound(a->x() * scale), cvRound(a->y() * scale)),
             cv::Point(cvRound(b->x() * scale), cvRound(b->y() * scale)), ink, 1, cv::LINE_AA, kSubpixel);
  }
}

std::vector<Vec3> arc(const Vec2& centre, double radius, double from, double to, double z) {
  std::vector<Vec3> out;
  constexpr int kPieces = 48;
  for (int i = 0; i <= kPieces; ++i) {
    const double a = from + (to - from) * i / kPieces;
    out.emplace_back(centre.x() + radius * std::cos(a), centre.y() + radius * std::sin(a), z);
  }
  return out;
}

std::vector<Vec3> straight(const Vec2& a, const Vec2& b, double z) {
  std::vector<Vec3> out;
  constexpr int kPieces = 60;  // a lens bends lines
  for (int i = 0; i <= kPieces; ++i) {
    const Vec2 p = a + (b - a) * i / kPieces;
    out.emplace_back(p.x(), p.y(), z);
  }
  return out;
}
}  // namespace

void draw_table(cv::Mat& bgr, const Rig& rig, const table::Spec& spec) {
  const table::Table table = table_of(rig, spec);
  const Camera& camera = rig.camera;
  const double h = table.nose_height();
  for (const table::Nose& n : table.noses()) polyline(bgr, camera, straight(n.a, n.b, h), kNoseInk);
  for (const table::Jaw& j : table.jaws()) {
    const double middle = std::atan2(j.middle_of_arc.y(), j.middle_of_arc.x());
    polyline(bgr, camera, arc(j.centre, j.radius, middle - j.half_angle, middle + j.half_angle, h), kJawInk);
  }
  for (const table::Pocket& p : table.pockets())
    polyline(bgr, camera, arc(p.fall_centre, p.fall_radius, 0, 2 * kPi, 0), kFallInk);
  if (spec.baulk_line) {
    const double y = table.baulk_line_y(), w = table.half_width();
    polyline(bgr, camera, straight(Vec2(-w, y), Vec2(w, y), 0), kMarkInk);
    if (spec.d_radius) polyline(bgr, camera, arc(Vec2(0, y), *spec.d_radius, -kPi, 0, 0), kMarkInk);
  }
  constexpr double kTick = 0.012;  // m
  for (const auto& [name, at] : table.spots()) {
    polyline(bgr, camera, straight(at - Vec2(kTick, 0), at + Vec2(kTick, 0), 0), kMarkInk);
    polyline(bgr, camera, straight(at - Vec2(0, kTick), at + Vec2(0, kTick), 0), kMarkInk);
  }
}

}  // namespace baizetrace::camera
