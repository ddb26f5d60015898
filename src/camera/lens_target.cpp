#include "camera/lens_target.hpp"
#include "base/median.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

namespace baizetrace::camera {

namespace {
constexpr std::size_t kFewestViews = 8, kMostViews = 40;
constexpr double kAnother = 0.04;       // of the picture's width: corners must have moved so far on average
constexpr double kLeastCovered = 0.45;  // of the picture's parts
constexpr double kWellCovered = 0.7;
constexpr double kWorstFocal = 0.02;  // share: less sure, and the target was not tilted enough
constexpr double kWorstFit = 1.5;     // px
constexpr double kBadView = 3;        // times the usual misfit: smeared, or not flat
// Corners of one view err alike (a print is not quite flat, a hand moves): the solver's own standard errors are too
// small by about this, judged by halves of the pictures solved apart.
constexpr double kAlike = 3;
// Another focus changes the lens a little, 1 sigma: share of the focal length, share of the longer side, shape.
constexpr double kFocusU = 0.003, kCentreU = 0.0015;
constexpr std::array<double, 5> kShapeU{0.003, 0.003, 0.0002, 0.0002, 0.003};

struct Paper {
  const char* name;
  double width, height, square;  // mm, lying
};
constexpr std::array<Paper, 2> kPapers{{{"a4", 297, 210, 25}, {"a3", 420, 297, 36}}};
}  // namespace

Result<std::string> target_svg(const std::string& paper) {
  const auto p = std::find_if(kPapers.begin(), kPapers.end(), [&](const Paper& q) { return paper == q.name; });
  if (p == kPapers.end()) return fail("--paper: \"{}\": expected a4 or a3", paper);
  const double w = (kTargetColumns + 1) * p->square, h = (kTargetRows + 1) * p->square;
  const double x0 = 0.5 * (p->width - w), y0 = 0.5 * (p->height - h) - 3;
  std::string out = fmt::format(
      "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{0}mm\" height=\"{1}mm\" viewBox=\"0 0 {0} {1}\">\n"
      "<title>Lens target: {2} x {3} squares of {4} mm</title>\n<rect width=\"{0}\" height=\"{1}\" fill=\"white\"/>\n"
      "<path fill=\"black\" shape-rendering=\"crispEdges\" d=\"",
      p->width, p->height, kTargetColumns + 1, kTargetRows + 1, p->square);
  for (int r = 0; r <= kTargetRows; ++r)
    for (int c = r % 2; c <= kTargetColumns; c += 2)
      out += fmt::format("M{:g} {:g}h{:g}v{:g}h{:g}z", x0 + c * p->square, y0 + r * p->square, p->square, p->square,
                         -p->square);
  out += fmt::format(
      "\"/>\n<text x=\"{:g}\" y=\"{:g}\" font-family=\"sans-serif\" font-size=\"4\">Print at 100 %: ten squares are "
      "{:g} "
      "mm long. Glue it flat on a board; keep the white margin.</text>\n</svg>\n",
      x0, y0 + h + 0.5 * (p->height - h) - 2, (kTargetColumns + 1) * p->square);
  return out;
}

TargetView find_target(const cv::Mat& luma) {
  const cv::Size pattern(kTargetColumns, kTargetRows);
  TargetView corners;
  // Where there is none this is seen quickly in a small picture.
  cv::Mat small;
  constexpr double kQuick = 640;  // px
  const double scale = std::min(1.0, kQuick / std::max(luma.cols, luma.rows));
  cv::resize(luma, small, {}, scale, scale, cv::INTER_AREA);
  if (!cv::findChessboardCorners(small, pattern, corners,
                                 cv::CALIB_CB_ADAPTIVE_THRESH | cv::CALIB_CB_NORMALIZE_IMAGE | cv::CALIB_CB_FAST_CHECK))
    return {};
  TargetView fine;
  if (cv::findChessboardCornersSB(luma, pattern, fine, cv::CALIB_CB_NORMALIZE_IMAGE)) return fine;
  for (cv::Point2f& c : corners) {
    const auto k = static_cast<float>(1 / scale);
    c = cv::Point2f((c.x + 0.5F) * k - 0.5F, (c.y + 0.5F) * k - 0.5F);
  }
  const double pitch = cv::norm(corners[1] - corners[0]);
  const int half = std::clamp(static_cast<int>(0.4 * pitch), 3, 11);
  cv::cornerSubPix(luma, corners, {half, half}, {-1, -1}, {cv::TermCriteria::EPS | cv::TermCriteria::COUNT, 40, 0.005});
  return corners;
}

bool TargetViews::push(const cv::Mat& luma) {
  ++looked_at_;
  size_ = luma.size();
  if (views_.size() >= kMostViews) return false;
  TargetView now = find_target(luma);
  if (now.empty()) return false;
  for (const TargetView& v : views_) {
    double moved = 0;
    for (std::size_t i = 0; i < v.size(); ++i) moved += cv::norm(v[i] - now[i]);
    if (moved / static_cast<double>(v.size()) < kAnother * luma.cols) return false;
  }
  views_.push_back(std::move(now));
  return true;
}

LensSolved solve_lens(const std::vector<TargetView>& views, const cv::Size& size) {
  LensSolved out;
  if (views.size() < kFewestViews) {
    out.why = fmt::format(
        "the target is seen {} in {} differing views, at least {} are needed: move and tilt it through "
        "the whole picture",
        views.empty() ? "nowhere," : "only", views.size(), kFewestViews);
    if (views.empty()) out.why = "the target is not seen: all of it must be in the picture, flat and sharp";
    return out;
  }
  constexpr int kParts = 6;
  std::array<bool, kParts * kParts> reached{};
  for (const TargetView& v : views)
    for (const cv::Point2f& c : v) {
      const int x = std::clamp(static_cast<int>(c.x * kParts / static_cast<float>(size.width)), 0, kParts - 1);
      const int y = std::clamp(static_cast<int>(c.y * kParts / static_cast<float>(size.height)), 0, kParts - 1);
      reached[static_cast<std::size_t>(y * kParts + x)] = true;
    }
  out.covered = static_cast<double>(std::count(reached.begin(), reached.end(), true)) / (kParts * kParts);
  if (out.covered < kLeastCovered) {
    out.why = fmt::format(
        "the target reaches {:.0f} % of the picture, at least {:.0f} % are needed: into the corners "
        "as well, where the lens bends most",
        100 * out.covered, 100 * kLeastCovered);
    return out;
  }
  std::vector<cv::Point3f> board;
  for (int r = 0; r < kTargetRows; ++r)
    for (int c = 0; c < kTargetColumns; ++c) board.emplace_back(static_cast<float>(c), static_cast<float>(r), 0.0F);
  std::vector<TargetView> used = views;
  cv::Mat K, d, u, u_views, misfit;
  std::vector<cv::Mat> turns, shifts;
  double rms = 0;
  for (int round = 0; round < 2; ++round) {
    const std::vector<std::vector<cv::Point3f>> boards(used.size(), board);
    rms = cv::calibrateCamera(boards, used, size, K, d, turns, shifts, u, u_views, misfit, 0);
    std::vector<double> all(misfit.begin<double>(), misfit.end<double>());
    std::vector<double> sorted = all;
    const double usual = upper_median(sorted);
    std::vector<TargetView> good;
    for (std::size_t i = 0; i < used.size(); ++i)
      if (all[i] < kBadView * usual) good.push_back(used[i]);
    if (good.size() == used.size() || good.size() < kFewestViews) break;
    out.warnings = {
        fmt::format("{} of {} views fit badly and were left out", views.size() - good.size(), views.size())};
    used = std::move(good);
  }
  LensProfile& p = out.profile;
  p.width = size.width;
  p.height = size.height;
  p.rms_pixels = rms;
  p.views = static_cast<int>(used.size());
  Lens& lens = p.known.lens;
  lens.fx = K.at<double>(0, 0), lens.fy = K.at<double>(1, 1), lens.cx = K.at<double>(0, 2),
  lens.cy = K.at<double>(1, 2);
  for (int i = 0; i < 5; ++i) lens.distortion[static_cast<std::size_t>(i)] = d.at<double>(i);
  const double longer = std::max(size.width, size.height);
  for (std::size_t i = 0; i < 9; ++i) {
    const double floor = i < 2 ? kFocusU * lens.fx : i < 4 ? kCentreU * longer : kShapeU[i - 4];
    p.known.u[i] = std::hypot(floor, kAlike * u.at<double>(static_cast<int>(i)));
  }
  const double focal_u = kAlike * u.at<double>(0) / lens.fx;
  if (!std::isfinite(rms) || rms > kWorstFit) {
    out.why = fmt::format(
        "the views do not fit one lens: {:.1f} px off; is the target flat, and was zoom and "
        "stabilisation off?",
        rms);
    return out;
  }
  if (!(focal_u < kWorstFocal)) {
    out.why = fmt::format(
        "the focal length would be known to {:.0f} % only: tilt the target more, up to 40 degrees, to "
        "all sides",
        100 * focal_u);
    return out;
  }
  if (out.covered < kWellCovered)
    out.warnings.push_back(
        fmt::format("the target reached {:.0f} % of the picture: beyond, the lens is a guess", 100 * out.covered));
  out.found = true;
  return out;
}

}  // namespace baizetrace::camera
