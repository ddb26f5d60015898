#include "camera/refine.hpp"

#include <algorithm>
#include <cmath>

#include "base/median.hpp"
#include "camera/ball_outline.hpp"
#include "camera/cushion_cloth.hpp"
#include "camera/edges.hpp"
#include "camera/middle_pockets.hpp"
#include "camera/profile.hpp"

namespace baizetrace::camera {

namespace {
constexpr std::array<double, 3> kNoseReach{0.020, 0.008, 0.005};  // m, by round
constexpr std::size_t kMostBalls = 12;
// Chosen, not measured: as far as guesses are off (60 mm at most on drawn scenes), as coarse as masks are.
constexpr int kHeldRounds = 2;  // in which the cloth's border holds a side of which less than so much is found
constexpr double kHeldBelow = 0.4, kHeldReach = 0.03, kHeldSd = 3;  // share; m; px: a mask's border is coarse
constexpr int kSettled = 1;            // rounds; from then on the middle pockets are looked for
constexpr double kSectorFloor = 0.08;  // px: letters, highlights and neighbours pull at single sectors
// An outline's place depends on how much of the blur is the lens's and how much came after the picture's tone curve and
// sharpening (profile.hpp), which a clip does not tell: read half way, balls came out 0.0 to 0.3 of the blur too large
// on drawn clips with all of it before, within 0.1 px on other footage with truth. That is 1 to 2 % of a ball's size:
// as a ruler balls are worth less than the table's own file, unless they are large in the picture.
constexpr double kBallBiasPerBlur = 0.2;
// Another round while one finds or loses so much of a nose, and then until the size stands still (m): what was found
// last has not led the fit yet. Chosen. Where noses stay as they are more rounds only drift along what is told badly.
constexpr double kStillFinds = 0.15, kStillMoves = 0.0003;
constexpr double kFits = 0.8;  // px: a mark this near to the fitted curve belongs to it
// How the noses look from this camera, by the tangent of the angle at which a cushion is looked at square to its
// length: 0 straight above it, below 0 from beyond it. Measured on 760 cushions that tools/drawn draws and on
// 30 of other footage with truth, noses rounded by 2 to 6 mm. Between 0.15 and 0.75 the visible edge lies on the nose.
// From further off the lit edge creeps down round the nose; from above and beyond it the nose's round back is what is
// seen against the bed. Doubts grow with both: cushions differ, and light falls differently on them. A band narrower
// than the blur is told less well.
constexpr double kNoseU = 0.0005;                                                            // m
constexpr double kCreepFrom = 0.75, kCreep = 0.0019, kMostCreep = 0.0015, kCreepU = 0.0019;  // tangent; m, m a unit
constexpr double kBackFrom = 0.1, kBack = 0.004, kMostBack = 0.003;
constexpr double kBackU = 0.0025, kMostBackU = 0.0018;
constexpr double kNarrowBelow = 0.30, kNarrowU = 0.0006;
constexpr double kSharedScatter = 1.0;
constexpr double kAlike = 2.2;                                // root of how many stripes err alike
constexpr double kRailU = 0.0015, kRailFromOutsideU = 0.005;  // m: from outside the wood hides the seam

void look_along(Beliefs& beliefs, const Unknowns& x, const std::array<double, 4>& scatter) {
  const std::array<double, 4> tangents = x.tangents();
  for (std::size_t s = 0; s < 4; ++s) {
    const double tangent = tangents[s];
    const double far = std::max(0.0, tangent - kCreepFrom), back = std::max(0.0, kBackFrom - tangent);
    beliefs.nose_bias[s] = -std::min(kMostCreep, kCreep * far) - std::min(kMostBack, kBack * back);
    // A nose that is hard to place is also placed wrongly as a whole.
    const double shared = kSharedScatter * scatter[s] * x.pose.position().z() / x.lens.fx;
    const double narrow = kNarrowU * std::clamp(1 - tangent / kNarrowBelow, 0.0, 1.0);
    beliefs.u_nose_bias[s] =
        std::hypot(std::hypot(kNoseU, shared), std::hypot(narrow, kCreepU * far), std::min(kMostBackU, kBackU * back));
    beliefs.u_rail_bias[s] = tangent < 0.05 ? kRailFromOutsideU : kRailU;
  }
}

// Typical residual by kind and side, px.
constexpr std::size_t kKinds = 6;
using Scatter = std::array<std::array<double, 4>, kKinds>;
int side_of(const Mark& m) { return m.kind == Kind::nose || m.kind == Kind::rail ? m.index : 0; }
Scatter scatter_of(const Fit& fit) {
  std::array<std::array<std::vector<double>, 4>, kKinds> all;
  for (std::size_t i = 0; i < fit.marks.size(); ++i)
    all[static_cast<std::size_t>(fit.marks[i].kind)][static_cast<std::size_t>(side_of(fit.marks[i]))].push_back(
        std::abs(fit.summary.residuals[i]));
  Scatter out{};
  for (std::size_t k = 0; k < kKinds; ++k)
    for (std::size_t s = 0; s < 4; ++s) {
      auto& v = all[k][s];
      if (v.size() < 5) continue;
      out[k][s] = 1.48 * upper_median(v);
    }
  return out;
}

// Bright balls at rest in the scene's moments, each place once.
std::vector<RestingBall> rulers(const Scene& scene, const Unknowns& x) {
  std::vector<RestingBall> out;
  for (const Moment& m : scene.moments)
    for (RestingBall& b : find_bright_balls(m, x.camera(), x.half_width, x.half_length, x.ball_radius, kBetween)) {
      const bool known =
          std::any_of(out.begin(), out.end(), [&](const RestingBall& o) { return (o.at - b.at).norm() < 0.01; });
      if (!known && out.size() < kMostBalls) out.push_back(std::move(b));
    }
  return out;
}

// What share of each curve was found and fits.
void take_stock(Fit& fit, const table::Table& table, const Beliefs& beliefs) {
  const std::array<int, 4> whole = stripe_counts(table, EdgeOptions{}.step);
  std::array<double, 4> noses{}, rails{};
  double line = 0, d = 0;
  for (std::size_t i = 0; i < fit.marks.size(); ++i) {
    const Mark& m = fit.marks[i];
    if (std::abs(fit.summary.residuals[i]) > std::max(kFits, 3 * m.sd)) continue;
    const auto side = static_cast<std::size_t>(side_of(m));
    if (m.kind == Kind::nose) noses[side] += 1;
    if (m.kind == Kind::rail) rails[side] += 1;
    if (m.kind == Kind::line) line += 1;
    if (m.kind == Kind::d) d += 1;
  }
  for (std::size_t s = 0; s < 4; ++s) {
    fit.nose_share[s] = noses[s] / whole[s];
    fit.rail_share[s] = rails[s] / whole[s];
  }
  if (beliefs.has_line) fit.line_share = line / (2 * fit.x.half_width / kLinePiece);
  if (beliefs.has_d) fit.d_share = d / (kPi * beliefs.d_radius / kDPiece);
}

}  // namespace

Beliefs beliefs_of(const table::Spec& spec) {
  Beliefs b;
  b.half_width = spec.half_width;
  b.half_length = spec.half_length;
  b.has_line = spec.baulk_line.has_value();
  b.line_y_from_baulk = spec.baulk_line.value_or(0);
  b.has_d = b.has_line && spec.d_radius.has_value();
  b.d_radius = spec.d_radius.value_or(0);
  return b;
}

Beliefs no_marks(Beliefs beliefs) {
  beliefs.has_line = beliefs.has_d = false;
  return beliefs;
}

void place_drawn(Unknowns& x, const Beliefs& beliefs) {
  x.line_y = -x.half_length + beliefs.line_y_from_baulk;
  x.line_slope = 0;
  x.d_centre = Vec2(0, x.line_y);
  x.d_radius = beliefs.d_radius;
}

double drawn_evidence(const Scene& scene, Unknowns x, const Beliefs& beliefs) {
  if (!beliefs.has_line) return 0;
  place_drawn(x, beliefs);
  constexpr double kReach = 0.025;  // m
  return line_strength(scene, x, kReach) + (beliefs.has_d ? d_strength(scene, x, kReach) : 0);
}

Fit refine(const Scene& scene, Unknowns x, const table::Spec& spec, Beliefs beliefs, const RefineOptions& options) {
  Fit fit;
  NoseLook look;

  std::vector<RestingBall> balls;
  Scatter scatter{};
  std::array<int, 4> noses_before{};
  bool astir = false;
  for (int round = 0; round < options.rounds + options.more; ++round) {
    const bool late = round + 1 >= options.rounds;  // may be the last
    const Vec2 size_before(x.half_width, x.half_length);
    const table::Table table = table::Table(spec).resized(x.half_width, x.half_length);
    EdgeOptions edges;
    edges.nose_reach = kNoseReach[static_cast<std::size_t>(std::min(round, 2))];
    edges.rail_reach = round == 0 ? kNoseReach[0] : kNoseReach[1];
    edges.line_reach = round == 0 ? 0.020 : 0.008;
    edges.look = look;
    edges.gamma = kBetween;
    fit.marks = nose_marks(scene, x, table, edges, &look);
    const auto add = [&](const std::vector<Mark>& more) {
      fit.marks.insert(fit.marks.end(), more.begin(), more.end());
    };
    std::array<int, 4> noses{}, rails{};
    for (const Mark& m : fit.marks) ++noses[static_cast<std::size_t>(m.index)];
    const std::vector<Mark> rail = rail_marks(scene, x, table, edges);
    for (const Mark& m : rail) ++rails[static_cast<std::size_t>(m.index)];
    // The seam of cloth and wood helps to start with and where a nose is not seen; elsewhere noses are the better.
    for (const Mark& m : rail) {
      const auto s = static_cast<std::size_t>(m.index);
      if (round < 2 || 3 * noses[s] < 2 * rails[s]) fit.marks.push_back(m);
    }
    const std::array<int, 4> whole = stripe_counts(table, edges.step);
    if (options.guess && round < kHeldRounds) {
      for (Mark& m : border_marks(x, options.guess->border, options.guess->border_is, kHeldReach)) {
        const auto s = static_cast<std::size_t>(m.index);
        if (std::max(noses[s], rails[s]) > kHeldBelow * whole[s]) continue;
        m.sd = kHeldSd;
        fit.marks.push_back(m);
      }
    }
    if (beliefs.has_line) add(line_marks(scene, x, edges));
    if (beliefs.has_d) add(d_marks(scene, x, edges));
    // Where the noses of both ends are followed, they say better where half way is.
    const auto followed = [&](Side end) {
      return noses[static_cast<std::size_t>(end)] > kHeldBelow * whole[static_cast<std::size_t>(end)];
    };
    if (round >= kSettled && !(followed(kBaulk) && followed(kTop))) add(middle_marks(scene, x));
    if (options.rulers && (round == 2 || late)) {
      balls = rulers(scene, x);
      x.balls.clear();
      std::vector<double> blur;
      for (const RestingBall& b : balls) {
        x.balls.push_back(b.at);
        blur.push_back(b.sigma_px);
      }
      if (!blur.empty()) beliefs.u_ball_bias = kBallBiasPerBlur * upper_median(blur);
    }
    for (std::size_t i = 0; i < balls.size(); ++i)
      for (const OutlineSector& s : balls[i].sectors)
        fit.marks.push_back(
            {Kind::ball, static_cast<int>(i), s.angle, s.pixel, s.normal, std::hypot(s.u, kSectorFloor)});
    // Compression and grain pull neighbouring stripes the same way: they are not so many independent readings.
    for (Mark& m : fit.marks)
      m.sd = std::max(m.sd, kAlike * scatter[static_cast<std::size_t>(m.kind)][static_cast<std::size_t>(side_of(m))]);
    look_along(beliefs, x, scatter[static_cast<std::size_t>(Kind::nose)]);
    SolveOptions how;
    how.covariance = late;
    how.lens_fine = round > 0;
    if (options.pose_only) how.lens_fine = how.lens_shape = how.focal = how.size = false;
    fit.summary = solve(x, fit.marks, beliefs, how);
    if (!fit.summary.usable) break;
    scatter = scatter_of(fit);
    bool finds = false;
    for (std::size_t s = 0; s < 4; ++s) finds = finds || std::abs(noses[s] - noses_before[s]) > kStillFinds * whole[s];
    astir = astir || (late && finds);
    const bool moves = (Vec2(x.half_width, x.half_length) - size_before).cwiseAbs().maxCoeff() > kStillMoves;
    noses_before = noses;
    if (late && !finds && !(astir && moves)) break;
  }
  fit.x = x;
  fit.balls = static_cast<int>(balls.size());
  fit.size_known = beliefs.taped || options.pose_only;
  if (!fit.summary.usable) return fit;
  fit.cushion_apart = cushion_apart(scene, x);
  fit.middle_off = middle_off(middle_marks(scene, x), x);
  take_stock(fit, table::Table(spec).resized(x.half_width, x.half_length), beliefs);
  return fit;
}

}  // namespace baizetrace::camera
