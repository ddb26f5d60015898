#include "sight/region.hpp"

#include <opencv2/imgproc.hpp>

#include "sight/ellipse.hpp"

namespace baizetrace::sight {

namespace {

constexpr int kEdgePoints = 40;        // a side: the lens bends straight sides
constexpr double kCoverMargin = 0.10;  // m around the bed: a hand's width
constexpr double kTouchSlack = 0.006;  // m, a rig's error and a cushion's give

// Closed outline of a rectangle at height z, coarse pixels.
std::vector<cv::Point> outline(const camera::Camera& camera, double half_width, double half_length, double z) {
  std::vector<cv::Point> points;
  const Vec2 corners[5] = {{-half_width, -half_length},
                           {half_width, -half_length},
                           {half_width, half_length},
                           {-half_width, half_length},
                           {-half_width, -half_length}};
  for (int side = 0; side < 4; ++side)
    for (int i = 0; i < kEdgePoints; ++i) {
      const Vec2 p = corners[side] + (corners[side + 1] - corners[side]) * i / kEdgePoints;
      if (const auto px = camera.project({p.x(), p.y(), z}))
        points.emplace_back(static_cast<int>(std::lround(px->x() / 2)), static_cast<int>(std::lround(px->y() / 2)));
    }
  return points;
}

cv::Mat filled(int cols, int rows, const std::vector<cv::Point>& polygon) {
  cv::Mat m = cv::Mat::zeros(rows, cols, CV_8U);
  if (polygon.size() > 2) cv::fillPoly(m, std::vector<std::vector<cv::Point>>{polygon}, 255);
  return m;
}

}  // namespace

Region Region::make(const camera::Rig& rig, const table::Table& table, double ball_radius) {
  const camera::Camera& camera = rig.camera;
  Region r;
  r.cols = camera.width / 2;
  r.rows = camera.height / 2;
  r.half_width_ = table.half_width();
  r.half_length_ = table.half_length();
  r.table_ = table;
  r.ball_ = ball_radius;
  const double w = r.half_width_, l = r.half_length_;

  // Bed: seen past the noses, which stand above it. Rim: as far as a touching ball's picture reaches.
  const double nose = table.nose_height();
  cv::Mat bed = filled(r.cols, r.rows, outline(camera, w, l, 0)) & filled(r.cols, r.rows, outline(camera, w, l, nose));
  const double out = ball_radius + kTouchSlack;
  cv::Mat all = filled(r.cols, r.rows, outline(camera, w + out, l + out, 0)) |
                filled(r.cols, r.rows, outline(camera, w + out, l + out, 2 * ball_radius));
  r.pocket = cv::Mat::zeros(r.rows, r.cols, CV_8U);
  for (const table::Pocket& p : table.pockets()) {
    std::vector<cv::Point> circle;
    for (int i = 0; i < 32; ++i) {
      const double a = 2 * kPi * i / 32;
      const Vec2 q = p.fall_centre + (p.fall_radius + ball_radius) * Vec2(std::cos(a), std::sin(a));
      if (const auto px = camera.project({q.x(), q.y(), 0}))
        circle.emplace_back(static_cast<int>(std::lround(px->x() / 2)), static_cast<int>(std::lround(px->y() / 2)));
    }
    r.pocket |= filled(r.cols, r.rows, circle);
  }
  all |= r.pocket;
  // A line's width along the noses belongs to neither: nose edges are where the least error of the rig shows.
  cv::erode(bed, bed, cv::getStructuringElement(cv::MORPH_RECT, {3, 3}));
  r.kind = cv::Mat::zeros(r.rows, r.cols, CV_8U);
  r.kind.setTo(rim, all);
  r.kind.setTo(Kind::bed, bed);
  r.box = cv::boundingRect(all);

  r.smallest_ball = 1e9;
  for (const double y : {-0.95, 0.0, 0.95})
    for (const double x : {-0.95, 0.0, 0.95}) {
      const auto e = ball_ellipse(camera, {x * w, y * l}, ball_radius);
      if (!e) continue;
      r.smallest_ball = std::min(r.smallest_ball, e->radius);
      if (x == 0 && y == 0) r.ball_radius = e->radius;
    }

  r.cover_half_width = w + kCoverMargin;
  r.cover_half_length = l + kCoverMargin;
  r.cell = cv::Mat(r.rows / kCellStep + 1, r.cols / kCellStep + 1, CV_16S, cv::Scalar(-1));
  for (int y = 0; y < r.cell.rows; ++y)
    for (int x = 0; x < r.cell.cols; ++x) {
      const Vec2 px(2.0 * kCellStep * x + kCellStep, 2.0 * kCellStep * y + kCellStep);
      const auto at = camera.on_plane(px, 0);
      if (!at || std::abs(at->x()) >= r.cover_half_width || std::abs(at->y()) >= r.cover_half_length) continue;
      const int c = static_cast<int>((at->x() + r.cover_half_width) / (2 * r.cover_half_width) * CoverMap::kColumns);
      const int k = static_cast<int>((at->y() + r.cover_half_length) / (2 * r.cover_half_length) * CoverMap::kRows);
      r.cell.at<short>(y, x) = static_cast<short>(k * CoverMap::kColumns + c);
    }
  for (int k = 0; k < CoverMap::kRows; ++k)
    for (int c = 0; c < CoverMap::kColumns; ++c) {
      const Vec2 at(((c + 0.5) / CoverMap::kColumns * 2 - 1) * r.cover_half_width,
                    ((k + 0.5) / CoverMap::kRows * 2 - 1) * r.cover_half_length);
      if (std::abs(at.x()) >= w || std::abs(at.y()) >= l) continue;
      const auto px = camera.project({at.x(), at.y(), 0});
      const bool shown = px && px->x() >= 0 && px->y() >= 0 && px->x() < 2 * r.cols && px->y() < 2 * r.rows;
      if (!shown) r.beyond.set(static_cast<std::size_t>(k * CoverMap::kColumns + c));
    }
  return r;
}

double Region::beyond_falls(const Vec2& at) const {
  double most = -1e9;
  for (const table::Pocket& p : table_->pockets()) most = std::max(most, -p.to_fall(at));
  return most;
}

bool Region::ball_can_be(const Vec2& at) const {
  return table_->can_lie(at, ball_, kTouchSlack) || beyond_falls(at) > 0;
}

std::optional<Vec2> Region::along_near_nose(const Vec2& at, double reach) const {
  const double to_side = half_width_ - std::abs(at.x()), to_end = half_length_ - std::abs(at.y());
  if (std::min(to_side, to_end) > reach) return std::nullopt;
  return to_side < to_end ? Vec2(0, 1) : Vec2(1, 0);
}

}  // namespace baizetrace::sight
