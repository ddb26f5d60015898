// Which parts of the bed a lamp, its frame or a shelf hides, in the words of the table.
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "base/median.hpp"
#include "camera/inspect.hpp"
#include "camera/sampling.hpp"

namespace baizetrace::camera {

namespace {
constexpr double kCell = 0.04;                // m
constexpr double kOffNose = 0.05;             // m: the shadow under a cushion is no cloth's colour
constexpr double kLeastPart = 0.05;           // m^2: a pack of fifteen reds covers 0.04
constexpr double kChroma = 9;                 // levels, and
constexpr double kSpreads = 6;                // times the cells' own spread: another colour than the cloth's
constexpr double kDark = 0.5, kBright = 1.7;  // of the cloth's brightness
constexpr double kAcross = 0.7;               // share of the width that is called right across
constexpr double kAt = 0.06;                  // m: as near as this is at it
constexpr double kFoot = 0.3048;              // m

std::string length_in_words(double d) {
  for (int feet = 1; feet <= 3; ++feet)
    if (std::abs(d - feet * kFoot) < 0.04) return feet == 1 ? "a foot" : fmt::format("{} feet", feet);
  return fmt::format("{:.0f} cm", std::round(20 * d) * 5);
}

std::string part_in_words(const HiddenPart& p, const table::Table& table) {
  const double w = table.half_width();
  const std::string range =
      fmt::format("from {} to {}", along_in_words(p.low.y(), table), along_in_words(p.high.y(), table));
  if (p.high.x() - p.low.x() > kAcross * 2 * (w - kOffNose)) return "a strip right across, " + range;
  const double x = 0.5 * (p.low.x() + p.high.x());
  const std::string side = std::abs(x) < 0.25 * w ? std::string("in the middle")
                                                  : fmt::format("on the side of the {}",
                                                                table::trade_name_of_cushion(x < 0 ? "left" : "right"));
  const bool along = p.high.y() - p.low.y() > 3 * (p.high.x() - p.low.x());
  return fmt::format("{} {}, {}", along ? "a strip along the table" : "a patch", side, range);
}
}  // namespace

std::string along_in_words(double y, const table::Table& table) {
  struct Landmark {
    double y;
    std::string name;
  };
  std::vector<Landmark> marks{{-table.half_length(), "the baulk cushion"}, {table.half_length(), "the top cushion"}};
  for (const char* spot : {"blue", "pink", "black"})
    if (const auto it = table.spots().find(spot); it != table.spots().end())
      marks.push_back({it->second.y(), fmt::format("the {}", spot)});
  if (table.spec().baulk_line) marks.push_back({table.baulk_line_y(), "the baulk line"});
  if (marks.size() == 2) marks.push_back({0, "the middle"});
  const Landmark& near = *std::min_element(marks.begin(), marks.end(), [&](const Landmark& a, const Landmark& b) {
    return std::abs(a.y - y) < std::abs(b.y - y);
  });
  const double d = y - near.y;
  if (std::abs(d) < kAt) return near.name;
  return fmt::format("{} {} {}", length_in_words(std::abs(d)), d < 0 ? "short of" : "beyond", near.name);
}

std::vector<HiddenPart> hidden_parts(const Scene& scene, const Rig& rig, const table::Spec& spec) {
  const table::Table table = table_of(rig, spec);
  const double w = table.half_width() - kOffNose, l = table.half_length() - kOffNose;
  const int cols = static_cast<int>(2 * w / kCell), rows = static_cast<int>(2 * l / kCell);
  cv::Mat seen = cv::Mat::zeros(rows, cols, CV_8U), bad = seen.clone();
  cv::Mat y(rows, cols, CV_64F), cb = y.clone(), cr = y.clone();
  std::vector<double> all[3];
  const auto place = [&](int c, int r) { return Vec2(-w + (c + 0.5) * 2 * w / cols, -l + (r + 0.5) * 2 * l / rows); };
  for (int r = 0; r < rows; ++r)
    for (int c = 0; c < cols; ++c) {
      const Vec2 at = place(c, r);
      const auto pixel = rig.camera.project({at.x(), at.y(), 0});
      double v[3];
      if (!pixel || !sample_plane(scene.luma, 1, *pixel, v[0]) || !sample_plane(scene.cb, 0.5, *pixel, v[1]) ||
          !sample_plane(scene.cr, 0.5, *pixel, v[2]))
        continue;
      seen.at<std::uint8_t>(r, c) = 1;
      y.at<double>(r, c) = v[0], cb.at<double>(r, c) = v[1], cr.at<double>(r, c) = v[2];
      for (std::size_t k = 0; k < 3; ++k) all[k].push_back(v[k]);
    }
  std::vector<HiddenPart> parts;
  if (all[0].size() < 50) return parts;
  const double my = upper_median(std::vector(all[0])), mb = upper_median(std::vector(all[1])),
               mr = upper_median(std::vector(all[2]));  // copies: below the chroma of one place belongs together
  std::vector<double> spread;
  for (std::size_t i = 0; i < all[1].size(); ++i) spread.push_back(std::hypot(all[1][i] - mb, all[2][i] - mr));
  const double limit = std::max(kChroma, kSpreads * 0.85 * upper_median(spread));
  for (int r = 0; r < rows; ++r)
    for (int c = 0; c < cols; ++c) {
      // What is not in the picture is hidden as well.
      const double light = (y.at<double>(r, c) - 16) / std::max(1.0, my - 16);
      const double off = std::hypot(cb.at<double>(r, c) - mb, cr.at<double>(r, c) - mr);
      if (seen.at<std::uint8_t>(r, c) == 0 || off > limit || light < kDark || light > kBright)
        bad.at<std::uint8_t>(r, c) = 255;
    }
  cv::Mat labels, stats, centres;
  const int n = cv::connectedComponentsWithStats(bad, labels, stats, centres, 4);
  for (int k = 1; k < n; ++k) {
    HiddenPart p;
    p.area = stats.at<int>(k, cv::CC_STAT_AREA) * (2 * w / cols) * (2 * l / rows);
    if (p.area < kLeastPart) continue;
    const int c0 = stats.at<int>(k, cv::CC_STAT_LEFT), r0 = stats.at<int>(k, cv::CC_STAT_TOP);
    const int c1 = c0 + stats.at<int>(k, cv::CC_STAT_WIDTH), r1 = r0 + stats.at<int>(k, cv::CC_STAT_HEIGHT);
    p.low = Vec2(-w + c0 * 2 * w / cols, -l + r0 * 2 * l / rows);
    p.high = Vec2(-w + c1 * 2 * w / cols, -l + r1 * 2 * l / rows);
    p.words = part_in_words(p, table);
    parts.push_back(std::move(p));
  }
  std::stable_sort(parts.begin(), parts.end(),
                   [](const HiddenPart& a, const HiddenPart& b) { return a.area > b.area; });
  return parts;
}

}  // namespace baizetrace::camera
