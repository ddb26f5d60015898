#include "motion/route.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "motion/roots.hpp"
#include "motion/simulator.hpp"

namespace baizetrace::motion {

namespace {
// Least of |p(t) - place| on one piece: the turning points of a quartic, found where its falling parts end.
std::pair<double, double> nearest_on(const Piece& piece, const Vec2& place) {
  const double span = piece.to - piece.from;
  const Vec2 d = piece.place - place, v = piece.velocity, h = 0.5 * piece.acceleration;
  double best_t = 0, best = d.squaredNorm();
  const auto look = [&](double t) {
    const double f = (d + t * (v + t * h)).squaredNorm();
    if (f < best) {
      best = f;
      best_t = t;
    }
  };
  look(span);
  // g = d/dt |p|^2 / 2 rises through zero at a minimum: -g is "falling through zero" there.
  const Quartic minus_g{-d.dot(v), -(v.squaredNorm() + 2 * d.dot(h)), -3 * v.dot(h), -2 * h.squaredNorm(), 0};
  double from = 0;
  for (int k = 0; k < 2; ++k) {  // a cubic has at most two such roots
    Quartic shifted{};           // the polynomial of t - from
    for (int n = 0; n < 5; ++n) {
      double binomial = 1;
      for (int m = n; m < 5; ++m) {
        shifted[static_cast<std::size_t>(n)] += minus_g[static_cast<std::size_t>(m)] * binomial * std::pow(from, m - n);
        binomial *= (m + 1.0) / (m + 1.0 - n);
      }
    }
    const double t = first_touch(shifted, span - from);
    if (t == kNever) break;
    look(from + t);
    from += t + 1e-9 * span;
    if (from >= span) break;
  }
  return {std::sqrt(best), piece.from + best_t};
}

struct Post {
  Vec2 at;
  double radius = 0;
};

// Times at which the path crosses the segment a-b strictly inside; the ball moves through, not only onto it.
std::vector<double> crossings(const BallPath& path, const Vec2& a, const Vec2& b) {
  std::vector<double> out;
  const Vec2 n = left_of((b - a).normalized());
  double side = 0;  // of the line on which the ball was last
  for (const Piece& p : path.pieces) {
    if (p.phase == Piece::Phase::rest) continue;
    const double c0 = n.dot(p.place - a), c1 = n.dot(p.velocity), c2 = 0.5 * n.dot(p.acceleration);
    if (side == 0 && std::abs(c0) > kNudge) side = c0;
    const double span = p.to - p.from;
    double roots[2];
    int count = 0;
    for (const double sign : {1.0, -1.0}) {
      const double t = first_touch(sign * c0, sign * c1, sign * c2, span);
      // On the line there, and not only turning short of it on the way to rest.
      if (t != kNever && t < span && std::abs(c0 + t * (c1 + t * c2)) < kNudge) roots[count++] = t;
    }
    if (count == 2 && roots[0] > roots[1]) std::swap(roots[0], roots[1]);
    for (int k = 0; k < count; ++k) {
      const double t = p.from + roots[k];
      const double slope = c1 + 2 * c2 * roots[k];
      if (side != 0 && slope * side > 0) continue;  // it was there already
      const Vec2 at = p.at(t);
      side = slope;
      const double along = (at - a).dot(b - a) / (b - a).squaredNorm();
      if (along > 0 && along < 1) out.push_back(t);
    }
    const double end = c0 + c1 * span + c2 * span * span;
    if (std::abs(end) > kNudge) side = end;
  }
  return out;
}

bool rests_at(const BallPath& path, double time) {
  for (const Piece& p : path.pieces)
    if (time >= p.from && time <= p.to) return p.phase == Piece::Phase::rest;
  return !path.pocket && path.pieces.empty();
}

// A ball stands between two posts when it splits their gate: abreast of the line and less than a cue ball's width off
// it.
bool splits(const Post& other, const Vec2& a, const Vec2& b, double cue_radius) {
  const double along = (other.at - a).dot(b - a) / (b - a).squaredNorm();
  const double off = std::abs(cross(b - a, other.at - a)) / (b - a).norm();
  return along > 0 && along < 1 && off < other.radius + 2 * cue_radius;
}
}  // namespace

std::vector<std::string> cushions_of(const BallPath& path) {
  std::vector<std::string> out;
  for (const Contact& c : path.contacts)
    if (c.kind == ContactKind::cushion) out.push_back(c.with);
  return out;
}

std::pair<double, double> nearest_to(const BallPath& path, const Vec2& place, double after) {
  std::pair<double, double> best{std::numeric_limits<double>::infinity(), after};
  for (Piece p : path.pieces) {
    if (p.to < after) continue;
    if (p.from < after) {
      p.place = p.at(after);
      p.velocity = p.velocity_at(after);
      p.from = after;
    }
    const auto found = nearest_on(p, place);
    if (found.first < best.first) best = found;
  }
  return best;
}

std::vector<PocketPass> nearest_pockets(const BallPath& path, const table::Table& table) {
  std::vector<PocketPass> out;
  for (const table::Pocket& p : table.pockets()) {
    const auto [distance, time] = nearest_to(path, p.fall_centre);
    const bool fell = path.pocket && *path.pocket == p.name;
    out.push_back({p.name, fell ? 0.0 : std::max(0.0, distance - p.fall_radius), fell ? path.pocket_time : time});
  }
  return out;
}

Route route_of(const Prediction& prediction, std::span<const Ball> balls, const table::Table& table,
               std::span<const GateName> named, const std::string& cue_ball) {
  Route out;
  const BallPath* cue = prediction.ball(cue_ball);
  if (!cue) return out;
  out.cushions = cushions_of(*cue);
  out.pockets = nearest_pockets(*cue, table);
  double radius = 0;
  for (const Ball& b : balls)
    if (b.name == cue_ball) radius = b.radius;
  const auto standing = [&](const std::string& name, double time) -> std::optional<Post> {
    for (const Ball& b : balls) {
      if (b.name != name || name == cue_ball) continue;
      const BallPath* path = prediction.ball(name);
      if (!path || !rests_at(*path, time)) return std::nullopt;
      return Post{path->at(time).value_or(b.place), b.radius};
    }
    return std::nullopt;
  };
  const auto add = [&](const std::string& a, const Post& pa, const std::string& b, const Post& pb, double time) {
    const Vec2 at = cue->at(time).value_or(Vec2::Zero());
    const double clearance = std::min((at - pa.at).norm() - pa.radius, (at - pb.at).norm() - pb.radius) - radius;
    out.gates.push_back({a, b, time, at, clearance});
  };

  // Where resting balls stand changes only when they are touched: between times of contact the posts stand still.
  std::vector<std::string> names;
  for (const Ball& b : balls)
    if (b.name != cue_ball) names.push_back(b.name);
  const auto places_of = [&](const std::string& name) {  // distinct resting places
    std::vector<Post> places;
    const BallPath* path = prediction.ball(name);
    double r = 0;
    for (const Ball& b : balls)
      if (b.name == name) r = b.radius;
    if (path)
      for (const Piece& p : path->pieces)
        if (p.phase == Piece::Phase::rest && (places.empty() || (places.back().at - p.place).norm() > kNudge))
          places.push_back({p.place, r});
    return places;
  };
  for (std::size_t i = 0; i < names.size(); ++i)
    for (std::size_t j = i + 1; j < names.size(); ++j)
      for (const Post& a : places_of(names[i]))
        for (const Post& b : places_of(names[j])) {
          if ((a.at - b.at).norm() >= kGateWidth) continue;
          for (const double t : crossings(*cue, a.at, b.at)) {
            const auto now_a = standing(names[i], t), now_b = standing(names[j], t);
            if (!now_a || !now_b || (now_a->at - a.at).norm() > kNudge || (now_b->at - b.at).norm() > kNudge) continue;
            const bool between = std::any_of(names.begin(), names.end(), [&](const std::string& other) {
              if (other == names[i] || other == names[j]) return false;
              const auto post = standing(other, t);
              return post && splits(*post, a.at, b.at, radius);
            });
            if (!between) add(names[i], a, names[j], b, t);
          }
        }

  const auto fixed = [&](const std::string& name, const Post* across) -> std::optional<Post> {
    if (const table::Pocket* p = table.pocket(name)) return Post{p->mouth_middle(), 0};
    for (const table::Nose& n : table.noses())
      if (n.cushion == name) {
        if (!across) return std::nullopt;
        return Post{across->at - n.inward * (across->at - n.a).dot(n.inward), 0};
      }
    const auto spot = table.spots().find(name);
    if (spot != table.spots().end()) return Post{spot->second, 0};
    return std::nullopt;
  };
  for (const GateName& gate : named) {
    const auto given = [&](const GatePass& g) {
      return (g.a == gate.first && g.b == gate.second) || (g.a == gate.second && g.b == gate.first);
    };
    if (std::any_of(out.gates.begin(), out.gates.end(), given)) continue;
    // A post that is a ball stands where it rests at the crossing; a ball that is not on the table is its spot.
    const bool ball_a = std::find(names.begin(), names.end(), gate.first) != names.end();
    const bool ball_b = std::find(names.begin(), names.end(), gate.second) != names.end();
    std::vector<Post> as = ball_a ? places_of(gate.first) : std::vector<Post>{};
    std::vector<Post> bs = ball_b ? places_of(gate.second) : std::vector<Post>{};
    if (!ball_a)
      if (const auto p = fixed(gate.first, bs.empty() ? nullptr : &bs.front())) as.push_back(*p);
    if (!ball_b)
      if (const auto p = fixed(gate.second, as.empty() ? nullptr : &as.front())) bs.push_back(*p);
    for (const Post& a : as)
      for (const Post& b : bs)
        for (const double t : crossings(*cue, a.at, b.at)) {
          const auto holds = [&](const std::string& name, const Post& p) {
            const auto now = standing(name, t);
            return now && (now->at - p.at).norm() <= kNudge;
          };
          if ((ball_a && !holds(gate.first, a)) || (ball_b && !holds(gate.second, b))) continue;
          add(gate.first, a, gate.second, b, t);
        }
  }
  std::sort(out.gates.begin(), out.gates.end(), [](const GatePass& a, const GatePass& b) { return a.time < b.time; });
  return out;
}

}  // namespace baizetrace::motion
