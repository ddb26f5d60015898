#include "report/rig_picture.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "report/pen.hpp"

namespace baizetrace::report {

namespace {
constexpr Rgb kShade{20, 20, 60}, kPaper{250, 250, 248}, kInk{20, 20, 20}, kWhite{255, 255, 255};
constexpr double kDarkest = 0.45;     // opacity where the place is known worst
constexpr double kFullScale = 0.003;  // m: as dark as it gets
constexpr int kNumberEvery = 3;       // points of the map along the table, 2 across
}  // namespace

cv::Mat rig_picture(const cv::Mat& drawn, const camera::Rig& rig, const camera::PlaceMap& map, double ball_radius) {
  const double size = std::max(13.0, drawn.cols / 90.0), strip = 3.4 * size;
  cv::Mat canvas(drawn.rows + static_cast<int>(strip), drawn.cols, CV_8UC3, cv::Scalar(kPaper.b, kPaper.g, kPaper.r));
  drawn.copyTo(canvas(cv::Rect(0, 0, drawn.cols, drawn.rows)));
  Pen pen(canvas);
  const auto point = [&](int i, int j) -> const camera::PlaceExpected& {
    return map.points[static_cast<std::size_t>(j * map.across + i)];
  };
  const auto pixel = [&](const Vec2& at) { return rig.camera.project({at.x(), at.y(), ball_radius}); };
  for (int j = 0; j + 1 < map.along; ++j)
    for (int i = 0; i + 1 < map.across; ++i) {
      const auto &a = point(i, j), &b = point(i + 1, j), &c = point(i + 1, j + 1), &d = point(i, j + 1);
      const auto pa = pixel(a.at), pb = pixel(b.at), pc = pixel(c.at), pd = pixel(d.at);
      if (!pa || !pb || !pc || !pd) continue;
      const double u = 0.25 * (a.either + b.either + c.either + d.either);
      pen.area({*pa, *pb, *pc, *pd}, {kShade, kDarkest * std::min(1.0, u / kFullScale)});
    }
  for (int j = 0; j < map.along; j += kNumberEvery)
    for (int i = 0; i < map.across; i += 2) {
      const auto& p = point(i, j);
      const auto at = pixel(p.at);
      if (!p.seen || !at) continue;
      const Vec2 inside(std::clamp(at->x(), 2 * size, drawn.cols - 2 * size),
                        std::clamp(at->y(), size, drawn.rows - size));
      const std::string words = fmt::format("{:.1f}", 1e3 * p.either);
      pen.disc(inside, 1.1 * size, {kInk, 0.55});
      pen.text_about(inside, words, size, {kWhite, 1}, true);
    }
  pen.text({size, drawn.rows + 1.4 * size},
           fmt::format("How well a ball's place will be known, in mm (1 sigma): {:.1f} over most of the bed, {:.1f} at "
                       "worst. The darker, the less well.",
                       1e3 * map.median, 1e3 * map.worst),
           size, {kInk, 1});
  pen.text({size, drawn.rows + 2.9 * size},
           "Check: the drawn noses must lie on the cushions, the line and the D on the drawn ones.", size, {kInk, 1});
  return pen.picture();
}

}  // namespace baizetrace::report
