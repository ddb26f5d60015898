#include "path/window.hpp"

#include <algorithm>
#include <cmath>

#include "path/impact.hpp"

namespace baizetrace::path {
namespace {

// The last legs of a chain, with the sightings up to index `end`.
Problem window(const Chain& chain, const World& world, const Cloth& cloth, std::size_t end, std::size_t back) {
  Problem p;
  p.cloth = cloth;
  p.prior = world.cloth;
  p.slide_sd = world.slide_sd;
  p.roll_sd = world.roll_sd;
  p.impact = world.impact;
  Chain w = chain;
  const std::size_t first = chain.legs.size() > back ? chain.legs.size() - back : 0;
  w.legs.assign(chain.legs.begin() + static_cast<std::ptrdiff_t>(first), chain.legs.end());
  if (first > 0) {
    w.start_free = false;
    w.start.reset();
    w.legs[0].touch = {};
    w.legs[0].touch.kind = Touch::Kind::unknown;
  }
  w.rest.reset();
  w.seen.clear();
  for (std::size_t i = 0; i < end; ++i)
    if (first == 0 || chain.seen[i].time >= w.legs[0].leg.t) w.seen.push_back(chain.seen[i]);
  p.chains.push_back(std::move(w));
  return p;
}

}  // namespace

namespace {

// A streak of which only a part is seen: where along it its middle lies is hardly known. Its share of the covariance.
Mat2 partly_seen(const std::vector<Sighting>& seen, std::size_t i) {
  const Sighting& s = seen[i];
  if (!s.streak) return Mat2::Zero();
  Vec2 along = s.velocity.value_or(Vec2::Zero());
  if (along.norm() <= 0) along = seen[std::min(i + 1, seen.size() - 1)].at - seen[i > 0 ? i - 1 : 0].at;
  if (along.norm() <= 1e-6) return Mat2::Zero();
  along.normalize();
  constexpr double kWhole = 0.0005, kNone = 0.05, kMost = 0.015;  // m: sd of a whole streak, of none seen, at most
  const double sd = std::min(kMost, kWhole + kNone * (1 - s.visible));
  return sd * sd * along * along.transpose();
}

}  // namespace

std::vector<Seen> prepare(const BallTrack& track, const World& world) {
  std::vector<Seen> out;
  bool fallen = false;
  for (std::size_t i = 0; i < track.seen.size(); ++i) {
    const Sighting& s = track.seen[i];
    bool possible = true;
    for (const Surface& f : world.surfaces) {
      // Inside a fall circle it drops; behind a nose it cannot be.
      constexpr double kBehind = 0.012;  // m
      const double g = f.gap(s.at);
      if (f.kind == ContactKind::pocket && g < 0) fallen = true;
      if (f.kind == ContactKind::cushion && g < -kBehind && g > -0.2 && f.reaches(s.at, 0)) possible = false;
    }
    Seen seen;
    seen.time = s.time;
    seen.at = s.at;
    // A repeated fit tells that the ball is still there, not where.
    const double repeat = s.fresh ? 1.0 : 16.0;
    const Mat2 c =
        repeat * (s.covariance + world.model_sd * world.model_sd * Mat2::Identity()) + partly_seen(track.seen, i);
    seen.root = Mat2(c.inverse().llt().matrixU());
    seen.sd = std::sqrt(0.5 * c.trace());
    // What has been seen to drop does not come back; a ball at rest over the edge of the fall would not drop.
    // Nor does a picture shown once more tell that a ball had not been struck yet.
    seen.trusted = possible && !s.again && !(fallen && !track.after);
    out.push_back(seen);
  }
  return out;
}

double fit_window(Chain& chain, const World& world, Cloth& cloth, std::size_t end, int iterations, std::size_t back,
                  int gentle) {
  Problem p = window(chain, world, cloth, end, back);
  const FitSummary s = fit(p, {.iterations = iterations, .gentle = gentle});
  const std::size_t n = p.chains[0].legs.size();
  for (std::size_t i = 0; i < n; ++i) chain.legs[chain.legs.size() - n + i].leg = p.chains[0].legs[i].leg;
  cloth = p.cloth;
  return s.cost;
}

double fit_reseeded(Chain& chain, const World& world, Cloth& cloth, std::size_t end, std::size_t back) {
  const Chain begun = chain;
  const Cloth cloth_begun = cloth;
  double best = fit_window(chain, world, cloth, end, kThorough, back, kGentlePass);
  const std::size_t last = begun.legs.size() - 1;
  const auto attempt = [&](double strike_share, double last_share) {
    Chain tried = begun;
    Cloth c = cloth_begun;
    const bool strike = tried.legs.size() <= back && tried.legs[0].touch.kind == Touch::Kind::start;
    if (strike) tried.legs[0].leg.w = strike_share * tried.legs[0].leg.v;
    Leg& leg = tried.legs[last].leg;
    if (last > 0 && tried.legs[last].touch.kind == Touch::Kind::ball) {
      const Leg& in = tried.legs[last - 1].leg;
      leg.w = in.slip_at(leg.t, c) + kSlipShare * (leg.v - in.velocity_at(leg.t, c)) + last_share * leg.v;
    } else if (last > 0) {
      leg.w += last_share * leg.v;
    }
    const double cost = fit_window(tried, world, c, end, kThorough, back, kGentlePass);
    if (cost >= best) return;
    best = cost;
    chain = std::move(tried);
    cloth = c;
  };
  for (const double share : {-0.05, 0.2, 0.45}) attempt(share, 0.0);
  attempt(0.15, 0.3);
  attempt(0.15, -0.3);
  return best;
}

bool explains(const Chain& chain, const World& world, const Cloth& cloth, std::size_t from, std::size_t end) {
  for (std::size_t i = from; i < end; ++i) {
    const Seen& s = chain.seen[i];
    if (s.trusted && off(s, chain.at(s.time, cloth)) > kOff) return false;
  }
  // No stroke of a cue gives more slip than this, in speeds (tip half a radius off the centre, common practice).
  constexpr double kMostSlip = 0.72;
  if (chain.legs.size() == 1 && chain.legs[0].touch.kind == Touch::Kind::start &&
      chain.legs[0].leg.w.norm() > kMostSlip * chain.legs[0].leg.v.norm() + 0.05)
    return false;
  // Noses are never passed by more than the fit can be wrong.
  constexpr double kInto = 0.004;  // m
  const Leg& leg = chain.legs.back().leg;
  const double last = chain.seen[end - 1].time;
  const Vec2 p = leg.at(last, cloth);
  for (const Surface& s : world.surfaces)
    if (s.kind == ContactKind::cushion && s.reaches(p, 0) && s.gap(p) < -kInto && s.gap(p) > -0.2) return false;
  return true;
}

}  // namespace baizetrace::path
