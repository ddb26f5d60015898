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
// Nothing better is to be found: of the border, and px about the grain of the half-size mask.
constexpr double kWholeBorder = 0.97, kCloseBorder = 0.9;
// The noses and the cloth's seam are rectangles of nearly the same shape, and one can be taken for the other.
constexpr double kSeamOverNose = 1.04;
// Of the last guesses: a find of two sides of four, the others' cushions taken for something else, had 1.03 and was 17
// mm off; right ones had 1.19 and more.
constexpr double kClearInTheDim = 1.1;  // score
constexpr double kWorthMending = 0.7;   // score
constexpr std::size_t kRegionsCut = 2;  // of the likeliest, that are thought of with a side hidden
constexpr std::size_t kMostTries = 3, kMostHiddenTries = 4;
// Which end is baulk: the line and D must be seen well at one end and clearly better than at the other.
constexpr double kLeastDrawn = 8, kClearlyBetter = 2.0;

// First guesses, the likeliest first.
std::vector<Guess> guesses_of(const std::vector<ClothRegion>& regions, const Scene& scene, const table::Spec& spec,
                              const RegisterOptions& options) {
  if (options.corners) return guess_from_corners(*options.corners, regions, spec, scene.width, scene.height);
  std::vector<Guess> out;
  for (const ClothRegion& region : regions) {
    const auto more = guess_from_cloth(region, spec, scene.width, scene.height);
    if (more.empty() || more.front().coverage < kLeastCoverage) continue;
    out.push_back(more.front());
    if (out.back().coverage > kWholeBorder && out.back().rms_pixels < kCloseBorder) break;
  }
  std::stable_sort(out.begin(), out.end(), better);
  if (out.size() > kMostTries) out.resize(kMostTries);
  return out;
}

// Those with one side out of sight.
std::vector<Guess> hidden_guesses_of(const std::vector<ClothRegion>& regions, const Scene& scene,
                                     const table::Spec& spec) {
  std::vector<Guess> out;
  for (std::size_t i = 0; i < std::min(regions.size(), kRegionsCut); ++i)
    for (const Guess& g : guess_with_a_side_hidden(regions[i], spec, scene.width, scene.height))
      if (g.coverage >= kLeastCoverage) out.push_back(g);
  std::stable_sort(out.begin(), out.end(), better);
  if (out.size() > kMostHiddenTries) out.resize(kMostHiddenTries);
  return out;
}

struct Tried {
  Fit fit;
  Verdict verdict;
  std::string end_doubt;  // why baulk could be at the other end
};

Tried judged(Fit fit, const table::Spec& spec, std::string end_doubt) {
  Tried out{std::move(fit), {}, std::move(end_doubt)};
  out.verdict = judge(out.fit, spec);
  if (out.verdict.found && !out.end_doubt.empty()) {
    out.verdict.found = out.verdict.sure = false;
    out.verdict.why = out.end_doubt;
  }
  return out;
}

constexpr const char* kNoEnd =
    "cannot tell which end is baulk: the baulk line and the D are not seen well; --corners tells it";

// Which end is baulk, by the line and D.
struct End {
  bool turned = false;  // they are seen at the other end than was thought
  std::string doubt;    // why that cannot be told; empty: it can
};
End end_of(const Scene& scene, const Unknowns& x, const Beliefs& beliefs) {
  const double here = drawn_evidence(scene, x, beliefs), there = drawn_evidence(scene, other_end(x), beliefs);
  spdlog::debug("line and D seen: {:.2f} here, {:.2f} at the other end", here, there);
  End end;
  end.turned = there > here;
  if (std::max(here, there) < kLeastDrawn || std::max(here, there) < kClearlyBetter * std::min(here, there))
    end.doubt = kNoEnd;
  return end;
}

