#include "sight/known_ball.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "base/median.hpp"

namespace baizetrace::sight {

namespace {
constexpr float kBlackLuma = 16, kGreyChroma = 128;
constexpr double kAround = 1.3;         // ball radii kept of the picture
constexpr double kChange = 1.3;         // of the mean difference against its usual, and
constexpr double kChangeLevels = 0.25;  // so many levels more: something has changed
// Levels of chroma: a shadow takes as much of the cloth's colour. A ball that was told to have changed by less crept
// into its shadow, fit by fit.
constexpr double kChangeChroma = 0.8;
}  // namespace

void KnownBall::Remembered::keep(const std::vector<cv::Mat>& from, const cv::Rect& at, float share) {
  box = at & cv::Rect(0, 0, from[0].cols, from[0].rows);
  planes.resize(from.size());
  for (std::size_t k = 0; k < from.size(); ++k)
    from[k](box).convertTo(planes[k], CV_32F, static_cast<double>(share), -static_cast<double>(share * zero));
}

double KnownBall::Remembered::differs(const std::vector<cv::Mat>& now, float share, double noise) {
  double sum = 0;
  int n = 0;
  for (std::size_t k = 0; k < planes.size(); ++k)
    for (int y = 0; y < box.height; y += 2) {
      const auto* is = now[k].ptr<std::uint8_t>(box.y + y) + box.x;
      const auto* was = planes[k].ptr<float>(y);
      float row = 0;
      for (int x = 0; x < box.width; ++x) row += std::abs(share * (static_cast<float>(is[x]) - zero) - was[x]);
      sum += static_cast<double>(row);
      n += box.width;
    }
  const double mean = sum / std::max(1, n);
  if (quiet == 0) {
    // The first comparison after a fit: noise alone gives 1.13 standard deviations.
    const double usual = 1.6 * noise + 0.25 + allowed;
    if (mean < usual) quiet = mean;
    return mean / usual;
  }
  const double limit = kChange * quiet + allowed;
  if (mean < limit) quiet += 0.1 * (mean - quiet);
  return mean / limit;
}

void KnownBall::remember(const View& view) {
  const Vec2 half = kAround * ellipse.half_box();
  const Vec2 low = ellipse.centre - half, high = ellipse.centre + half;
  const float share = 1.0F / view.gain.at(ellipse.centre.x(), ellipse.centre.y());
  const auto box = [&](double per) {
    return cv::Rect(cv::Point(static_cast<int>(low.x() / per), static_cast<int>(low.y() / per)),
                    cv::Point(static_cast<int>(high.x() / per) + 1, static_cast<int>(high.y() / per) + 1));
  };
  luma_.keep({view.luma}, box(1), share);
  luma_.allowed = kChangeLevels;
  chroma_.zero = kGreyChroma;
  chroma_.allowed = kChangeChroma;
  chroma_.keep({view.cb, view.cr}, box(2), share);
}

double KnownBall::change(const View& view) {
  constexpr double kAnother = 1e9;
  if (luma_.planes.empty()) return kAnother;
  const float share = 1.0F / view.gain.at(ellipse.centre.x(), ellipse.centre.y());
  return std::max(luma_.differs({view.luma}, share, view.noise_luma),
                  chroma_.differs({view.cb, view.cr}, share, view.noise_chroma));
}

void KnownBall::anchor(const View& view, double misfit) {
  constexpr double kWithRim = 1.15;  // ball radii: the outline carries most of what tells a move
  const Vec2 half = kWithRim * ellipse.half_box() + Vec2::Constant(2);
  const Vec2 low = ellipse.centre - half, high = ellipse.centre + half;
  anchor_box_ = cv::Rect(cv::Point(static_cast<int>(low.x()), static_cast<int>(low.y())),
                         cv::Point(static_cast<int>(high.x()) + 1, static_cast<int>(high.y()) + 1)) &
                cv::Rect(0, 0, view.luma.cols, view.luma.rows);
  view.luma(anchor_box_).convertTo(anchor_, CV_32F);
  anchor_at_ = ellipse;
  anchor_misfit = misfit;
  anchor_fits = 1;
  anchor_looks = 0;
}

std::optional<Vec2> KnownBall::moved_since_anchored(const View& view) const {
  // One step of least squares: now = (a + c x + d y) was + b + grad was . (-shift), deaf to what is covered.
  constexpr int kUnknowns = 6, kPasses = 5, kFewest = 30;
  constexpr double kWithRim = 1.15, kDeaf = 3;  // robust cut, standard deviations
  constexpr double kUnlike = 0.25;              // scatter left, of the picture's own: not the same picture
  constexpr double kUnsure = 0.12;              // px, standard deviation
  constexpr double kFar = 1.5;                  // px: beyond that one step says little
  constexpr double kNoiseCorrelation = 4;       // compression smears noise over neighbours
  constexpr double kSettled = 0.003;            // px: a pass that moves it by less is the last
  if (anchor_.empty()) return std::nullopt;
  using Vector = Eigen::Matrix<double, kUnknowns, 1>;
  using Matrix = Eigen::Matrix<double, kUnknowns, kUnknowns>;
  std::vector<Vector> rows;
  std::vector<double> now;
  double mean = 0, square = 0;
  for (int y = 1; y + 1 < anchor_.rows; ++y) {
    const auto *above = anchor_.ptr<float>(y - 1), *was = anchor_.ptr<float>(y), *below = anchor_.ptr<float>(y + 1);
    const auto* shown = view.luma.ptr<std::uint8_t>(anchor_box_.y + y) + anchor_box_.x;
    for (int x = 1; x + 1 < anchor_.cols; ++x) {
      const Vec2 p(anchor_box_.x + x, anchor_box_.y + y);
      if (anchor_at_.share(p) > kWithRim) continue;
      const Vec2 d = (p - anchor_at_.centre) / anchor_at_.radius;
      const auto w = static_cast<double>(was[x]);
      rows.emplace_back();
      rows.back() << w, 1, w * d.x(), w * d.y(), -0.5 * static_cast<double>(was[x + 1] - was[x - 1]),
          -0.5 * static_cast<double>(below[x] - above[x]);
      now.push_back(shown[x]);
      mean += w;
      square += w * w;
    }
  }
  const auto n = static_cast<double>(rows.size());
  if (rows.size() < kFewest) return std::nullopt;
  const double own = std::sqrt(std::max(0.0, square / n - mean * mean / (n * n)));
  Vector solution = Vector::Zero();
  Matrix N;
  double scatter = 1e9;
  Vec2 before(1e9, 1e9);
  std::vector<double> off(rows.size()), sizes(rows.size());
  for (int pass = 0; pass < kPasses; ++pass) {
    N.setZero();
    Vector r = Vector::Zero();
    for (std::size_t i = 0; i < rows.size(); ++i) {
      const double share = pass == 0 ? 0 : off[i] / (kDeaf * scatter);
      const double weight = share * share >= 1 ? 0 : (1 - share * share) * (1 - share * share);
      N += weight * rows[i] * rows[i].transpose();
      r += weight * now[i] * rows[i];
    }
    N.diagonal().array() += 1e-9 * n;
    solution = N.ldlt().solve(r);
    if (!solution.allFinite()) return std::nullopt;
    for (std::size_t i = 0; i < rows.size(); ++i) {
      off[i] = now[i] - rows[i].dot(solution);
      sizes[i] = std::abs(off[i]);
    }
    scatter = std::max(0.5 * view.noise_luma, 1.4826 * upper_median(sizes));
    const Vec2 moved = solution.tail<2>() / solution[0];
    if ((moved - before).norm() < kSettled) break;
    before = moved;
  }
  if (scatter > std::max(kUnlike * own, 1.5 * view.noise_luma)) return std::nullopt;
  const double gain = solution[0];
  if (gain < 0.3) return std::nullopt;  // another picture, or the ball in deep shade
  const Matrix C = N.inverse() * (scatter * scatter * kNoiseCorrelation);
  const double sd = std::sqrt(std::max(C(4, 4), C(5, 5))) / gain;
  const Vec2 shift = solution.tail<2>() / gain;
  if (!(sd < kUnsure) || shift.norm() > kFar) return std::nullopt;
  return shift;
}

bool KnownBall::same_colour(const Eigen::Vector3d& other) const {
  constexpr double kChroma = 14, kLuma = 40;  // levels: light falls off over the table, smears mix with cloth
  return std::hypot(other[1] - colour[1], other[2] - colour[2]) < kChroma && std::abs(other[0] - colour[0]) < kLuma;
}

std::optional<Vec2> KnownBall::look_about(const View& view, const Vec2& place, double reach) const {
  constexpr double kChroma = 10;                   // levels
  constexpr double kDarker = 0.4, kLighter = 1.3;  // of its luma: it may have rolled into a shadow
  constexpr double kEnough = 0.8;                  // share of a square inside the ball that must look like it
  const int half = std::max(1, static_cast<int>(0.6 * ellipse.radius / 2));  // chroma px
  const int r = static_cast<int>(reach / 2) + half;
  const cv::Rect box =
      cv::Rect(static_cast<int>(place.x() / 2) - r, static_cast<int>(place.y() / 2) - r, 2 * r + 1, 2 * r + 1) &
      cv::Rect(0, 0, view.cb.cols, view.cb.rows);
  if (box.width <= 2 * half || box.height <= 2 * half) return std::nullopt;
  cv::Mat like(box.height, box.width, CV_8U);
  for (int y = 0; y < box.height; ++y) {
    const auto* cb = view.cb.ptr<std::uint8_t>(box.y + y) + box.x;
    const auto* cr = view.cr.ptr<std::uint8_t>(box.y + y) + box.x;
    const auto* luma = view.luma.ptr<std::uint8_t>(2 * (box.y + y)) + 2 * box.x;
    for (int x = 0; x < box.width; ++x) {
      const double share =
          (luma[2 * x] - static_cast<double>(kBlackLuma)) / std::max(1.0, colour[0] - static_cast<double>(kBlackLuma));
      like.at<std::uint8_t>(y, x) =
          std::hypot(cb[x] - colour[1], cr[x] - colour[2]) < kChroma && share > kDarker && share < kLighter ? 1 : 0;
    }
  }
  // How many within the square about each place; the middle of the places that have most.
  const int side = 2 * half + 1;
  cv::Mat count;
  cv::boxFilter(like, count, CV_32S, {side, side}, {-1, -1}, false, cv::BORDER_CONSTANT);
  double most = 0;
  cv::minMaxLoc(count, nullptr, &most);
  if (most < kEnough * side * side) return std::nullopt;
  const cv::Moments m = cv::moments(count == most, true);
  return Vec2(2 * Vec2(m.m10 / m.m00 + box.x, m.m01 / m.m00 + box.y) + Vec2(0.5, 0.5));
}

bool KnownBall::bare(const cv::Mat& change) const {
  const double r = 0.7 * ellipse.radius / 2;
  const Vec2 c = ellipse.centre / 2;
  int all = 0, changed = 0;
  for (int y = static_cast<int>(c.y() - r); y <= static_cast<int>(c.y() + r); ++y)
    for (int x = static_cast<int>(c.x() - r); x <= static_cast<int>(c.x() + r); ++x) {
      if (x < 0 || y < 0 || x >= change.cols || y >= change.rows) continue;
      ++all;
      changed += change.at<std::uint8_t>(y, x) != 0 ? 1 : 0;
    }
  return all > 0 && changed < 0.4 * all;
}

bool shadow_beside(std::span<const KnownBall> known, const Vec2& pixel, double area) {
  constexpr double kMuchSmaller = 0.5, kBeside = 4;  // of a ball's area; radii
  return area < kMuchSmaller && std::any_of(known.begin(), known.end(), [&](const KnownBall& k) {
           return k.seen && (pixel - k.ellipse.centre).norm() < kBeside * k.ellipse.radius;
         });
}

}  // namespace baizetrace::sight
