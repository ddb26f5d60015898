#include "path/guided.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "path/impact.hpp"
#include "path/roster.hpp"

namespace baizetrace::path {
namespace {

constexpr double kSetOffSd = 0.12;    // of the speed: what the other ball's change of velocity tells it to
constexpr double kFollowedSd = 0.03;  // the same once two sightings have been taken
constexpr double kGate = 0.006;       // m, beside the sightings' own errors
constexpr double kWidest = 0.06;      // m
constexpr double kOtherColour = 5.0;  // a stray whose colour speaks more than this against the kind is another thing

// The first instant after its begin at which the leg meets a nose, a jaw or a fall.
double first_event(const Leg& leg, const World& world) {
  double end = leg.rests(world.cloth);
  for (const Surface& s : world.surfaces)
    if (const auto t = first_touch(leg, world.cloth, s, leg.t + 1e-3, end, 0.0)) end = std::min(end, *t);
  return end;
}

// The leg's begin and velocity from sightings, the slide tied to the velocity as a ball set off without spin has it.
void refit(Leg& leg, const Leg& expected, const std::vector<Sighting>& seen, const Cloth& cloth) {
  constexpr double kInstantSd = 0.004;  // s: the hitter's path tells the instant to this
  const double sd = kSetOffSd * expected.v.norm() + 0.02;
  for (int i = 0; i < 5; ++i) {
    Mat3 h = Vec3(1 / (kInstantSd * kInstantSd), 1 / (sd * sd), 1 / (sd * sd)).asDiagonal();
    Vec3 g = h * Vec3(leg.t - expected.t, leg.v.x() - expected.v.x(), leg.v.y() - expected.v.y());
    for (const Sighting& s : seen) {
      const LegSlopes d = slopes(leg, s.time, cloth);
      const Vec2 r = d.at - s.at;
      constexpr double kModel = 0.001;  // m
      const double variance = 0.5 * s.covariance.trace() + kModel * kModel;
      const double weight = 1 / (variance * (1 + 0.1 * r.squaredNorm() / variance));  // deaf to what is far off
      Eigen::Matrix<double, 2, 3> by;
      by << d.by_t, d.by_v + kSlipShare * d.by_w;
      h += weight * by.transpose() * by;
      g += weight * by.transpose() * r;
    }
    const Vec3 step = h.ldlt().solve(g);
    leg.t -= step[0];
    leg.v -= step.tail<2>();
    leg.w = kSlipShare * leg.v;
  }
}

}  // namespace

std::optional<Leg> set_off(const BallTrack& hit, double mass, const std::vector<Found>& searched) {
  if (!hit.before) return std::nullopt;
  for (const Found& f : searched) {
    for (std::size_t k = 1; k < f.chain.legs.size(); ++k) {
      const ChainLeg& l = f.chain.legs[k];
      if (l.touch.kind != Touch::Kind::ball || l.touch.ball != hit.ball || l.touch.velocity.norm() > 0) continue;
      Leg leg;
      leg.t = l.leg.t;
      leg.p = hit.before->at;
      leg.v = (f.chain.mass / mass) * (f.chain.legs[k - 1].leg.velocity_at(l.leg.t, f.cloth) - l.leg.v);
      leg.w = kSlipShare * leg.v;
      constexpr double kTells = 0.3;  // m/s: a softer push tells no direction
      if (leg.v.norm() > kTells) return leg;
    }
  }
  return std::nullopt;
}

BallTrack guided(const BallTrack& track, const std::vector<Sighting>& strays, std::size_t kind, const Leg& begun,
                 const World& world) {
  std::vector<Sighting> pool;
  for (const Sighting& s : track.seen)
    if (s.time > begun.t) pool.push_back(s);
  for (const Sighting& s : strays)
    if (s.time > begun.t && against(s, kind) < kOtherColour) pool.push_back(s);
  std::stable_sort(pool.begin(), pool.end(), [](const Sighting& a, const Sighting& b) { return a.time < b.time; });
  Leg leg = begun;
  std::vector<Sighting> taken;
  double end = first_event(leg, world);
  for (std::size_t i = 0; i < pool.size();) {
    std::size_t next = i;
    while (next < pool.size() && pool[next].frame == pool[i].frame && pool[next].time - pool[i].time < 0.05) ++next;
    if (pool[i].time > end) break;
    const Sighting* best = nullptr;
    double least = 1e9;
    for (std::size_t k = i; k < next; ++k) {
      const double d = (leg.at(pool[k].time, world.cloth) - pool[k].at).norm();
      if (d < least) least = d, best = &pool[k];
    }
    const double since = pool[i].time - (taken.empty() ? begun.t : taken.back().time);
    const double gate = kGate + 3 * std::sqrt(0.5 * best->covariance.trace()) +
                        std::min(kWidest, (taken.size() < 2 ? kSetOffSd : kFollowedSd) * leg.v.norm() * since);
    if (least < gate) {
      taken.push_back(*best);
      leg = begun;
      refit(leg, begun, taken, world.cloth);
      end = first_event(leg, world);
    }
    i = next;
  }
  constexpr std::size_t kFewest = 3;
  if (taken.size() < kFewest) return track;
  BallTrack out = track;
  out.seen.clear();
  for (const Sighting& s : track.seen)
    if (s.time <= begun.t && (s.at - track.before->at).norm() < 0.01) out.seen.push_back(s);
  out.seen.insert(out.seen.end(), taken.begin(), taken.end());
  // What follows is still its own, unless it fell there; and what is seen often away from every pocket did not fall.
  constexpr double kAtAPocket = 0.06;  // m
  constexpr int kOften = 4;
  const auto at_a_pocket = [&](const Vec2& p) {
    return std::any_of(world.surfaces.begin(), world.surfaces.end(),
                       [&](const Surface& s) { return s.kind == ContactKind::pocket && s.gap(p) < kAtAPocket; });
  };
  const auto since = std::count_if(track.seen.begin(), track.seen.end(), [&](const Sighting& s) {
    return s.time > std::max(end, taken.back().time) && !at_a_pocket(s.at);
  });
  const bool falls = !track.after && since < kOften && at_a_pocket(leg.at(end, world.cloth));
  for (const Sighting& s : track.seen)
    if (!falls && s.time > std::max(end, taken.back().time)) out.seen.push_back(s);
  return out;
}

}  // namespace baizetrace::path
