#include "camera/verdict.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "camera/rig.hpp"

namespace baizetrace::camera {

namespace {
constexpr double kSideSeen = 0.30;   // share of a side that must be found to count as seen
constexpr double kRailCounts = 0.7;  // a seam of cloth and wood is worth so much of a nose
constexpr double kLineSeen = 0.5;
constexpr double kWorstFit = 1.2;                // px, noses
constexpr double kLowest = 0.7, kHighest = 9.0;  // m, lens above the bed: rooms, and the optics of phones
constexpr double kWorstPlace = 0.010;            // m, 1 sigma: beyond it a measurement is of no use
constexpr double kPoorPlace = 0.004;             // m: worth a warning
const std::array<const char*, 4> kSides{"baulk", "right", "top", "left"};
}  // namespace

Verdict judge(const Fit& fit, const table::Spec& spec) {
  Verdict v;
  v.why = "no table found: the noses could not be followed";
  if (!fit.summary.usable) return v;
  std::string unseen, half_seen;
  int seen = 0;
  double share = 0;
  for (std::size_t s = 0; s < 4; ++s) {
    const double side = std::max(fit.nose_share[s], kRailCounts * fit.rail_share[s]);
    share += std::min(1.0, side) / 4;
    if (side >= kSideSeen) {
      ++seen;
      if (side < 0.6) half_seen += (half_seen.empty() ? "" : ", ") + std::string(kSides[s]);
    } else {
      unseen += (unseen.empty() ? "" : ", ") + std::string(kSides[s]);
    }
  }
  v.score = share;
  if (seen < 3 || (seen == 3 && fit.line_share < kLineSeen)) {
    v.why = seen == 0 ? std::string("no table found: the noses could not be followed")
                      : fmt::format("the table is not seen well enough: cushions not found: {}", unseen);
    return v;
  }
  double sum = 0;
  int count = 0;
  for (std::size_t i = 0; i < fit.marks.size(); ++i)
    if (fit.marks[i].kind == Kind::nose) {
      sum += std::min(9.0, fit.summary.residuals[i] * fit.summary.residuals[i]);
      ++count;
    }
  const double rms = count > 0 ? std::sqrt(sum / count) : 0;
  if (rms > kWorstFit) {
    v.why = fmt::format("what looks like a table does not fit one of {:.2f} x {:.2f} m: the noses are {:.1f} px off",
                        2 * spec.half_length, 2 * spec.half_width, rms);
    return v;
  }
  const double height = fit.x.pose.position().z();
  if (!(height > kLowest && height < kHighest)) {
    v.why = fmt::format(
        "the table is not seen well enough, or is not this one ({}): the fit would put the camera {} m above it",
        spec.title, height > kHighest ? "more than 9" : "less than 0.7");
    return v;
  }
  Rig rig;
  rig.camera = fit.x.camera();
  rig.covariance = fit.summary.covariance;
  double worst = 0;
  for (int i = -1; i <= 1; ++i)
    for (int j = -1; j <= 1; ++j) {
      const Vec2 at(i * 0.95 * fit.x.half_width, j * 0.95 * fit.x.half_length);
      const auto pixel = rig.camera.project(Vec3(at.x(), at.y(), fit.x.ball_radius));
      if (!pixel || pixel->x() < 0 || pixel->y() < 0 || pixel->x() >= fit.x.width || pixel->y() >= fit.x.height)
        continue;
      const Mat2 c = rig.place_covariance(at, fit.x.ball_radius);
      worst = std::max(worst, std::sqrt(c.trace() / 2));
    }
  if (fit.summary.covariance.size() == 0 || !(worst > 0) || worst > kWorstPlace) {
    v.why = worst > kWorstPlace
                ? fmt::format("the table is not seen well enough: a ball's place would be known to {:.0f} mm only",
                              1000 * worst)
                : std::string("the table is not seen well enough to solve the lens");
    return v;
  }
  v.found = true;
  v.why.clear();
  if (worst > kPoorPlace)
    v.warnings.push_back(fmt::format("a ball's place is known to {:.0f} mm at worst", 1000 * worst));
  if (!unseen.empty()) v.warnings.push_back("cushions not seen: " + unseen);
  if (!half_seen.empty()) v.warnings.push_back("cushions seen in part only: " + half_seen);
  if (fit.balls == 0) v.warnings.push_back("no bright ball at rest was seen: the table's size rests on its file");
  return v;
}

}  // namespace baizetrace::camera
