#include <algorithm>
#include <cmath>

#include "path/impact.hpp"
#include "path/roster.hpp"
#include "path/search.hpp"

namespace baizetrace::path {
namespace {

// Whether a leg's ball can come as far as a fall before it rests; its speed out of a jaw is told badly.
bool may_reach(const Leg& leg, const Cloth& cloth, const Surface& fall) {
  constexpr double kFurther = 2.0, kSlack = 0.02;  // of its way, m
  const double way = (leg.at(leg.rests(cloth), cloth) - leg.p).norm();
  return kFurther * way + kSlack > fall.gap(leg.p);
}

// A ball that vanished beside a pocket after its jaw fell there, even where the last leg, hardly seen, just misses.
void nearly(Found& found, const World& world, double from, double to) {
  constexpr double kNearly = 0.03;  // m
  const Leg& leg = found.chain.legs.back().leg;
  double best = kNearly;
  for (const Surface& s : world.surfaces) {
    if (s.kind != ContactKind::pocket || !may_reach(leg, found.cloth, s)) continue;
    for (double t = from; t <= to; t += 0.002) {
      const double g = s.gap(leg.at(t, found.cloth));
      if (g < best) best = g, found.pocket = s.name, found.pocket_time = t;
    }
  }
}

// Whether the path says nothing of what was seen: of 42 balls that were told to fall, drawn ones, those that had were
// 17 mm off at most, one that had not 105.
bool astray(const Found& found) {
  constexpr double kAstray = 0.03;  // m RMS
  double sum = 0;
  int n = 0;
  for (const Seen& s : found.chain.seen) {
    if (!s.trusted || s.time < found.chain.legs[0].leg.t) continue;
    sum += (found.chain.at(s.time, found.cloth) - s.at).squaredNorm();
    ++n;
  }
  return n > 0 && sum > kAstray * kAstray * n;
}

// A ball that left its place as `begun` says. Requires: track.before.
Found set_out(const BallTrack& track, double radius, double mass, const World& world, const Leg& begun) {
  Found f;
  f.chain.ball = track.ball;
  f.chain.radius = radius;
  f.chain.mass = mass;
  f.chain.pulled = pulled_of(track);
  f.chain.start = anchor_of(*track.before);
  f.chain.legs.emplace_back();
  f.chain.legs[0].leg = begun;
  f.cloth = world.cloth;
  return f;
}

}  // namespace

void find_fall(Found& found, const World& world, double last_seen, double within) {
  Chain& chain = found.chain;
  found.pocket.reset();
  found.came_back = false;
  for (int touches = 0; touches < 3; ++touches) {
    const Leg& leg = chain.legs.back().leg;
    const double from = std::max(leg.t + 1e-4, std::min(last_seen, leg.rests(found.cloth)));
    std::optional<double> first;
    const Surface* what = nullptr;
    for (const Surface& s : world.surfaces) {
      const Surface& met = chain.legs.back().touch.surface;
      const bool again = chain.legs.back().touch.kind == Touch::Kind::surface && met.kind == s.kind &&
                         (met.centre - s.centre).norm() < 1e-9 && (met.a - s.a).norm() < 1e-9;
      if (again) continue;
      // A jaw out of sight counts only where the path would run into it, not along it; a nose, surely.
      constexpr double kSurelyInto = 0.0015, kSurelyStopped = 0.004;  // m
      const double level = s.kind == ContactKind::jaw       ? -kSurelyInto
                           : s.kind == ContactKind::cushion ? -kSurelyStopped
                                                            : 0.0;
      const auto t = first_touch(leg, found.cloth, s, from - 0.02, last_seen + within, 0.0, level);
      if (t && (!first || *t < *first)) first = t, what = &s;
    }
    if (!what) {
      nearly(found, world, from, last_seen + within);
      return;
    }
    if (what->kind == ContactKind::cushion) {
      found.came_back = true;
      return;
    }
    if (what->kind == ContactKind::pocket) {
      found.pocket = what->name;
      found.pocket_time = *first;
      return;
    }
    ChainLeg next;
    next.touch.kind = Touch::Kind::surface;
    next.touch.surface = *what;
    next.leg.t = *first;
    next.leg.p = leg.at(*first, found.cloth);
    ImpactState in;
    in.at = next.leg.p;
    in.v_in = leg.velocity_at(*first, found.cloth);
    expect_after_surface(next.touch, world.impact, in, next.leg.v, next.leg.w);
    chain.legs.push_back(next);
  }
}

std::optional<Found> fell_at_once(const BallTrack& track, double radius, double mass, const World& world,
                                  const Leg& begun, const CoverMap& hidden) {
  constexpr double kOver = 0.20;                    // m before the fall line: a frame or two of a firm ball
  constexpr double kWithin = 0.2;                   // s
  constexpr double kElsewhere = 0.05, kSoon = 0.1;  // m from its place, s after it was hit: it is still on the bed
  if (track.after || !track.before || !track.before->seen()) return std::nullopt;
  if (std::any_of(track.seen.begin(), track.seen.end(), [&](const Sighting& s) {
        return s.time > begun.t + kSoon && (s.at - track.before->at).norm() > kElsewhere;
      }))
    return std::nullopt;
  Found f = set_out(track, radius, mass, world, begun);
  find_fall(f, world, begun.t, kWithin);
  if (!f.pocket || f.chain.legs.size() > 1) return std::nullopt;
  const bool over_it = std::any_of(world.surfaces.begin(), world.surfaces.end(), [&](const Surface& s) {
    return s.kind == ContactKind::pocket && s.name == *f.pocket && s.gap(begun.p) < kOver && !hidden.covered(s.centre);
  });
  return over_it ? std::optional(f) : std::nullopt;
}

std::optional<Found> fell_unseen(const BallTrack& track, double radius, double mass, const World& world,
                                 const Leg& begun, const Episode& episode, std::size_t kind) {
  constexpr double kFast = 1.5;       // m/s: slower, it would have been seen on its way
  constexpr double kFar = 1.3;        // m: further on, how it was hit tells no pocket
  constexpr double kLongAfter = 2.5;  // s: what had not fallen would have been slow enough to be seen, or have stopped
  constexpr double kAtPlace = 0.05;   // m: what a hit leaves in the cloth
  constexpr double kAtFall = 0.15;    // m: and what the pocket looks like
  constexpr double kStill = 0.01;     // m
  constexpr double kOneFrame = 0.02;  // s
  constexpr double kBeside = 0.01;    // m, beside touching: of another ball on its way
  constexpr double kStep = 0.004;     // s
  constexpr double kOfItsWay = 0.1;   // of the time it took: how fast it was sent is told by what the white lost
  if (track.after || !track.before || !track.before->seen() || episode.frame_times.empty() || begun.v.norm() < kFast)
    return std::nullopt;
  if (episode.frame_times.back() - begun.t < kLongAfter) return std::nullopt;
  Found f = set_out(track, radius, mass, world, begun);
  find_fall(f, world, begun.t, kFar / kFast);
  if (!f.pocket || f.chain.legs.size() > 1) return std::nullopt;
  const auto fall = std::find_if(world.surfaces.begin(), world.surfaces.end(), [&](const Surface& s) {
    return s.kind == ContactKind::pocket && s.name == *f.pocket;
  });
  if (fall->gap(begun.p) > kFar) return std::nullopt;
  for (double t = begun.t; t < f.pocket_time; t += kStep)
    for (const Other& o : world.others) {
      const auto there = o.at(t);
      // The ball that hit it is beside it at first.
      if (there && t > begun.t + 10 * kStep &&
          (there->first - begun.at(t, f.cloth)).norm() < radius + o.radius + kBeside)
        return std::nullopt;
    }
  // Seen since: nothing but what lies still at its place or before the pocket, or goes along with another ball, as that
  // one's shadow does; or itself, once or twice, on this way.
  const auto no_ball = [&](const Sighting& s) {
    constexpr double kShadowOf = 0.13;  // m, as in sight
    if (s.time < begun.t + kOneFrame || (s.at - begun.p).norm() < kAtPlace) return true;
    return std::any_of(world.others.begin(), world.others.end(), [&](const Other& o) {
      const auto there = o.at(s.time);
      return there && (there->first - s.at).norm() < kShadowOf;
    });
  };
  std::optional<Vec2> before_it;
  int on_its_way = 0;
  for (const Sighting& s : track.seen) {
    if (no_ball(s)) continue;
    if (s.time < f.pocket_time && (begun.at(s.time, f.cloth) - s.at).norm() < kAtPlace) {
      ++on_its_way;
      continue;
    }
    if (!before_it) before_it = s.at;
    if (fall->gap(s.at) > kAtFall || (s.at - *before_it).norm() > kStill) return std::nullopt;
  }
  constexpr int kTellsItsPath = 3;  // sightings
  if (on_its_way >= kTellsItsPath) return std::nullopt;
  constexpr int kOften = 4;
  constexpr double kLikeIt = 0.5;  // of the logarithms
  int elsewhere = 0;
  for (const Sighting& s : episode.strays)
    elsewhere +=
        s.time < begun.t + kLongAfter && fall->gap(s.at) > kAtFall && against(s, kind) < kLikeIt && !no_ball(s);
  if (elsewhere >= kOften) return std::nullopt;
  // What hides the pocket hides a ball that has stopped before it.
  const Vec2 mouth = fall->centre * (1 - 2 * radius / fall->centre.norm());
  for (const auto& [time, cover] : episode.cover)
    if (time > begun.t && time < begun.t + kLongAfter && cover.covered(mouth)) return std::nullopt;
  f.u_fall = kOfItsWay * (f.pocket_time - begun.t);
  return f;
}

bool met_unfollowed(const Found& fallen, const Episode& episode, const std::vector<Found>& all) {
  constexpr double kSentOff = 0.02;  // m between where it lay and where it lies
  constexpr double kBeside = 0.03;   // m beside touching: a path that is told badly
  constexpr double kStep = 0.004;    // s
  constexpr int kWhither = 3;        // sightings since a ball was met: they tell where it went
  if (!fallen.pocket) return false;
  const auto told = [&](const std::string& ball) {
    return std::any_of(fallen.chain.legs.begin(), fallen.chain.legs.end(), [&](const ChainLeg& l) {
      return l.touch.kind == Touch::Kind::ball && l.touch.ball == ball &&
             std::count_if(fallen.chain.seen.begin(), fallen.chain.seen.end(),
                           [&](const Seen& s) { return s.trusted && s.time > l.leg.t; }) >= kWhither;
    });
  };
  const Leg& last = fallen.chain.legs.back().leg;
  for (const BallTrack& b : episode.balls) {
    if (!b.before || !b.before->seen() || b.ball == fallen.chain.ball) continue;
    if (b.after && (b.after->at - b.before->at).norm() < kSentOff) continue;
    if (std::any_of(all.begin(), all.end(), [&](const Found& f) { return f.chain.ball == b.ball; })) continue;
    if (told(b.ball)) continue;
    for (double t = last.t; t <= fallen.pocket_time; t += kStep)
      if ((last.at(t, fallen.cloth) - b.before->at).norm() < 2 * fallen.chain.radius + kBeside) return true;
  }
  return false;
}

void settle_fall(Found& found, const World& world, double last_seen, bool seen_again) {
  constexpr double kAtTheLine = 0.03;      // m: as near as a fitted path must come to the fall line
  constexpr double kVanishesWithin = 0.1;  // s of the jaw: three frames at 30 a second
  if (seen_again || astray(found)) {
    found.pocket.reset();
    return;
  }
  const ChainLeg& last = found.chain.legs.back();
  for (const Surface& s : world.surfaces) {
    if (s.kind != ContactKind::pocket) continue;
    if (found.pocket && s.name == *found.pocket) {
      if (const auto t = first_touch(last.leg, found.cloth, s, last.leg.t, last.leg.t + 10, 0)) found.pocket_time = *t;
      if (s.gap(last.leg.at(found.pocket_time, found.cloth)) > kAtTheLine) found.pocket.reset();
    }
    const bool at_its_jaw = last.touch.kind == Touch::Kind::surface && last.touch.surface.kind == ContactKind::jaw &&
                            last.touch.surface.name == s.name && last_seen < last.leg.t + kVanishesWithin;
    if (!found.pocket && at_its_jaw && may_reach(last.leg, found.cloth, s)) {
      found.pocket = s.name;
      const double speed = std::max(last.leg.v.norm(), 0.3);
      found.pocket_time = last.leg.t + std::min(kVanishesWithin, std::max(0.0, s.gap(last.leg.p)) / speed);
    }
  }
}

}  // namespace baizetrace::path
