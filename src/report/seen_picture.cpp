#include "report/seen_picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <opencv2/imgproc.hpp>

#include "report/pen.hpp"

namespace baizetrace::report {
namespace {

constexpr int kWidth = 1680;    // px, of the whole picture
constexpr double kLetter = 17;  // px
constexpr int kTileColumns = 3;
constexpr std::size_t kMostTiles = 18;
constexpr double kTileView = 3.2;  // ball radii from a tile's middle to its edge
constexpr Ink kKept{{120, 235, 150}}, kThrown{{255, 170, 60}}, kPath{{255, 255, 255}}, kWords{{230, 234, 230}},
    kFaint{{165, 172, 168}}, kGround{{24, 28, 30}};

// What to show first: what a wondering eye looks for.
int importance(const sight::Note& n) {
  if (!n.kept && n.why.rfind("a ball was expected", 0) == 0) return 0;
  if (n.kept && n.moving) return 1;
  if (!n.kept && n.fitted) return 2;
  if (n.kept) return 3;
  return 4;
}

std::string kind_of(const sight::Note& n, const std::vector<std::string>& kinds) {
  if (n.colour.empty() || n.colour.size() > kinds.size()) return "ball";
  const auto best = std::max_element(n.colour.begin(), n.colour.end());
  return kinds[static_cast<std::size_t>(best - n.colour.begin())];
}

// The outline of a ball's image, or of its sweep in the exposure.
std::vector<Vec2> ring(const sight::Note& n, const Vec2& origin, double scale, double larger) {
  constexpr int kCorners = 48;
  const Mat2 out_of_unit = n.outline.shape.inverse();
  std::vector<Vec2> out;
  for (int i = 0; i <= kCorners; ++i) {
    const double a = 2 * kPi * i / kCorners;
    Vec2 d = larger * out_of_unit * Vec2(std::cos(a), std::sin(a));
    d += 0.5 * n.smear * (d.dot(n.smear) >= 0 ? 1 : -1);
    out.emplace_back(origin + scale * (n.outline.centre + d));
  }
  return out;
}

class Sheet {
 public:
  explicit Sheet(const SeenFrame& f) : f_(f) {
    for (std::size_t i = 0; i < f.notes.size(); ++i) order_.push_back(i);
    std::stable_sort(order_.begin(), order_.end(),
                     [&](std::size_t a, std::size_t b) { return importance(f.notes[a]) < importance(f.notes[b]); });
    shown_ = std::min(order_.size(), kMostTiles);
    scale_ = static_cast<double>(kWidth) / f.bgr.cols;
    picture_ = cv::Size(kWidth, static_cast<int>(std::lround(f.bgr.rows * scale_)));
  }

  cv::Mat drawn() {
    const int rows = static_cast<int>((shown_ + kTileColumns - 1) / kTileColumns);
    const auto left_out = counted();
    const int tail = static_cast<int>(left_out.size()) + (left_out.empty() ? 0 : 1);
    const double head = 5.2 * kLetter;
    const int height = static_cast<int>(head + picture_.height + rows * kTile + (tail + 1.5) * 1.5 * kLetter);
    cv::Mat canvas(height, kWidth, CV_8UC3, cv::Scalar(kGround.colour.b, kGround.colour.g, kGround.colour.r));
    cv::Mat small;
    cv::resize(f_.bgr, small, picture_, 0, 0, scale_ < 1 ? cv::INTER_AREA : cv::INTER_LINEAR);
    small.copyTo(canvas(cv::Rect(0, static_cast<int>(head), picture_.width, picture_.height)));
    for (std::size_t k = 0; k < shown_; ++k) tile_picture(canvas, k, head);
    Pen pen(canvas);
    heading(pen);
    for (std::size_t k = 0; k < order_.size(); ++k) mark(pen, k, head);
    for (const OnPath& p : f_.paths) cross(pen, Vec2(0, head) + scale_ * p.pixel, 0.5 * kLetter);
    for (std::size_t k = 0; k < shown_; ++k) tile_words(pen, k, head);
    double y = head + picture_.height + rows * kTile + 1.5 * kLetter;
    if (!left_out.empty()) {
      pen.text({kLetter, y}, "Not enlarged (dots in the picture):", kLetter, kWords, true);
      for (const std::string& line : left_out) pen.text({kLetter, y += 1.5 * kLetter}, line, kLetter, kFaint);
    }
    return pen.picture();
  }

 private:
  static constexpr int kTile = 190;  // px, height

  void heading(Pen& pen) const {
    const auto kept = std::count_if(f_.notes.begin(), f_.notes.end(), [](const auto& n) { return n.kept; });
    pen.text({kLetter, 1.7 * kLetter},
             fmt::format("Frame {}, {:.3f} s{}{}", f_.frame, f_.time, f_.moment.empty() ? "" : "   ", f_.moment),
             1.3 * kLetter, kWords, true);
    const std::string counted = !f_.blind.empty()
                                    ? "nothing was looked for: " + f_.blind
                                    : fmt::format(
                                          "{} balls kept (unbroken ring), {} other places thrown away (broken ring); "
                                          "cross: where the measured path has a ball",
                                          kept, f_.notes.size() - static_cast<std::size_t>(kept));
    pen.text({kLetter, 3.6 * kLetter}, counted, kLetter, kFaint);
  }

