#include "sight/cloth_field.hpp"
#include "base/median.hpp"
#include "base/threads.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <opencv2/imgproc.hpp>
#include <optional>

namespace baizetrace::sight {

namespace {

constexpr int kTerms = 15;  // of a polynomial of degree 4 in two variables: lamps and vignetting
constexpr double kThingSigma = 5, kSlightSigma = 3;
constexpr double kMostly = 0.55;  // of a ball's disc

std::array<double, kTerms> terms(double x, double y) {
  std::array<double, kTerms> t{};
  std::size_t n = 0;
  double px = 1;
  for (int i = 0; i <= 4; ++i, px *= x) {
    double py = px;
    for (int j = 0; i + j <= 4; ++j, py *= y) t[n++] = py;
  }
  return t;
}

struct Field {
  Eigen::Matrix<double, kTerms, 3> c;
  double scale[3];  // robust scatter of cells about it
};

// The field along a row of the picture: at(k, x) is plane k's value at x.
struct FieldRow {
  double c[3][5];  // of the powers of x

  FieldRow(const Field& f, double y) {
    double ys[5] = {1, y, y * y, y * y * y, y * y * y * y};
    for (int k = 0; k < 3; ++k)
      for (int i = 0, n = 0; i <= 4; ++i) {
        c[k][i] = 0;
        for (int j = 0; i + j <= 4; ++j, ++n) c[k][i] += f.c(n, k) * ys[j];
      }
  }
  [[nodiscard]] double at(int k, double x) const {
    const double* a = c[k];
    return a[0] + x * (a[1] + x * (a[2] + x * (a[3] + x * a[4])));
  }
};

struct Cell {
  double x, y;
  double v[3];
};

// Iteratively reweighted least squares with a weight that ignores what is far off: people and balls.
Field fit_field(const std::vector<Cell>& cells) {
  Field f;
  f.c.setZero();
  for (int k = 0; k < 3; ++k) {
    std::vector<double> v;
    for (const Cell& c : cells) v.push_back(c.v[k]);
    f.c(0, k) = upper_median(v);
    for (double& a : v) a = std::abs(a - f.c(0, k));
    f.scale[k] = 1.4826 * upper_median(v) + 0.5;
  }
  for (int pass = 0; pass < 8; ++pass) {
    Eigen::Matrix<double, kTerms, kTerms> N = Eigen::Matrix<double, kTerms, kTerms>::Identity() * 1e-6;
    Eigen::Matrix<double, kTerms, 3> r = Eigen::Matrix<double, kTerms, 3>::Zero();
    std::array<std::vector<double>, 3> off;
    for (const Cell& c : cells) {
      const auto t = terms(c.x, c.y);
      const Eigen::Map<const Eigen::Matrix<double, kTerms, 1>> T(t.data());
      double q = 0;
      for (int k = 0; k < 3; ++k) {
        const double d = c.v[k] - T.dot(f.c.col(k));
        off[static_cast<std::size_t>(k)].push_back(std::abs(d));
        q += d * d / (f.scale[k] * f.scale[k]);
      }
      const double w = q < 16 ? (1 - q / 16) * (1 - q / 16) : 0;
      if (w == 0) continue;
      N += w * T * T.transpose();
      for (int k = 0; k < 3; ++k) r.col(k) += w * c.v[k] * T;
    }
    f.c = N.ldlt().solve(r);
    for (int k = 0; k < 3; ++k) {
      auto& o = off[static_cast<std::size_t>(k)];
      f.scale[k] = std::max(0.4, 1.4826 * upper_median(o));
    }
  }
  return f;
}

// Fills what is `wanted` and not `good` from what is good, by averaging over growing boxes; what is too far from any
// good is `else_` (if given).
void spread(cv::Mat& plane, const cv::Mat& good, const cv::Mat& wanted, int first_box,
            std::optional<double> else_ = std::nullopt) {
  cv::Mat weight, sum, value, filled = plane.clone();
  good.convertTo(weight, CV_32F, 1.0 / 255);
  cv::Mat missing = (good == 0) & wanted;
  cv::Mat masked;
  plane.copyTo(masked, good);
  for (int box = first_box; box < 16 * first_box && cv::countNonZero(missing) > 0; box *= 2) {
    cv::Mat w;
    cv::boxFilter(weight, w, CV_32F, {2 * box + 1, 2 * box + 1}, {-1, -1}, true, cv::BORDER_CONSTANT);
    cv::boxFilter(masked, sum, CV_32F, {2 * box + 1, 2 * box + 1}, {-1, -1}, true, cv::BORDER_CONSTANT);
    const cv::Mat enough = (w > 0.08F) & missing;
    cv::divide(sum, w, value);
    value.copyTo(filled, enough);
    missing.setTo(0, enough);
  }
  if (else_) filled.setTo(*else_, missing);
  plane = filled;
}

// Sides of a square half of whose side is `half`, pixels.
cv::Size side(int half) { return {2 * half + 1, 2 * half + 1}; }

// Half the sides of squares about a spot: within a ball, around one, and beyond its shadow. Pixels.
struct Squares {
  int inner, hole, outer;
};

// One plane, and what stands out in it.
struct PlaneSpots {
  cv::Mat plane;     // CV_32F
  double limit = 0;  // levels
  cv::Mat spot;      // CV_32F, the mean over a ball's middle less that around it, in limits, not less than 0
};
// A pixel that differs by more limits than these counts as so much: a line may differ by far more than a ball.
constexpr double kEnough = 2;

// Whether a square about (x, y) stands out from what lies around to all four of its sides, as a ball does and a line
// does not, nor the cloth beside a line.
bool fills(const PlaneSpots& a, int x, int y, const Squares& of) {
  constexpr double kFilled = 0.4;  // of the whole square's mean
  const cv::Rect all({x - of.inner, y - of.inner}, side(of.inner)),
      around({x - of.outer, y - of.outer}, side(of.outer));
  if ((around & cv::Rect({0, 0}, a.plane.size())) != around) return false;
  std::vector<float> ring;
  for (int j = -of.outer; j <= of.outer; ++j)
    for (int i = -of.outer; i <= of.outer; ++i)
      if (std::max(std::abs(i), std::abs(j)) > of.hole) ring.push_back(a.plane.at<float>(y + j, x + i));
  cv::Mat off = (a.plane(all) - static_cast<double>(upper_median(ring))) / a.limit;
  off = cv::min(cv::max(off, -kEnough), kEnough);
  const double whole = cv::mean(off)[0];
  if (std::abs(whole) < 1) return false;
  const int strip = std::max(1, of.inner / 2), far = 2 * of.inner + 1 - strip;
  for (const cv::Rect& part : {cv::Rect(0, 0, strip, all.height), cv::Rect(far, 0, strip, all.height),
                               cv::Rect(0, 0, all.width, strip), cv::Rect(0, far, all.width, strip)})
    if (cv::mean(off(part))[0] * (whole < 0 ? -1 : 1) < kFilled * std::abs(whole)) return false;
  return true;
}

// Ball-sized spots whose mean differs from that of the ring around them: finds balls whose colour is nearly the
// cloth's. A line across such a spot may differ by far more. It is told by what it leaves empty, else stretches of the
// baulk line are no part of the cloth and stand over it ever after (in dim light they hid a green ball on its spot).
cv::Mat ball_sized(const Region& region, const cv::Mat& coarse, const cv::Mat& cb, const cv::Mat& cr) {
  constexpr double kStandsOut = 9;      // robust deviations of such differences over the bed
  constexpr double kLeastLevels = 1.6;  // and so many levels
  constexpr double kLuma = 4;           // luma alone is no witness here: marks and shadows stand out in it as well
  const double r = region.ball_radius / 2;
  const Squares of{std::max(1, static_cast<int>(std::lround(0.65 * r))), static_cast<int>(std::lround(1.25 * r)),
                   static_cast<int>(std::lround(2.0 * r))};
  const auto around = [&](const cv::Mat& p) {
    cv::Mat b, c;
    cv::boxFilter(p, b, CV_32F, side(of.hole), {-1, -1}, false);
    cv::boxFilter(p, c, CV_32F, side(of.outer), {-1, -1}, false);
    return cv::Mat((c - b) / (side(of.outer).area() - side(of.hole).area()));
  };
  const auto spot_apart = [&](const cv::Mat& p) {
    cv::Mat a;
    cv::boxFilter(p, a, CV_32F, side(of.inner));
    return cv::Mat(cv::abs(a - around(p)));
  };
  const std::array<const cv::Mat*, 3> planes{&coarse, &cb, &cr};
  std::array<std::optional<PlaneSpots>, 3> apart;
  share_out(3, kThreads, [&](int k) {
    const cv::Mat* const p = planes[static_cast<std::size_t>(k)];
    const cv::Mat d = spot_apart(*p);
    std::vector<float> sample;
    for (int y = region.box.y; y < region.box.y + region.box.height; y += 3)
      for (int x = region.box.x; x < region.box.x + region.box.width; x += 3)
        if (region.kind.at<std::uint8_t>(y, x) == Region::bed) sample.push_back(d.at<float>(y, x));
    if (sample.empty()) return;
    const double limit = (p == &coarse ? kLuma : 1) *
                         std::max(kLeastLevels, kStandsOut * 1.4826 * static_cast<double>(upper_median(sample)));
    cv::Mat off = (*p - around(*p)) / limit;
    off = cv::min(cv::max(off, -kEnough), kEnough);
    apart[static_cast<std::size_t>(k)] = PlaneSpots{*p, limit, spot_apart(off)};
  });
  cv::Mat score = cv::Mat::zeros(coarse.size(), CV_32F);
  for (const auto& a : apart)
    if (a) score = cv::max(score, a->spot);
  cv::Mat top, found = cv::Mat::zeros(coarse.size(), CV_8U);
  cv::dilate(score, top, cv::getStructuringElement(cv::MORPH_RECT, side(of.hole)));
  for (int y = region.box.y; y < region.box.y + region.box.height; ++y)
    for (int x = region.box.x; x < region.box.x + region.box.width; ++x)
      if (region.kind.at<std::uint8_t>(y, x) == Region::bed && score.at<float>(y, x) > 1 &&
          score.at<float>(y, x) >= top.at<float>(y, x) && std::any_of(apart.begin(), apart.end(), [&](const auto& a) {
            return a && a->spot.template at<float>(y, x) > 1 && fills(*a, x, y, of);
          }))
        cv::circle(found, {x, y}, static_cast<int>(std::ceil(r)), 255, cv::FILLED);
  return found;
}

}  // namespace

Result<Filled> fill_in_things(const Region& region, cv::Mat& coarse, cv::Mat& luma, cv::Mat& cb, cv::Mat& cr,
                              double noise_luma, double noise_chroma, std::span<const Ellipse> doubted) {
  const int cell = std::max(3, static_cast<int>(region.ball_radius / 2));  // coarse pixels: a ball's radius
  const double cx = 0.5 * region.cols, cy = 0.5 * region.rows, per = 2.0 / region.cols;
  std::vector<Cell> cells;
  for (int y = region.box.y; y + cell <= region.box.y + region.box.height; y += cell)
    for (int x = region.box.x; x + cell <= region.box.x + region.box.width; x += cell) {
      Cell c{(x + 0.5 * cell - cx) * per, (y + 0.5 * cell - cy) * per, {0, 0, 0}};
      bool bed = true;
      for (int j = 0; j < cell && bed; ++j)
        for (int i = 0; i < cell && bed; ++i) {
          bed = region.kind.at<std::uint8_t>(y + j, x + i) == Region::bed;
          c.v[0] += static_cast<double>(coarse.at<float>(y + j, x + i));
          c.v[1] += static_cast<double>(cb.at<float>(y + j, x + i));
          c.v[2] += static_cast<double>(cr.at<float>(y + j, x + i));
        }
      if (!bed) continue;
      for (double& v : c.v) v /= cell * cell;
      cells.push_back(c);
    }
  if (cells.size() < 100) return fail("the bed is too small in the picture to tell the cloth");
  const Field field = fit_field(cells);

  // What is unlike it, pixel by pixel.
  const double tl = std::max({3.0, noise_luma, 2 * field.scale[0]});
  const double tc = std::max({1.5, noise_chroma, 2 * field.scale[1], 2 * field.scale[2]});
  cv::Mat unlike = cv::Mat::zeros(region.rows, region.cols, CV_8U);
  cv::Mat slightly = cv::Mat::zeros(region.rows, region.cols, CV_8U);
  cv::Mat smooth[3];
  for (cv::Mat& m : smooth) m = cv::Mat::zeros(region.rows, region.cols, CV_32F);
  std::array<std::vector<float>, 3> middle;
  std::size_t bed_pixels = 0, cloth_pixels = 0;
  for (int y = region.box.y; y < region.box.y + region.box.height; ++y) {
    const FieldRow row(field, (y + 0.5 - cy) * per);
    for (int x = region.box.x; x < region.box.x + region.box.width; ++x) {
      if (region.kind.at<std::uint8_t>(y, x) != Region::bed) continue;
      ++bed_pixels;
      double v[3];
      for (int k = 0; k < 3; ++k) {
        v[k] = row.at(k, (x + 0.5 - cx) * per);
        smooth[k].at<float>(y, x) = static_cast<float>(v[k]);
      }
      const double dl = (static_cast<double>(coarse.at<float>(y, x)) - v[0]) / tl;
      const double db = (static_cast<double>(cb.at<float>(y, x)) - v[1]) / tc;
      const double dr = (static_cast<double>(cr.at<float>(y, x)) - v[2]) / tc;
      const double q = dl * dl + db * db + dr * dr;
      if (q > kSlightSigma * kSlightSigma) slightly.at<std::uint8_t>(y, x) = 255;
      if (q > kThingSigma * kThingSigma) {
        unlike.at<std::uint8_t>(y, x) = 255;
      } else {
        ++cloth_pixels;
        if (((x ^ y) & 15) == 0)
          for (int k = 0; k < 3; ++k) middle[static_cast<std::size_t>(k)].push_back(static_cast<float>(v[k]));
      }
    }
  }
  if (cloth_pixels * 3 < bed_pixels) return fail("less than a third of the bed is seen as one cloth");

  // Lines, spots and chalk marks are thin: opening leaves what is at least half a ball wide.
  const int half = std::max(1, static_cast<int>(std::lround(region.smallest_ball / 2 * 0.4)));
  const auto disc = [](int r) { return cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * r + 1, 2 * r + 1}); };
  cv::Mat thing;
  cv::morphologyEx(unlike, thing, cv::MORPH_OPEN, disc(half));
  thing |= ball_sized(region, coarse, cb, cr);
  // A ball of the cloth's own colour differs in places only (its bright side may match the cloth): most of a ball's
  // disc is slightly unlike. Lines and chalk marks fill less of one.
  cv::Mat share, mostly;
  const int window = std::max(1, static_cast<int>(std::lround(0.75 * region.ball_radius / 2)));
  cv::boxFilter(slightly, share, CV_32F, {2 * window + 1, 2 * window + 1});
  cv::dilate(share > 255 * kMostly, mostly, disc(window));
  thing |= mostly;
  const int margin = std::max(2, static_cast<int>(std::lround(region.ball_radius / 2 * 0.7)));
  for (const Ellipse& e : doubted) {
    const Vec2 c = e.centre / 2;
    cv::circle(thing, {static_cast<int>(std::lround(c.x())), static_cast<int>(std::lround(c.y()))},
               static_cast<int>(std::ceil(e.radius / 2)), 255, cv::FILLED);
  }
  cv::dilate(thing, thing, disc(margin));

  Filled out;
  out.thing = thing;
  out.known = cv::Mat(region.rows, region.cols, CV_8U, cv::Scalar(1));
  out.known.setTo(0, thing);
  for (int k = 0; k < 3; ++k) {
    auto& m = middle[static_cast<std::size_t>(k)];
    out.typical[k] = upper_median(m);
  }
  const cv::Mat on_bed = region.kind == Region::bed;
  const cv::Mat on_rim = region.kind == Region::rim;
  cv::Mat* planes[3] = {&coarse, &cb, &cr};
  share_out(3, kThreads, [&](int k) {
    // Bed: smooth cloth plus what the surroundings differ from it (lines left out of that).
    cv::Mat rest = *planes[k] - smooth[k];
    const cv::Mat bed_things = on_bed & thing, rim_things = on_rim & thing;
    spread(rest, on_bed & (unlike == 0) & (thing == 0), bed_things, margin, 0.0);
    rest += smooth[k];
    rest.copyTo(*planes[k], bed_things);
    // Rim: what is beside it along the rim.
    cv::Mat beside = planes[k]->clone();
    spread(beside, on_rim & (thing == 0), rim_things, margin);
    beside.copyTo(*planes[k], rim_things);
  });
  for (int y = 0; y < region.rows; ++y)
    for (int x = 0; x < region.cols; ++x)
      if (thing.at<std::uint8_t>(y, x))
        for (int j = 0; j < 4; ++j) luma.at<float>(2 * y + j / 2, 2 * x + j % 2) = coarse.at<float>(y, x);
  return out;
}

}  // namespace baizetrace::sight
