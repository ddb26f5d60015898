#include "camera/register.hpp"

#include <spdlog/spdlog.h>

#include "camera/ball_outline.hpp"
#include "camera/cloth.hpp"
#include "camera/edges.hpp"
#include "camera/outline.hpp"
#include "camera/scene.hpp"
#include "camera/solve.hpp"

namespace baizetrace::camera {

namespace {
// Not told: what most phones have, wide enough to hold them (5 to 32 ms measured on phones).
constexpr double kUsualReadout = 0.016, kUsualReadoutU = 0.008;  // s
constexpr double kLeastCoverage = 0.45;  // of the cloth's border that a guess must follow to be tried
constexpr int kRounds = 5;
constexpr std::size_t kMostBalls = 12;
constexpr double kSectorFloor = 0.08;  // px: letters, highlights and neighbours pull at single sectors

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

void place_marks(Unknowns& x, const Beliefs& beliefs) {
  x.line_y = -x.half_length + beliefs.line_y_from_baulk;
  x.line_slope = 0;
  x.d_centre = Vec2(0, x.line_y);
  x.d_radius = beliefs.d_radius;
}

// Share of the baulk line and the D that can be seen where this end would have them, 0..2.
double drawn_evidence(const Scene& scene, Unknowns x, const Beliefs& beliefs) {
  if (!beliefs.has_line) return 0;
  place_marks(x, beliefs);
  EdgeOptions how;
  how.line_reach = 0.025;
  const double line = static_cast<double>(line_marks(scene, x, how).size()) / (2 * x.half_width / 0.04);
  const double d = beliefs.has_d ? static_cast<double>(d_marks(scene, x, how).size()) / (kPi * x.d_radius / 0.03) : 0;
  return line + d;
}

struct Fit {
  Unknowns x;
  std::vector<Mark> marks;
  SolveSummary summary;
};

// How the noses look from this camera. Measured on footage with truth: seen from above and up to 37 degrees off, the
// visible edge is the nose within 0.3 mm; further off the lit edge creeps down round the nose, by 4.3 mm per unit of
// the tangent beyond 0.75. Half of that is taken as the doubt: cushions differ. A band narrower than the blur is told
// less well.
constexpr double kNoseU = 0.00035;  // m
constexpr double kCreepFrom = 0.75, kCreep = 0.0043, kCreepU = 0.5;
constexpr double kSharedScatter = 1.0;
constexpr double kAlike = 2.2;                                // root of how many stripes err alike
constexpr double kNarrowBelow = 0.30, kNarrowU = 0.0015;      // tangent; m
constexpr double kRailU = 0.0015, kRailFromOutsideU = 0.005;  // m: from outside the wood hides the seam

void look_along(Beliefs& beliefs, const Unknowns& x, const std::array<double, 4>& scatter) {
  const Vec3 lens = x.pose.position();
  const std::array<double, 4> inwards{lens.y() + x.half_length, x.half_width - lens.x(), x.half_length - lens.y(),
                                      lens.x() + x.half_width};
  for (std::size_t s = 0; s < 4; ++s) {
    const double tangent = inwards[s] / std::max(0.1, lens.z() - x.nose_height);
    const double creep = kCreep * std::max(0.0, tangent - kCreepFrom);
    beliefs.nose_bias[s] = -creep;
    // A nose that is hard to place is also placed wrongly as a whole.
    const double shared = kSharedScatter * scatter[s] * lens.z() / x.lens.fx;
    beliefs.u_nose_bias[s] = std::hypot(std::hypot(kNoseU, shared), kCreepU * creep);
    if (tangent < kNarrowBelow)
      beliefs.u_nose_bias[s] =
          std::hypot(beliefs.u_nose_bias[s], kNarrowU * (1 - std::max(0.0, tangent) / kNarrowBelow));
    beliefs.u_rail_bias[s] = tangent < 0.05 ? kRailFromOutsideU : kRailU;
  }
}

// Typical residual by kind and side, px.
using Scatter = std::array<std::array<double, 4>, 5>;
int side_of(const Mark& m) { return m.kind == Kind::nose || m.kind == Kind::rail ? m.index : 0; }
Scatter scatter_of(const Fit& fit) {
  std::array<std::array<std::vector<double>, 4>, 5> all;
  for (std::size_t i = 0; i < fit.marks.size(); ++i)
    all[static_cast<std::size_t>(fit.marks[i].kind)][static_cast<std::size_t>(side_of(fit.marks[i]))].push_back(
        std::abs(fit.summary.residuals[i]));
  Scatter out{};
  for (std::size_t k = 0; k < 5; ++k)
    for (std::size_t s = 0; s < 4; ++s) {
      auto& v = all[k][s];
      if (v.size() < 5) continue;
      std::nth_element(v.begin(), v.begin() + static_cast<long>(v.size() / 2), v.end());
      out[k][s] = 1.48 * v[v.size() / 2];
    }
  return out;
}

// Bright balls at rest in the scene's moments, each place once.
std::vector<RestingBall> rulers(const Scene& scene, const Unknowns& x) {
  std::vector<RestingBall> out;
  for (const Moment& m : scene.moments)
    for (RestingBall& b : find_bright_balls(m, x.camera(), x.half_width, x.half_length, x.ball_radius)) {
      const bool known =
          std::any_of(out.begin(), out.end(), [&](const RestingBall& o) { return (o.at - b.at).norm() < 0.01; });
      if (!known && out.size() < kMostBalls) out.push_back(std::move(b));
    }
  return out;
}

Fit refine(const Scene& scene, Unknowns x, const table::Spec& spec, Beliefs beliefs) {
  Fit fit;
  NoseLook look;
  std::vector<RestingBall> balls;
  Scatter scatter{};
  for (int round = 0; round < kRounds; ++round) {
    const table::Table table = table::Table(spec).resized(x.half_width, x.half_length);
    EdgeOptions edges;
    edges.nose_reach = round == 0 ? 0.014 : round == 1 ? 0.008 : 0.005;
    edges.rail_reach = round == 0 ? 0.014 : 0.008;
    edges.line_reach = round == 0 ? 0.020 : 0.008;
    edges.look = look;
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
    if (beliefs.has_line) add(line_marks(scene, x, edges));
    if (beliefs.has_d) add(d_marks(scene, x, edges));
    if (round == 2 || round + 1 == kRounds) {
      balls = rulers(scene, x);
      x.balls.clear();
      for (const RestingBall& b : balls) x.balls.push_back(b.at);
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
    how.covariance = round + 1 == kRounds;
    how.lens_fine = round > 0;
    fit.summary = solve(x, fit.marks, beliefs, how);
    if (!fit.summary.usable) break;
    scatter = scatter_of(fit);
  }
  fit.x = x;
  return fit;
}
}  // namespace

Result<Registration> register_clip(const std::string& file, const table::Spec& spec, const table::BallSet& balls,
                                   const RegisterOptions& options) {
  auto clip = video::Clip::open(file);
  if (!clip) return pass_on(clip);
  SceneOptions look;
  look.look_at = options.look_at;
  auto gathered = gather_scene(*clip, look);
  if (!gathered) return pass_on(gathered);
  const Scene& scene = *gathered;
  Registration out;
  out.background = scene.bgr();

  std::vector<Guess> guesses;
  if (options.corners) {
    guesses = guess_from_corners(*options.corners, spec, scene.width, scene.height);
  } else {
    for (const ClothRegion& region : find_cloth(scene)) {
      auto more = guess_from_cloth(region, spec, scene.width, scene.height);
      for (Guess& g : more)
        if (g.coverage >= kLeastCoverage) {
          guesses.push_back(g);
          break;
        }
    }
  }
  if (guesses.empty()) {
    out.why = "no table found: nothing in the picture is a large even cloth with four straight sides";
    return out;
  }
  const Beliefs beliefs = beliefs_of(spec);
  Unknowns best = guesses.front().x;
  const double here = drawn_evidence(scene, best, beliefs), there = drawn_evidence(scene, other_end(best), beliefs);
  spdlog::debug("ends: {} {}", here, there);
  if (there > here) best = other_end(best);
  place_marks(best, beliefs);
  best.ball_radius = balls.kinds[0].radius;
  Fit fit = refine(scene, best, spec, beliefs);
  if (!fit.summary.usable) {
    out.why = "no table found: the noses could not be followed";
    return out;
  }
  out.found = true;
  Rig& rig = out.rig;
  rig.camera = fit.x.camera();
  rig.table = spec.name;
  rig.half_width = fit.x.half_width;
  rig.half_length = fit.x.half_length;
  rig.turn = scene.turn;
  rig.readout = options.readout.value_or(kUsualReadout);
  rig.u_readout = options.readout ? 0 : kUsualReadoutU;
  rig.readout_known = options.readout.has_value();
  rig.covariance = fit.summary.covariance;
  std::map<std::string, std::pair<double, int>> sums;
  for (std::size_t i = 0; i < fit.marks.size(); ++i) {
    auto& [sum, count] = sums[name_of(fit.marks[i].kind)];
    const double r = fit.summary.residuals[i];
    if (std::abs(r) > 6 * fit.marks[i].sd) continue;
    sum += r * r;
    ++count;
  }
  for (const auto& [kind, s] : sums)
    if (s.second > 0) rig.residuals[kind] = {s.second, std::sqrt(s.first / s.second), 0};
  out.rms_pixels = fit.summary.rms_pixels;
  rig.spots = table::Table(spec).resized(rig.half_width, rig.half_length).spots();
  return out;
}

}  // namespace baizetrace::camera
