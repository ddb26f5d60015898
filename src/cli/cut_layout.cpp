#include "cli/cut_layout.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "sight/people.hpp"

namespace baizetrace::cli {

Result<Shape> shape_of(const std::string& words) {
  if (words == "16:9") return Shape::wide;
  if (words == "9:16") return Shape::tall;
  if (words == "1:1") return Shape::square;
  return fail("a shape of \"{}\" is not known, expected 16:9, 9:16 or 1:1", words);
}

Layout layout_of(Shape shape, Shows shows, bool large, const table::Table& table) {
  Layout l;
  const double unit = large ? 1.0 : 2.0 / 3;
  const auto px = [&](double full) { return 2 * static_cast<int>(std::lround(full * unit / 2)); };
  const auto at = [&](double x, double y) { return Vec2(x * unit, y * unit); };
  l.width = px(shape == Shape::wide ? 1920 : 1080);
  l.height = px(shape == Shape::tall ? 1920 : 1080);
  l.letter = 30 * unit;
  const auto plan = [&](double x, double y, double w, double h, bool lying) {
    l.plan = report::FlatView::fit(table, at(x, y), at(w, h), lying);
  };
  const auto words = [&](double x, double y, double w) {
    l.words = at(x, y);
    l.words_width = w * unit;
  };
  const auto picture = [&](double x, double y, double w, double h) {
    l.picture = cv::Rect(px(x), px(y), px(w), px(h));
  };
  switch (shape) {
    case Shape::wide:
      if (shows == Shows::plan) {
        plan(30, 130, 1860, 920, true);
        words(40, 30, 1840);
      } else if (shows == Shows::second) {
        picture(0, 140, 1660, 940);
        plan(1670, 590, 240, 480, false);
        words(40, 30, 1840);
      } else {
        picture(20, 160, 1440, 780);
        plan(1490, 160, 400, 780, false);
        words(40, 40, 1840);
      }
      break;
    case Shape::tall:
      if (shows == Shows::plan) {
        plan(30, 190, 1020, 1700, false);
        words(40, 50, 1000);
      } else if (shows == Shows::second) {
        picture(0, 190, 1080, 1260);
        plan(730, 1470, 330, 430, false);
        words(40, 50, 1000);
      } else {
        picture(20, 190, 780, 1480);
        plan(820, 190, 240, 480, false);
        words(40, 50, 1000);
      }
      break;
    case Shape::square:
      if (shows == Shows::plan) {
        plan(20, 200, 1040, 620, true);
        words(40, 60, 1000);
      } else if (shows == Shows::second) {
        picture(0, 0, 1080, 720);
        plan(570, 750, 500, 310, true);
        words(30, 750, 520);
      } else {
        picture(20, 20, 1040, 600);
        plan(20, 640, 600, 420, true);
        words(650, 690, 400);
      }
      break;
  }
  return l;
}

cv::Matx23d fit_table(const camera::Rig& rig, const table::Table& table, const cv::Rect& into) {
  const cv::Rect box = cv::boundingRect(sight::shown_area(rig, table));
  const Vec2 middle(box.x + 0.5 * (box.width - 1), box.y + 0.5 * (box.height - 1));
  // Where the baulk end is in the picture.
  const auto baulk = rig.camera.project({0, -table.half_length(), 0}),
             top = rig.camera.project({0, table.half_length(), 0});
  const Vec2 to_baulk = baulk && top ? Vec2(*baulk - *top).normalized() : Vec2(-1, 0);
  double best = -1;
  cv::Matx23d map;
  for (int quarter = 0; quarter < 4; ++quarter) {
    const double c = std::round(std::cos(quarter * kPi / 2)), s = std::round(std::sin(quarter * kPi / 2));
    const bool lies = quarter % 2 == 0;
    const double w = lies ? box.width : box.height, h = lies ? box.height : box.width;
    const double scale = std::min(into.width / w, into.height / h);
    const Vec2 b(c * to_baulk.x() - s * to_baulk.y(), s * to_baulk.x() + c * to_baulk.y());
    // Largest first; then the baulk end at the left or at the bottom.
    const double good = scale + 1e-3 * scale * (std::abs(b.x()) > std::abs(b.y()) ? -b.x() : b.y());
    if (good <= best) continue;
    best = good;
    const double x = into.x + 0.5 * into.width, y = into.y + 0.5 * into.height;
    map = cv::Matx23d(scale * c, -scale * s, x - scale * (c * middle.x() - s * middle.y()), scale * s, scale * c,
                      y - scale * (s * middle.x() + c * middle.y()));
  }
  return map;
}

cv::Matx23d fit_picture(int width, int height, const cv::Rect& into) {
  const double scale = std::min(static_cast<double>(into.width) / width, static_cast<double>(into.height) / height);
  return {scale, 0,     into.x + 0.5 * (into.width - scale * (width - 1)),
          0,     scale, into.y + 0.5 * (into.height - scale * (height - 1))};
}

}  // namespace baizetrace::cli
