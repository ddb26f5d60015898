#include "camera/verdict.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "camera/cushion_cloth.hpp"
#include "camera/rig.hpp"

namespace baizetrace::camera {

namespace {
constexpr double kSideSeen = 0.30;   // share of a side that must be found to count as seen
constexpr double kRailCounts = 0.7;  // a seam of cloth and wood is worth so much of a nose
constexpr double kLineSeen = 0.5;
constexpr int kLeastNoses = 2, kSureNoses = 3;  // sides
// Seen from above, a side whose seam is found but not its nose is likely to be something else.
constexpr double kRailAlone = 0.35, kSureSide = 0.5, kWholeSide = 0.6;
constexpr double kLeastScore = 0.5;              // a wrong table of drawn scenes had 0.35, right ones 0.7 and more
constexpr double kMissing = 0.2;                 // share of the D
constexpr double kDrawnCounts = 0.25;            // line and D each, of all noses together
constexpr double kSizeTold = 0.0025;             // m, 1 sigma of half a length: worth a warning
constexpr double kWorstFit = 1.2;                // px, noses
constexpr double kLowest = 0.7, kHighest = 9.0;  // m, lens above the bed: rooms, and the optics of phones
constexpr double kWorstPlace = 0.010;            // m, 1 sigma: beyond it a measurement is of no use
constexpr double kPoorPlace = 0.004;             // m: worth a warning
constexpr double kMiddleOff = 0.012;             // m: right rigs have 4, 10 at the very most; wrong ones 14, 19 and 48
// m of a whole length or width from the file's. The rules allow 13 (WPBSA, from memory), and a fit is drawn to the
// file; two wrong ones, a board's edge and the wood's seam taken for noses, came to 25 and 34.
constexpr double kSizeOff = 0.020;
constexpr double kImpossible = 0.5;  // of the score, of what cannot be a table as it stands
// Line and D further from where the cushions put them than club tables have them (in units of 5 mm, squares summed over
// the four ways they can be off): doubtful, then impossible.
constexpr double kDrawnU = 0.005, kDrawnDoubtful = 8, kDrawnImpossible = 25;
const std::array<const char*, 4> kSides{"baulk", "right", "top", "left"};
// How far line and D lie from where they belong, as above.
double drawn_off(const Fit& fit, const table::Spec& spec) {
  const Unknowns& x = fit.x;
  double sum = 0;
  if (spec.baulk_line && fit.line_share > kMissing) sum += std::pow(x.line_y + x.half_length - *spec.baulk_line, 2);
  if (spec.d_radius && fit.d_share > kMissing)
    sum += (x.d_centre - Vec2(0, x.line_y)).squaredNorm() + std::pow(x.d_radius - *spec.d_radius, 2);
  return sum / (kDrawnU * kDrawnU);
}
}  // namespace

Verdict judge(const Fit& fit, const table::Spec& spec) {
  Verdict v;
  v.why = "no table found: the noses could not be followed";
  if (!fit.summary.usable) return v;
  std::string unseen, half_seen;
  int seen = 0;
  const double off = drawn_off(fit, spec);
  const double trust = std::exp(-std::max(0.0, off - kDrawnDoubtful) / kDrawnDoubtful);
  double evidence = trust * kDrawnCounts * (std::min(1.0, fit.line_share) + std::min(1.0, fit.d_share));
  // What lies beyond a nose is cloth. Where one side agrees with that and another does not, it may be the cloth's outer
  // edge that was taken for the other's nose. (Cushions in a cloth of their own differ all round; 0: not seen.)
  const bool one_agrees = std::any_of(fit.cushion_apart.begin(), fit.cushion_apart.end(),
                                      [](double apart) { return apart > 0 && apart <= kOtherStuff; });
  std::string doubtful;
  bool all_sides = true;
  int noses = 0, whole_noses = 0;
  for (std::size_t s = 0; s < 4; ++s) {
    const double side = std::max(fit.nose_share[s], kRailCounts * fit.rail_share[s]);
    const bool other = one_agrees && fit.cushion_apart[s] > kOtherStuff;
    if (other && side >= kSideSeen) doubtful += (doubtful.empty() ? "" : ", ") + std::string(kSides[s]);
    evidence +=
        std::min(1.0, std::max(fit.nose_share[s] * (other ? kRailAlone : 1), kRailAlone * fit.rail_share[s])) / 4;
    all_sides = all_sides && !other && side >= kWholeSide;
    noses += !other && fit.nose_share[s] >= kSideSeen;
    whole_noses += !other && fit.nose_share[s] >= kWholeSide;
    if (side >= kSideSeen) {
      ++seen;
      if (side < kWholeSide) half_seen += (half_seen.empty() ? "" : ", ") + std::string(kSides[s]);
    } else {
      unseen += (unseen.empty() ? "" : ", ") + std::string(kSides[s]);
    }
  }
  v.score = evidence;
  // One end was taken from something else: a board over the table, its edge, the rail.
  if (fit.middle_off.value_or(0) > kMiddleOff) {
    v.score *= kImpossible;
    v.why = fmt::format("the table is not seen well enough: the middle pockets lie {:.0f} mm off half way along it",
                        1000 * *fit.middle_off);
    return v;
  }
  if (seen < 3 || (seen == 3 && fit.line_share < kLineSeen)) {
    v.why = seen == 0 ? std::string("no table found: the noses could not be followed")
                      : fmt::format("the table is not seen well enough: cushions not found: {}", unseen);
    return v;
  }
  // Seams of cloth and wood are as straight and as square: a lamp's edge, the bed's own, or the rail's further one.
  if (noses < kLeastNoses) {
    v.why = fmt::format("the table is not seen well enough: {} could be followed",
                        noses == 0 ? "no cushion's nose" : "the nose of one cushion only");
    return v;
  }
  // A line without a D is some other line, unless all four sides say that it lies where it belongs: then a lamp may
  // hide the D.
  const bool d_missing = spec.d_radius && fit.line_share > kLineSeen && fit.d_share < kMissing;
  const bool d_hidden = d_missing && all_sides && off < kDrawnDoubtful;
  if (off > kDrawnImpossible || (d_missing && !d_hidden)) {
    v.why = "the table is not seen well enough: line and D are not where the cushions put them";
    return v;
  }
  if (v.score < kLeastScore) {
    v.why = "the table is not seen well enough: what was found of it does not hold together";
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
  const Vec2 size_off = 2 * Vec2(fit.x.half_width - spec.half_width, fit.x.half_length - spec.half_length);
  if (!fit.size_known && size_off.cwiseAbs().maxCoeff() > kSizeOff) {
    v.score *= kImpossible;
    v.why = fmt::format(
        "the table is not seen well enough, or is not this one ({}): the fit would make it {:.0f} mm {} than its file "
        "({:.2f} x {:.2f} m), and no table is so far off",
        spec.title, 1000 * size_off.cwiseAbs().maxCoeff(),
        std::abs(size_off.x()) > std::abs(size_off.y()) ? (size_off.x() > 0 ? "wider" : "narrower")
                                                        : (size_off.y() > 0 ? "longer" : "shorter"),
        2 * spec.half_length, 2 * spec.half_width);
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
  v.sure = all_sides && whole_noses >= kSureNoses && off < kDrawnDoubtful &&
           (!spec.baulk_line || (fit.line_share > kSureSide && (!spec.d_radius || fit.d_share > kSureSide)));
  if (worst > kPoorPlace)
    v.warnings.push_back(fmt::format("a ball's place is known to {:.0f} mm at worst", 1000 * worst));
  if (d_hidden) v.warnings.emplace_back("the D was not seen: which end is baulk rests on the line alone");
  if (!unseen.empty()) v.warnings.push_back("cushions not seen: " + unseen);
  if (!doubtful.empty())
    v.warnings.push_back("cushions that do not wear the bed's cloth, look at the picture: " + doubtful);
  if (!half_seen.empty()) v.warnings.push_back("cushions seen in part only: " + half_seen);
  const double u_length = std::sqrt(std::max(0.0, rig.covariance(16, 16)));
  if (u_length > kSizeTold)
    v.warnings.push_back(fmt::format("the table's length is told to {:.0f} mm only: {}", 2000 * u_length,
                                     fit.summary.careless > 0.5
                                         ? "its shape is not its file's, and balls this small do not tell its size"
                                         : "too little of the table is seen"));
  if (fit.balls == 0) v.warnings.push_back("no bright ball at rest was seen: the table's size rests on its file");
  return v;
}

}  // namespace baizetrace::camera
