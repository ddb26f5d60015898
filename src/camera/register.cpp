#include "camera/register.hpp"

#include <spdlog/spdlog.h>

#include <algorithm>

#include "camera/cloth.hpp"
#include "camera/known_lens.hpp"
#include "camera/outline.hpp"
#include "camera/refine.hpp"
#include "camera/scene.hpp"
#include "camera/spots.hpp"
#include "camera/verdict.hpp"

namespace baizetrace::camera {

namespace {
// Not told: what most phones have, wide enough to hold them (5 to 32 ms measured on phones).
constexpr double kUsualReadout = 0.016, kUsualReadoutU = 0.008;  // s
constexpr double kLongEnough = 3, kShortest = 0.5;               // s of a stretch in which the camera stood still
constexpr double kLeastCoverage = 0.45;  // of the cloth's border that a guess must follow to be tried
constexpr double kWholeBorder = 0.97;    // nothing better is to be found
constexpr std::size_t kMostTries = 3;
// Which end is baulk: the line and D must be seen well at one end and clearly better than at the other.
constexpr double kLeastDrawn = 8, kClearlyBetter = 2.0;

// First guesses, the likeliest first.
std::vector<Unknowns> guesses_of(const Scene& scene, const table::Spec& spec, const RegisterOptions& options) {
  std::vector<Unknowns> out;
  const std::vector<ClothRegion> regions = find_cloth(scene);
  if (options.corners) {
    for (const Guess& g : guess_from_corners(*options.corners, regions, spec, scene.width, scene.height))
      out.push_back(g.x);
    return out;
  }
  std::vector<Guess> first;
  for (const ClothRegion& region : regions) {
    const auto more = guess_from_cloth(region, spec, scene.width, scene.height);
    if (!more.empty() && more.front().coverage >= kLeastCoverage) first.push_back(more.front());
    if (!first.empty() && first.back().coverage > kWholeBorder) break;
  }
  std::stable_sort(first.begin(), first.end(), [](const Guess& a, const Guess& b) { return a.coverage > b.coverage; });
  for (std::size_t i = 0; i < std::min(first.size(), kMostTries); ++i) out.push_back(first[i].x);
  return out;
}

void fill_residuals(Registration& out, const Fit& fit) {
  struct Sum {
    double px2 = 0, m2 = 0;
    int count = 0;
  };
  std::map<std::string, Sum> by_kind;
  Sum hard;
  const Camera camera = fit.x.camera();
  for (std::size_t i = 0; i < fit.marks.size(); ++i) {
    const Mark& m = fit.marks[i];
    const double r = fit.summary.residuals[i];
    if (std::abs(r) > std::max(1.0, 4 * m.sd)) continue;
    const double per_metre = std::sqrt(std::abs(camera.plane_jacobian(fit.x.point(m)).determinant()));
    const auto add = [&](Sum& s) {
      s.px2 += r * r;
      s.m2 += r * r / (per_metre * per_metre);
      ++s.count;
    };
    add(by_kind[name_of(m.kind)]);
    if (m.kind == Kind::nose || m.kind == Kind::ball) add(hard);
  }
  for (const auto& [kind, s] : by_kind)
    out.rig.residuals[kind] = {s.count, std::sqrt(s.px2 / s.count), std::sqrt(s.m2 / s.count)};
  if (hard.count > 0) {
    out.rms_pixels = std::sqrt(hard.px2 / hard.count);
    out.rms = std::sqrt(hard.m2 / hard.count);
  }
}
}  // namespace

Result<Registration> register_clip(const std::string& file, const table::Spec& spec, const table::BallSet& balls,
                                   const RegisterOptions& options) {
  auto clip = video::Clip::open(file);
  if (!clip) return pass_on(clip);
  SceneOptions look;
  look.from = options.from;
  look.look_at = options.look_at;
  auto scene = gather_scene(*clip, look);
  if (!scene) return pass_on(scene);
  const std::vector<Stretch> stretches = still_stretches(scene->snaps);
  if (stretches.size() < 2) return register_scene(*scene, spec, balls, options);
  // The camera was moved: one place of it is registered, the first if it lasts long enough to tell.
  const Stretch* best = &stretches.front();
  for (const Stretch& s : stretches)
    if (best->to - best->from < kLongEnough && s.to - s.from > best->to - best->from) best = &s;
  auto again = video::Clip::open(file);
  if (!again) return pass_on(again);
  look.from = best->from;
  look.look_at = std::max(kShortest, best->to - best->from);
  scene = gather_scene(*again, look);
  if (!scene) return pass_on(scene);
  Registration out = register_scene(*scene, spec, balls, options);
  out.warnings.insert(out.warnings.begin(),
                      fmt::format("the camera was moved at {:.1f} s by {:.1f} px: the table is registered as it stood "
                                  "from {:.1f} to {:.1f} s",
                                  stretches.front().to, stretches.front().pixels_to_next, best->from, best->to));
  return out;
}

Registration register_scene(const Scene& scene, const table::Spec& spec, const table::BallSet& balls,
                            const RegisterOptions& options) {
  Registration out;
  out.background = scene.bgr();
  out.luma = scene.luma;
  const std::vector<Unknowns> guesses = guesses_of(scene, spec, options);
  if (guesses.empty()) {
    out.why = options.corners
                  ? "the four corners are no picture of a table seen from above: give baulk-left, baulk-right, "
                    "top-right, top-left, as seen from the baulk end"
                  : "no table found: nothing in the picture is a large even cloth with four straight sides";
    return out;
  }

  Beliefs beliefs = beliefs_of(spec);
  beliefs.lens = options.lens;
  beliefs.focal = options.focal;
  beliefs.height = options.height;
  Fit best;
  Verdict verdict;
  verdict.why = "no table found: the noses could not be followed";
  for (Unknowns x : guesses) {
    x.ball_radius = balls.kinds.front().radius;
    if (options.lens) x = seen_through(x, options.lens->lens);
    std::string end_doubt;
    if (!options.corners && beliefs.has_line) {
      // Once the noses are found roughly, the line and D are looked for at both ends.
      const Fit rough = refine(scene, x, spec, no_marks(beliefs), {.rounds = 2, .rulers = false});
      if (rough.summary.usable) x = rough.x;
      const double here = drawn_evidence(scene, x, beliefs), there = drawn_evidence(scene, other_end(x), beliefs);
      spdlog::debug("line and D seen: {:.2f} here, {:.2f} at the other end", here, there);
      if (there > here) x = other_end(x);
      if (std::max(here, there) < kLeastDrawn || std::max(here, there) < kClearlyBetter * std::min(here, there))
        end_doubt = "cannot tell which end is baulk: the baulk line and the D are not seen well; --corners tells it";
    }
    place_drawn(x, beliefs);
    Fit fit = refine(scene, x, spec, beliefs);
    Verdict v = judge(fit, spec);
    if (v.found && !end_doubt.empty()) v = {false, end_doubt, v.score, {}};
    if (v.score > verdict.score) {
      verdict = v;
      best = std::move(fit);
    }
    if (verdict.found) break;
  }
  out.why = verdict.why;
  out.warnings = verdict.warnings;
  if (!verdict.found) return out;

  out.found = true;
  Rig& rig = out.rig;
  rig.camera = best.x.camera();
  rig.table = spec.name;
  rig.half_width = best.x.half_width;
  rig.half_length = best.x.half_length;
  rig.turn = scene.turn;
  rig.readout = options.readout.value_or(kUsualReadout);
  rig.u_readout = options.readout ? 0 : kUsualReadoutU;
  rig.readout_known = options.readout.has_value();
  rig.covariance = best.summary.covariance;
  rig.spots = find_spots(scene, best.x, spec);
  fill_residuals(out, best);
  return out;
}

}  // namespace baizetrace::camera