  void mark(Pen& pen, std::size_t k, double head) const {
    const sight::Note& n = f_.notes[order_[k]];
    const Vec2 centre = Vec2(0, head) + scale_ * n.outline.centre;
    const Ink ink = n.kept ? kKept : kThrown;
    if (k >= shown_) return pen.disc(centre, 2.5, ink);
    pen.line(ring(n, {0, head}, scale_, 1.25), ink, 1.6, n.kept ? std::vector<double>{} : std::vector<double>{5, 4});
    const double r = scale_ * n.outline.radius * 1.25;
    pen.text(centre + Vec2(r + 2, -r), std::to_string(k + 1), 0.9 * kLetter, ink, true);
  }

  static void cross(Pen& pen, const Vec2& c, double arm) {
    pen.line({c - Vec2(arm, 0), c + Vec2(arm, 0)}, kPath, 1.4);
    pen.line({c - Vec2(0, arm), c + Vec2(0, arm)}, kPath, 1.4);
  }

  [[nodiscard]] Vec2 corner(std::size_t k, double head) const {
    const auto column = static_cast<double>(k % kTileColumns), row = static_cast<double>(k / kTileColumns);
    return {column * kWidth / kTileColumns + kLetter, head + picture_.height + row * kTile + 0.6 * kLetter};
  }

  // The crop of a place: its corner and the pixels on the sheet for one of the picture.
  [[nodiscard]] std::pair<Vec2, double> crop(const sight::Note& n) const {
    const double reach = kTileView * n.outline.radius + 0.5 * n.smear.norm();
    return {n.outline.centre - Vec2::Constant(reach), (kTile - kLetter) / (2 * reach)};
  }

  void tile_picture(cv::Mat& canvas, std::size_t k, double head) const {
    const auto [from, zoom] = crop(f_.notes[order_[k]]);
    const Vec2 at = corner(k, head);
    const int side = static_cast<int>(kTile - kLetter);
    const cv::Matx23d onto(zoom, 0, -zoom * from.x(), 0, zoom, -zoom * from.y());
    cv::Mat tile;
    cv::warpAffine(f_.bgr, tile, onto, {side, side}, cv::INTER_NEAREST, cv::BORDER_CONSTANT);
    tile.copyTo(canvas(cv::Rect(static_cast<int>(at.x()), static_cast<int>(at.y()), side, side)));
  }

  void tile_words(Pen& pen, std::size_t k, double head) const {
    const sight::Note& n = f_.notes[order_[k]];
    const auto [from, zoom] = crop(n);
    const Vec2 at(std::floor(corner(k, head).x()), std::floor(corner(k, head).y()));
    const Ink ink = n.kept ? kKept : kThrown;
    pen.line(ring(n, at - zoom * from, zoom, 1.0), ink, 1.5,
             n.kept ? std::vector<double>{} : std::vector<double>{5, 4});
    std::vector<std::string> lines;
    const OnPath* path = nullptr;
    for (const OnPath& p : f_.paths) {
      const Vec2 off = p.pixel - n.outline.centre;
      if (off.norm() > 2 * n.outline.radius || (path && (path->pixel - n.outline.centre).norm() < off.norm())) continue;
      path = &p;
    }
    if (n.fitted)
      lines.push_back(
          fmt::format("at {:.3f}, {:.3f} m, u {:.1f} mm; {:.0f} % of the outline seen, stands out {:.0f} "
                      "times the noise",
                      n.at.x(), n.at.y(), 1000 * n.u, 100 * n.visible, n.contrast));
    if (n.kept && n.moving)
      lines.push_back(n.smear.norm() < 1 ? "moving" : fmt::format("moving, smeared over {:.0f} px", n.smear.norm()));
    if (path) {
      cross(pen, at + zoom * (path->pixel - from), 0.6 * kLetter);
      lines.push_back(n.fitted ? fmt::format("path of the {}: {:.1f} mm from it{}", path->ball,
                                             1000 * (path->at - n.at).norm(), path->seen ? "" : ", does not go by it")
                               : fmt::format("path of the {} is here", path->ball));
    }
    const double x = at.x() + kTile - 0.3 * kLetter,
                 width = static_cast<double>(kWidth) / kTileColumns - kTile - kLetter;
    double y = at.y() + kLetter;
    for (const std::string& l : pen.wrap(fmt::format("{}  {}", k + 1, n.kept ? kind_of(n, f_.kinds) : "thrown away"),
                                         width, 1.1 * kLetter, true))
      pen.text({x, y}, l, 1.1 * kLetter, ink, true), y += 1.4 * kLetter;
    lines.insert(lines.begin(), n.why);
    for (const std::string& words : lines)
      for (const std::string& l : pen.wrap(words, width, 0.9 * kLetter))
        pen.text({x, y}, l, 0.9 * kLetter, kWords), y += 1.2 * kLetter;
  }

  // Those that are not enlarged, by their reasons.
  [[nodiscard]] std::vector<std::string> counted() const {
    std::map<std::string, int> reasons;
    for (std::size_t k = shown_; k < order_.size(); ++k) {
      const sight::Note& n = f_.notes[order_[k]];
      ++reasons[(n.kept ? "kept, " : "thrown away, ") + n.why];
    }
    std::vector<std::string> out;
    for (const auto& [why, count] : reasons) out.push_back(fmt::format("{} {}", count, why));
    return out;
  }

  const SeenFrame& f_;
  std::vector<std::size_t> order_;
  std::size_t shown_ = 0;
  double scale_ = 1;
  cv::Size picture_;
};

}  // namespace

cv::Mat seen_picture(const SeenFrame& frame) { return Sheet(frame).drawn(); }

}  // namespace baizetrace::report
