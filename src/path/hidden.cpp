#include "path/hidden.hpp"

#include <algorithm>
#include <cmath>

#include "path/window.hpp"

namespace baizetrace::path {
namespace {

constexpr double kRuns = 0.10;      // m/s: slower, and it may have been put there
constexpr std::size_t kAhead = 8;   // sightings behind the gap that tell the way on
constexpr std::size_t kFewest = 4;  // of them
constexpr double kGain = 1.05;      // of the speed: nothing that it meets makes it faster, but what moves itself

// The straight way through the first sightings behind the gap.
struct Way {
  Vec2 at = Vec2::Zero(), v = Vec2::Zero();
  double time = 0;
};

std::optional<Way> way_on(const Chain& chain, std::size_t j, std::size_t& end) {
  double n = 0, t1 = 0, t2 = 0;
  Vec2 p1 = Vec2::Zero(), pt = Vec2::Zero();
  const double from = chain.seen[j].time;
  std::size_t taken = 0;
  for (end = j; end < chain.seen.size() && taken < kAhead; ++end) {
    const Seen& s = chain.seen[end];
    if (!s.trusted) continue;
    constexpr double kSoon = 0.4;  // s: a straight way for no longer
    if (s.time - from > kSoon) break;
    const double t = s.time - from;
    n += 1, t1 += t, t2 += t * t, p1 += s.at, pt += t * s.at;
    ++taken;
  }
  const double det = n * t2 - t1 * t1;
  if (taken < kFewest || det <= 1e-9) return std::nullopt;
  return Way{(p1 * t2 - pt * t1) / det, (pt * n - p1 * t1) / det, from};
}

ChainLeg turn(const Leg& in, double time, const Vec2& v, const Cloth& cloth) {
  ChainLeg next;
  next.touch.kind = Touch::Kind::unknown;
  next.leg.t = time;
  next.leg.p = in.at(time, cloth);
  next.leg.v = v;
  return next;
}

}  // namespace

std::size_t find_hidden_turn(Found& found, const World& world, std::size_t j) {
  const Chain& chain = found.chain;
  double last = chain.legs.back().leg.t;
  for (std::size_t i = 0; i < j; ++i)
    if (chain.seen[i].trusted) last = std::max(last, chain.seen[i].time);
  const double back = chain.seen[j].time;
  if (back - last < kOutOfSight) return 0;
  std::size_t end = j;
  const auto way = way_on(chain, j, end);
  const Leg in = chain.legs.back().leg;
  const double came = in.velocity_at(last, found.cloth).norm();
  if (!way || way->v.norm() < kRuns || way->v.norm() > kGain * came) return 0;
  constexpr double kEdge = 0.002;  // s: legs are no shorter
  const double from = std::max(last, in.t + kEdge) + kEdge, to = back - kEdge;
  if (to <= from) return 0;
  // One turn where the two ways come nearest; two turns: a straight way between them.
  constexpr int kInstants = 24;
  const auto on = [&](double t) { return Vec2(way->at + way->v * (t - way->time)); };
  double nearest = 1e18, when = from;
  for (int i = 0; i <= kInstants; ++i) {
    const double t = from + (to - from) * i / kInstants;
    const double miss = (in.at(t, found.cloth) - on(t)).norm();
    if (miss < nearest) nearest = miss, when = t;
  }
  std::vector<Chain> tries{chain};
  tries[0].legs.push_back(turn(in, when, way->v, found.cloth));
  for (const double a : {0.15, 0.4}) {
    for (const double b : {0.6, 0.85}) {
      const double first = from + a * (to - from), second = from + b * (to - from);
      const Vec2 between = (on(second) - in.at(first, found.cloth)) / (second - first);
      if (between.norm() > kGain * came) continue;
      tries.push_back(chain);
      tries.back().legs.push_back(turn(in, first, between, found.cloth));
      tries.back().legs.push_back(turn(tries.back().legs.back().leg, second, way->v, found.cloth));
    }
  }
  for (Chain& tried : tries) {
    Cloth cloth = found.cloth;
    const std::size_t turns = tried.legs.size() - chain.legs.size();
    fit_window(tried, world, cloth, end, kThorough, turns + 1, kGentlePass);
    bool in_order = true;
    for (std::size_t k = chain.legs.size(); k < tried.legs.size(); ++k)
      in_order = in_order && tried.legs[k].leg.t > std::max(last - kEdge, tried.legs[k - 1].leg.t) &&
                 tried.legs[k].leg.t < back + kEdge &&
                 tried.legs[k].leg.v.norm() <
                     kGain * tried.legs[k - 1].leg.velocity_at(tried.legs[k].leg.t, cloth).norm() + kRuns;
    if (!in_order || !explains(tried, world, cloth, j, end)) continue;
    found.chain = std::move(tried);
    found.cloth = cloth;
    return end;
  }
  return 0;
}

std::size_t find_unseen_ball(Found& found, const World& world, std::size_t j) {
  constexpr int kWellSeen = 8;     // sightings of the way before
  constexpr double kSharp = 0.15;  // of the speed that it came with: the least turn
  // Of the blow, along it: a ball as heavy leaves nothing of the motion that way but what its roll brings back, 2/5 of
  // the blow at most (2/7 of the speed, 5/7 lost); a cushion throws back nearly half.
  constexpr double kRollsOn = -0.45, kThrownBack = 0.25;
  const Chain& chain = found.chain;
  const Leg in = chain.legs.back().leg;
  std::vector<double> before;
  for (std::size_t i = 0; i < j; ++i)
    if (chain.seen[i].trusted && chain.seen[i].time > in.t) before.push_back(chain.seen[i].time);
  std::size_t end = j;
  const auto way = way_on(chain, j, end);
  if (static_cast<int>(before.size()) < kWellSeen || !way) return 0;
  const double earliest = before[before.size() - 2], back = chain.seen[j].time;
  const Vec2 came = in.velocity_at(before.back(), found.cloth), blow = way->v - came;
  if (way->v.norm() < kRuns || way->v.norm() > kGain * came.norm() || blow.norm() < kSharp * came.norm()) return 0;
  const double along = way->v.dot(blow) / blow.squaredNorm();
  if (along < kRollsOn || along > kThrownBack) return 0;
  Chain tried = chain;
  tried.legs.push_back(turn(in, 0.5 * (before.back() + back), way->v, found.cloth));
  Cloth cloth = found.cloth;
  fit_window(tried, world, cloth, end, kThorough, 2, kGentlePass);
  const Leg& out = tried.legs.back().leg;
  if (out.t < earliest || out.t > back || out.v.norm() > kGain * came.norm()) return 0;
  // At a nose, a jaw or a known ball there is another reason to turn.
  const double clear = chain.radius;
  for (const Surface& s : world.surfaces)
    if (s.reaches(out.p, clear) && s.gap(out.p) < clear) return 0;
  for (const Other& o : world.others)
    if (const auto at = o.at(out.t); at && (at->first - out.p).norm() < chain.radius + o.radius + clear) return 0;
  if (!explains(tried, world, cloth, j, end)) return 0;
  found.chain = std::move(tried);
  found.cloth = cloth;
  return end;
}

}  // namespace baizetrace::path
