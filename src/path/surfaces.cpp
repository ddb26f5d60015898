#include "path/surfaces.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::path {

double Surface::gap(const Vec2& p) const {
  if (!round) return (p - a).dot(inward);
  return (p - centre).norm() - radius;
}

Vec2 Surface::normal(const Vec2& p) const {
  if (!round) return inward;
  const Vec2 d = p - centre;
  const double n = d.norm();
  return n > 1e-9 ? Vec2(d / n) : Vec2(1, 0);
}

bool Surface::reaches(const Vec2& p, double slack) const {
  if (!round) {
    const Vec2 along = (b - a).normalized();
    const double s = (p - a).dot(along);
    return s >= -slack && s <= (b - a).norm() + slack;
  }
  if (kind == ContactKind::pocket) return true;
  return normal(p).dot(middle) >= cos_half - slack / radius;
}

std::vector<Surface> surfaces_of(const table::Table& table, double ball_radius) {
  const double touch = table.touch_distance(ball_radius);
  std::vector<Surface> out;
  for (const table::Nose& n : table.noses()) {
    Surface s;
    s.kind = ContactKind::cushion;
    s.name = n.cushion;
    s.a = n.a + touch * n.inward;
    s.b = n.b + touch * n.inward;
    s.inward = n.inward;
    out.push_back(s);
  }
  for (const table::Jaw& j : table.jaws()) {
    Surface s;
    s.kind = ContactKind::jaw;
    s.name = j.pocket;
    s.round = true;
    s.centre = j.centre;
    s.radius = j.radius + touch;
    s.middle = j.middle_of_arc;
    s.cos_half = std::cos(j.half_angle);
    out.push_back(s);
  }
  for (const table::Pocket& p : table.pockets()) {
    Surface s;
    s.kind = ContactKind::pocket;
    s.name = p.name;
    s.round = true;
    s.centre = p.fall_centre;
    s.radius = p.fall_radius;
    out.push_back(s);
  }
  return out;
}

std::optional<double> first_touch(const Leg& leg, const Cloth& cloth, const Surface& s, double from, double to,
                                  double slack, double level) {
  from = std::max(from, leg.t);
  to = std::min(to, leg.rests(cloth));
  if (!(to > from)) return std::nullopt;
  // A ball covers at most this between two looks at the gap; arcs are 60 mm and more across.
  constexpr double kStride = 0.006;  // m
  double t = from;
  double g = s.gap(leg.at(t, cloth)) - level;
  while (t < to) {
    const double speed = std::max(leg.velocity_at(t, cloth).norm(), 0.01);
    const double step = std::max(kStride, 0.7 * std::max(0.0, g)) / speed;
    const double next = std::min(to, t + step);
    const double gn = s.gap(leg.at(next, cloth)) - level;
    if (gn <= 0 && gn < g) {
      double lo = t, hi = next;
      if (g > 0) {
        for (int i = 0; i < 40; ++i) {
          const double mid = 0.5 * (lo + hi);
          (s.gap(leg.at(mid, cloth)) - level > 0 ? lo : hi) = mid;
        }
      } else {
        hi = t;  // already in: it counts only while it goes deeper
      }
      if (s.reaches(leg.at(hi, cloth), slack)) return hi;
    }
    t = next;
    g = gn;
  }
  return std::nullopt;
}

}  // namespace baizetrace::path