// Refines a guess; the end that is baulk is told by the line and D unless corners were given.
Tried tried(const Scene& scene, const Guess& guess, const table::Spec& spec, const table::BallSet& balls,
            const Beliefs& beliefs, const RegisterOptions& options) {
  Unknowns x = guess.x;
  x.ball_radius = balls.kinds.front().radius;
  if (options.lens) x = seen_through(x, options.lens->lens);
  End end;
  if (!options.corners && beliefs.has_line) {
    // Once the noses are found roughly, the line and D are looked for at both ends.
    const Fit rough =
        refine(scene, x, spec, no_marks(beliefs), {.rounds = 2, .more = 0, .rulers = false, .guess = &guess});
    if (rough.summary.usable) x = rough.x;
    end = end_of(scene, x, beliefs);
    if (end.turned) x = other_end(x);
  }
  place_drawn(x, beliefs);
  Tried out = judged(refine(scene, x, spec, beliefs, {.guess = &guess}), spec, end.doubt);
  // What was taken for line and D, a board's edge there, is neither once the noses are followed: then they are at the
  // other end, or that end is not told. (One drawn table was told end for end.)
  constexpr double kNothingOfIt = 0.1;  // shares
  const auto none_drawn = [](const Fit& fit) { return std::max(fit.line_share, fit.d_share) < kNothingOfIt; };
  if (!options.corners && beliefs.has_line && end.doubt.empty() && out.verdict.found && none_drawn(out.fit)) {
    Unknowns other = other_end(out.fit.x);
    place_drawn(other, beliefs);
    Tried there = judged(refine(scene, other, spec, beliefs), spec, {});
    if (!none_drawn(there.fit)) return there;
    return judged(std::move(out.fit), spec, kNoEnd);
  }
  // Where the first fit was too rough to tell, the whole one may: it has followed the noses.
  if (end.doubt.empty() || out.verdict.score < kWorthMending) return out;
  end = end_of(scene, out.fit.x, beliefs);
  if (!end.doubt.empty()) return out;
  if (!end.turned) return judged(std::move(out.fit), spec, {});
  x = other_end(out.fit.x);
  place_drawn(x, beliefs);
  return judged(refine(scene, x, spec, beliefs), spec, {});
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
  const std::vector<ClothRegion> regions = find_cloth(scene);
  std::vector<Guess> guesses = guesses_of(regions, scene, spec, options);
  Beliefs beliefs = beliefs_of(spec);
  beliefs.lens = options.lens;
  beliefs.focal = options.focal;
  beliefs.height = options.height;
  if (options.size) beliefs.taped = 0.5 * *options.size;
  Tried chosen;
  const auto take = [&](Tried now, const char* what) {
    const auto& f = now.fit;
    spdlog::debug("{}, hidden side {}: score {:.2f} {}; noses {:.2f} {:.2f} {:.2f} {:.2f}, line {:.2f}, D {:.2f}", what,
                  f.x.hidden_side, now.verdict.score, now.verdict.why, f.nose_share[0], f.nose_share[1],
                  f.nose_share[2], f.nose_share[3], f.line_share, f.d_share);
    if (now.verdict.score > chosen.verdict.score) chosen = std::move(now);
    return chosen.verdict.sure;
  };
  // The likeliest first; what is beyond the first sure one is not tried.
  const auto search = [&] {
    for (const Guess& g : guesses)
      if (take(tried(scene, g, spec, balls, beliefs, options), "border")) return;
    if (options.corners) return;
    // Floor or wood may have the cloth's colour: then the cushions' dark feet bound it.
    for (const Guess& g : guesses_of(find_even_regions(scene), scene, spec, options))
      if (take(tried(scene, g, spec, balls, beliefs, options), "even region")) return;
    if (!guesses.empty())
      for (const double scale : {kSeamOverNose, 1 / kSeamOverNose}) {
        Guess other = guesses.front();
        other.x.pose.t *= scale;
        other.border.clear();  // it was taken for another edge than it is
        if (take(tried(scene, other, spec, balls, beliefs, options), "seam for nose")) return;
      }
    for (const Guess& g : hidden_guesses_of(regions, scene, spec))
      if (take(tried(scene, g, spec, balls, beliefs, options), "a side hidden")) return;
    // One side may be taken for another edge nearby: the others and the drawn marks tell where it belongs.
    if (chosen.verdict.score < kWorthMending || chosen.fit.x.hidden_side >= 0) return;
    const Unknowns as_is = chosen.fit.x;
    for (int side = 0; side < 4; ++side) {
      Unknowns x = as_is;
      x.hidden_side = side;
      const Fit without = refine(scene, x, spec, beliefs, {.rounds = 3, .more = 0, .rulers = false});
      if (!without.summary.usable) continue;
      x = without.x;
      x.hidden_side = -1;
      Tried now = judged(refine(scene, x, spec, beliefs), spec, chosen.end_doubt);
      if (take(std::move(now), "one side anew")) return;
    }
  };
  search();
  if (!chosen.verdict.found && !options.corners) {
    const std::vector<ClothRegion> even = find_even_regions_in_the_dim(scene);
    const auto look = [&](const std::vector<Guess>& these, const char* what) {
      for (const Guess& g : these) {
        Tried now = tried(scene, g, spec, balls, beliefs, options);
        if (now.verdict.found && now.verdict.score < kClearInTheDim) continue;
        if (take(std::move(now), what)) return true;
      }
      return false;
    };
    if (!look(guesses_of(even, scene, spec, options), "even region in the dim"))
      look(hidden_guesses_of(even, scene, spec), "even region in the dim, a side hidden");
  }
  if (chosen.verdict.score < 0) {
    out.why = options.corners
                  ? "the four corners are no picture of a table seen from above: give baulk-left, baulk-right, "
                    "top-right, top-left, as seen from the baulk end"
                  : "no table found: nothing in the picture is a large even cloth with four straight sides";
    return out;
  }
  const Fit& best = chosen.fit;
  out.why = chosen.verdict.why;
  out.warnings = chosen.verdict.warnings;
  if (!chosen.verdict.found) return out;

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
