#include "path/explain.hpp"

#include <algorithm>
#include <cmath>

#include "path/impact.hpp"

namespace baizetrace::path {
namespace {

// A leg's place is known to about this where it breaks, m: what lies within it can have been touched.
constexpr double kReach = 0.015;
constexpr double kStride = 0.001;  // s, of the look along the leg

struct Event {
  Touch touch;
  double time = 0;
};

// Every surface and ball that the leg comes near in [from, to], once each, at the crossing or at the closest time.
std::vector<Event> near(const Leg& leg, const Touch& began, const Chain& chain, const World& world, const Cloth& cloth,
                        double from, double to) {
  std::vector<Event> out;
  const int steps = std::clamp(static_cast<int>((to - from) / kStride), 4, 400);
  const double step = (to - from) / steps;
  for (const Surface& s : world.surfaces) {
    if (s.kind == ContactKind::pocket) continue;
    const bool again = began.kind == Touch::Kind::surface && began.surface.kind == s.kind &&
                       began.surface.name == s.name && (began.surface.centre - s.centre).norm() < 1e-9;
    if (again && from - leg.t < 0.02) continue;  // it has just left it
    double best = 1e9, when = 0;
    for (int i = 0; i <= steps; ++i) {
      const double t = from + step * i;
      const Vec2 p = leg.at(t, cloth);
      const double g = s.gap(p);
      if (!s.reaches(p, s.round ? 0.4 * kReach : kReach)) continue;
      if (g <= 0) {
        if (best > 0) when = t, best = g;
        break;
      }
      if (g < best) best = g, when = t;
    }
    if (best > kReach) continue;
    // It must have come towards the surface at some time.
    if (leg.velocity_at(when, cloth).dot(s.normal(leg.at(when, cloth))) > 0.02) continue;
    Event e;
    e.touch.kind = Touch::Kind::surface;
    e.touch.surface = s;
    e.time = when;
    out.push_back(e);
  }
  // Another ball may be met where it lies or, once it moves, on its way: two different contacts.
  for (const Other& o : world.others) {
    if (!o.moved) continue;
    constexpr double kAgain = 0.05;  // s: the same two balls do not meet twice within this
    if (began.kind == Touch::Kind::ball && began.ball == o.name && from - leg.t < kAgain) continue;
    const double leaves = o.leaves();
    for (const bool lying : {true, false}) {
      double best = 1e9, when = 0;
      std::pair<Vec2, Vec2> there{Vec2::Zero(), Vec2::Zero()};
      for (int i = 0; i <= steps; ++i) {
        const double t = from + step * i;
        if ((t <= leaves) != lying) continue;
        const auto q = o.at(t);
        if (!q) continue;
        const double g = (leg.at(t, cloth) - q->first).norm() - chain.radius - o.radius;
        if (g < best) {
          best = g, when = t, there = *q;
          if (g <= 0) break;
        }
      }
      if (best > kReach) continue;
      // Balls that part have met already.
      const Vec2 apart = leg.velocity_at(when, cloth) - there.second;
      constexpr double kParting = 0.15;  // of the speed; paths that just graze neither near nor part
      if (apart.dot((leg.at(when, cloth) - there.first).normalized()) > kParting * apart.norm()) continue;
      Event e;
      e.touch.kind = Touch::Kind::ball;
      e.touch.ball = o.name;
      e.touch.radius = o.radius;
      e.touch.mass = o.mass;
      e.touch.pulled = o.track ? pulled_of(*o.track) : 0;
      e.touch.place = there.first;
      e.touch.velocity = there.second;
      e.touch.time = when;
      e.time = when;
      out.push_back(e);
    }
  }
  return out;
}

void extend(const Leg& leg, const Touch& began, const Chain& chain, const World& world, const Cloth& cloth, double from,
            double to, int depth, std::vector<Guess>& so_far, std::vector<std::vector<Guess>>& out) {
  for (const Event& e : near(leg, began, chain, world, cloth, from, to)) {
    Guess g;
    g.touch = e.touch;
    g.time = e.time;
    ImpactState in;
    in.at = leg.at(e.time, cloth);
    in.v_in = leg.velocity_at(e.time, cloth);
    if (e.touch.kind == Touch::Kind::surface) {
      expect_after_surface(e.touch, world.impact, in, g.v, g.w);
      g.v_known = true;
    }
    so_far.push_back(g);
    out.push_back(so_far);
    if (depth > 1 && g.v_known) {
      Leg next;
      next.t = e.time;
      next.p = in.at;
      next.v = g.v;
      next.w = g.w;
      extend(next, e.touch, chain, world, cloth, e.time + 1e-4, to, depth - 1, so_far, out);
    }
    so_far.pop_back();
  }
}

}  // namespace

std::vector<std::vector<Guess>> explanations(const Chain& chain, const World& world, const Cloth& cloth, double from,
                                             double to, int depth) {
  std::vector<std::vector<Guess>> out;
  std::vector<Guess> so_far;
  extend(chain.legs.back().leg, chain.legs.back().touch, chain, world, cloth, from, to, depth, so_far, out);
  return out;
}

}  // namespace baizetrace::path
