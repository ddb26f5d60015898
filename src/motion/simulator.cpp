#include "motion/simulator.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>

#include "motion/cushion_contact.hpp"
#include "motion/roots.hpp"

namespace baizetrace::motion {

Ground::Ground(const table::Table& table) : nose_height(table.nose_height()) {
  cushions = {"left", "right", "baulk", "top"};
  const std::array<std::pair<int, double>, 4> way{{{0, -1.0}, {0, 1.0}, {1, -1.0}, {1, 1.0}}};
  for (std::size_t k = 0; k < 4; ++k) {
    Side& s = sides[k];
    s.axis = way[k].first;
    s.sign = way[k].second;
    s.nose = s.axis == 0 ? table.half_width() : table.half_length();
    s.cushion = k;
    for (const table::Nose& n : table.noses()) {
      if (n.cushion != cushions[k]) continue;
      const double a = n.a[1 - s.axis], b = n.b[1 - s.axis];
      s.spans.push_back({std::min(a, b), std::max(a, b)});
    }
  }
  deepest_fall = -1;
  for (const table::Pocket& p : table.pockets()) {
    Pocket q{p.fall_centre, p.fall_radius, Vec2::Zero(), {0, 0}};
    q.sign.x() = p.name.ends_with("left") ? -1 : 1;
    q.sign.y() = p.name.starts_with("middle") ? 0 : p.name.starts_with("baulk") ? -1 : 1;
    std::size_t found = 0;
    for (const table::Jaw& j : table.jaws()) {
      if (j.pocket != p.name || found == 2) continue;
      q.jaws[found++] = jaws.size();
      jaws.push_back({j.centre, j.radius, pockets.size()});
    }
    // Nearest approach of the fall circle to the inside of the noses' lines, along the worst direction.
    const Vec2 toward = q.sign.normalized();
    const Vec2 nearest = p.fall_centre - p.fall_radius * toward;
    double reach = table.half_width() - std::abs(nearest.x());
    if (q.sign.y() != 0) reach = std::min(reach, table.half_length() - std::abs(nearest.y()));
    deepest_fall = std::max(deepest_fall, reach);
    pockets.push_back(q);
    pocket_names.push_back(p.name);
  }
}

Simulator::Simulator(const table::Table& table, Conditions conditions)
    : ground_(table), conditions_(std::move(conditions)) {}

void Simulator::close_piece(std::size_t i, double time) {
  const Motion& m = balls_[i].motion;
  if (!(time > m.from)) return;
  pieces_[i].push_back({m.from, time, m.phase, m.start.place, m.start.velocity, m.acceleration, true});
}

void Simulator::set_motion(std::size_t i, const State& s, double time) {
  Moving& b = balls_[i];
  close_piece(i, time);
  const bool moved = b.motion.phase != Piece::Phase::rest;
  b.motion = move_freely(s, b.body.radius, time, conditions_);
  if (moved && b.motion.phase == Piece::Phase::rest) b.rest_time = time;
}

void Simulator::look_in_pocket(Moving& b, std::size_t k, double now, double& span) const {
  const Ground::Pocket& p = ground_.pockets[k];
  const Vec2 at = b.motion.place_at(now), v = b.motion.velocity_at(now), h = 0.5 * b.motion.acceleration;
  const auto circle = [&](const Vec2& centre, double radius) {
    const Vec2 d = at - centre;
    return first_touch(Quartic{d.squaredNorm() - radius * radius, 2 * d.dot(v), v.squaredNorm() + 2 * d.dot(h),
                               2 * v.dot(h), h.squaredNorm()},
                       span);
  };
  const auto take = [&](double t, Next what, std::size_t with) {
    if (t > span || t == kNever || now + t >= b.next) return;
    span = t;
    b.next = now + t;
    b.what = what;
    b.with = with;
  };
  take(circle(p.fall_centre, p.fall_radius), Next::pocket, k);
  for (const std::size_t j : p.jaws)
    take(circle(ground_.jaws[j].centre, ground_.jaws[j].radius + b.touch), Next::jaw, j);
  // Behind the jaws, past the fall's middle: nothing there brings a ball back.
  for (int axis = 0; axis < 2; ++axis) {
    const double sign = p.sign[axis];
    if (sign == 0) continue;
    take(first_touch(sign * (p.fall_centre[axis] - at[axis]), -sign * v[axis], -sign * h[axis], span), Next::pocket, k);
  }
}

void Simulator::find_own(Moving& b, double now) const {
  b.next = b.motion.to;
  b.what = Next::phase;
  if (b.motion.phase == Piece::Phase::rest) {
    b.next = kNever;
    return;
  }
  double span = b.motion.to - now;
  const Vec2 at = b.motion.place_at(now), v = b.motion.velocity_at(now), h = 0.5 * b.motion.acceleration;
  std::array<bool, 6> pocket{};
  bool any = false;
  const auto mouth = [&](const Vec2& where) {  // the pocket whose mouth this is
    for (std::size_t k = 0; k < ground_.pockets.size(); ++k) {
      const Vec2& s = ground_.pockets[k].sign;
      const bool along = s.y() == 0 ? std::abs(where.y()) < 0.5 * ground_.sides[3].nose
                                    : where.y() * s.y() >= 0.5 * ground_.sides[3].nose;
      if (where.x() * s.x() > 0 && along) {
        pocket[k] = true;
        any = true;
      }
    }
  };
  bool outside = false;
  for (std::size_t k = 0; k < 4; ++k) {
    const Ground::Side& side = ground_.sides[k];
    const double gap = side.nose - b.touch - side.sign * at[side.axis];
    if (gap < -kNudge) outside = true;
    const double closing = -side.sign * v[side.axis], bend = -side.sign * h[side.axis];
    // Never there: the least of the gap over the span (its Bezier points) stays positive.
    if (gap > 0 && gap + 0.5 * closing * span > 0 && gap + closing * span + bend * span * span > 0) continue;
    const double t = first_touch(gap, closing, bend, span);
    if (t == kNever) continue;
    const Vec2 where = at + t * (v + t * h);
    const double along = where[1 - side.axis];
    bool straight = false;
    for (const auto& s : side.spans) straight = straight || (along >= s[0] && along <= s[1]);
    if (straight) {
      if (now + t < b.next) {
        b.next = now + t;
        b.what = Next::cushion;
        b.with = k;
      }
    } else {
      mouth(where);
    }
  }
  if (outside) mouth(at);
  if (ground_.deepest_fall > b.touch) {
    pocket.fill(true);
    any = true;
  }
  if (!any) return;
  span = b.next - now;
  for (std::size_t k = 0; k < ground_.pockets.size(); ++k)
    if (pocket[k]) look_in_pocket(b, k, now, span);
}

double Simulator::meeting(const Moving& a, const Moving& b, double now) const {
  const bool a_rests = a.motion.phase == Piece::Phase::rest, b_rests = b.motion.phase == Piece::Phase::rest;
  if (a_rests && b_rests) return kNever;
  const double span = std::min(a.next, b.next) - now;
  const double reach = touching_distance(a.body.radius, b.body.radius);
  Vec2 d, v, h;
  if (b_rests) {
    d = a.motion.place_at(now) - b.motion.start.place;
    v = a.motion.velocity_at(now);
    h = 0.5 * a.motion.acceleration;
  } else if (a_rests) {
    d = b.motion.place_at(now) - a.motion.start.place;
    v = b.motion.velocity_at(now);
    h = 0.5 * b.motion.acceleration;
  } else {
    d = a.motion.place_at(now) - b.motion.place_at(now);
    v = a.motion.velocity_at(now) - b.motion.velocity_at(now);
    h = 0.5 * (a.motion.acceleration - b.motion.acceleration);
  }
  // Never there: what is left of the distance along the line between the centres now (its Bezier points, times the
  // distance now) stays greater than the reach.
  const double apart = d.squaredNorm(), closing = d.dot(v), bend = d.dot(h);
  const double least = std::min({apart, apart + 0.5 * closing * span, apart + (closing + bend * span) * span});
  if (least > 0 && least * least > reach * reach * apart) return kNever;
  const double t = first_touch(
      Quartic{apart - reach * reach, 2 * closing, v.squaredNorm() + 2 * bend, 2 * v.dot(h), h.squaredNorm()}, span);
  return now + t;
}

void Simulator::find_first(std::size_t row) {
  const std::size_t n = balls_.size();
  First& first = firsts_[row] = {kNever, n};
  for (std::size_t j = row + 1; j < n; ++j)
    if (const double time = pairs_[row * n + j]; time < first.time) first = {time, j};
}

void Simulator::set_pair(std::size_t row, std::size_t j, double time) {
  pairs_[row * balls_.size() + j] = time;
  First& first = firsts_[row];
  if (time < first.time || (time == first.time && j < first.with))
    first = {time, j};
  else if (j == first.with && time > first.time)
    find_first(row);
}

void Simulator::find_pairs(std::size_t i, double now) {
  const std::size_t n = balls_.size();
  const auto time = [&](std::size_t j) {
    return balls_[i].fell || balls_[j].fell ? kNever : meeting(balls_[i], balls_[j], now);
  };
  for (std::size_t j = 0; j < i; ++j) set_pair(j, i, time(j));
  for (std::size_t j = i + 1; j < n; ++j) pairs_[i * n + j] = time(j);
  find_first(i);
}

void Simulator::kick(std::size_t event, State& after) const {
  for (const Kick& k : kicks_) {
    if (k.event != event) continue;
    const double c = std::cos(k.turn), s = std::sin(k.turn), x = after.velocity.x(), y = after.velocity.y();
    after.spin.head<2>() *= 1 + k.spin;
    after.velocity = (1 + k.stretch) * Vec2(c * x + s * y, c * y - s * x);
  }
}

void Simulator::meet_side(std::size_t i, double now) {
  Moving& b = balls_[i];
  const State before = b.motion.at(now);
  State after = before;
  const bool jaw = b.what == Next::jaw;
  std::size_t with;
  Vec2 outward;
  if (jaw) {
    outward = (ground_.jaws[b.with].centre - before.place).normalized();
    with = ground_.jaws[b.with].pocket;
  } else {
    const Ground::Side& side = ground_.sides[b.with];
    outward = Vec2::Zero();
    outward[side.axis] = side.sign;
    with = side.cushion;
  }
  const double closing = before.velocity.dot(outward);
  hit_cushion(after, b.body.radius, ground_.nose_height, outward, conditions_);
  if (closing < kPressed) {
    after.place -= kNudge * outward;
    if (closing > 0) after.velocity -= std::max(0.0, after.velocity.dot(outward)) * outward;
  }
  kick(events_.size(), after);
  events_.push_back({now, jaw ? ContactKind::jaw : ContactKind::cushion, i, with, before.place, before.velocity,
                     after.velocity, before, after});
  set_motion(i, after, now);
  find_own(b, now);
  find_pairs(i, now);
}

void Simulator::meet_balls(std::size_t i, std::size_t j, double now) {
  // Contacts of this very instant that share a ball with this one and close equally fast are taken together; of the
  // others the fastest goes first. So the order in which balls were given never matters.
  constexpr double kSameTime = 1e-12;  // s
  constexpr double kSameSpeed = 1e-9;  // relative
  const std::size_t n = balls_.size();
  const auto closing = [&](std::size_t a, std::size_t b) {
    const Vec2 along = (balls_[b].motion.place_at(now) - balls_[a].motion.place_at(now)).normalized();
    return (balls_[a].motion.velocity_at(now) - balls_[b].motion.velocity_at(now)).dot(along);
  };
  std::vector<Touch> at_once;
  for (std::size_t a = 0; a < n; ++a) {
    if (firsts_[a].time > now + kSameTime) continue;
    for (std::size_t b = a + 1; b < n; ++b)
      if (pairs_[a * n + b] <= now + kSameTime) at_once.push_back({a, b});
  }
  Touch first{i, j};
  double fastest = closing(i, j);
  if (at_once.size() > 1) {
    for (const Touch& t : at_once)
      if (const double c = closing(t.a, t.b); c > fastest * (1 + kSameSpeed)) {
        fastest = c;
        first = t;
      }
  }
  std::vector<Touch> group{first};
  if (at_once.size() > 1 && fastest > kPressed) {
    for (bool grown = true; grown;) {
      grown = false;
      for (const Touch& t : at_once) {
        const auto same = [&](const Touch& g) { return g.a == t.a && g.b == t.b; };
        const auto shares = [&](const Touch& g) { return g.a == t.a || g.a == t.b || g.b == t.a || g.b == t.b; };
        if (std::any_of(group.begin(), group.end(), same) || std::none_of(group.begin(), group.end(), shares)) continue;
        if (std::abs(closing(t.a, t.b) - fastest) > kSameSpeed * fastest) continue;
        group.push_back(t);
        grown = true;
      }
    }
  }
  std::vector<std::size_t> who;
  std::vector<State> before;
  std::vector<Body> bodies;
  const auto index = [&](std::size_t ball) {
    const auto found = std::find(who.begin(), who.end(), ball);
    if (found != who.end()) return static_cast<std::size_t>(found - who.begin());
    who.push_back(ball);
    before.push_back(balls_[ball].motion.at(now));
    bodies.push_back(balls_[ball].body);
    return who.size() - 1;
  };
  std::vector<Touch> local;
  for (const Touch& t : group) {
    const std::size_t a = index(t.a), b = index(t.b);
    local.push_back({a, b});
  }
  std::vector<State> after = before;
  collide_together(after, bodies, local, conditions_);
  if (fastest < kPressed) {
    const Vec2 apart = (after[1].place - after[0].place).normalized();
    after[0].place -= 0.5 * kNudge * apart;
    after[1].place += 0.5 * kNudge * apart;
    const double still = (after[0].velocity - after[1].velocity).dot(apart);
    if (still > 0) {
      const double share = bodies[1].mass / (bodies[0].mass + bodies[1].mass);
      after[0].velocity -= share * still * apart;
      after[1].velocity += (1 - share) * still * apart;
    }
  }
  if (who.size() == 2)
    for (std::size_t k = 0; k < 2; ++k) kick(events_.size() + k, after[k]);
  for (const Touch& t : local) {
    for (const auto& [me, other] : {std::pair(t.a, t.b), std::pair(t.b, t.a)})
      events_.push_back({now, ContactKind::ball, who[me], who[other], before[me].place, before[me].velocity,
                         after[me].velocity, before[me], after[me]});
  }
  for (std::size_t k = 0; k < who.size(); ++k) {
    set_motion(who[k], after[k], now);
    find_own(balls_[who[k]], now);
  }
  for (const std::size_t k : who) find_pairs(k, now);
}

bool Simulator::run(std::span<const Body> bodies, std::span<const State> start, int most_events) {
  assert(bodies.size() == start.size());
  const std::size_t n = bodies.size();
  balls_.assign(n, {});
  pairs_.assign(n * n, kNever);
  firsts_.assign(n, {kNever, n});
  pieces_.resize(std::max(pieces_.size(), n));
  for (auto& p : pieces_) p.clear();
  events_.clear();
  steps_ = 0;
  total_time_ = 0;
  for (std::size_t i = 0; i < n; ++i) {
    Moving& b = balls_[i];
    b.body = bodies[i];
    const double up = ground_.nose_height - b.body.radius;
    b.touch = std::sqrt(std::max(0.0, b.body.radius * b.body.radius - up * up));
    b.motion = move_freely(start[i], b.body.radius, 0.0, conditions_);
    find_own(b, 0.0);
  }
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = i + 1; j < n; ++j) pairs_[i * n + j] = meeting(balls_[i], balls_[j], 0.0);
    find_first(i);
  }

  double now = 0;
  bool complete = true;
  while (true) {
    double next = kNever;
    std::size_t who = 0, other = n;
    for (std::size_t i = 0; i < n; ++i)
      if (balls_[i].next < next) {
        next = balls_[i].next;
        who = i;
      }
    for (std::size_t i = 0; i < n; ++i)
      if (firsts_[i].time < next || (firsts_[i].time == next && other == n)) {
        next = firsts_[i].time;
        who = i;
        other = firsts_[i].with;
      }
    if (next == kNever) break;
    if (steps_ >= most_events) {
      complete = false;
      break;
    }
    ++steps_;
    now = std::max(now, next);
    if (other != n) {
      meet_balls(who, other, now);
      continue;
    }
    Moving& b = balls_[who];
    switch (b.what) {
      case Next::phase: {
        close_piece(who, now);
        b.motion = next_phase(b.motion, b.body.radius, conditions_);
        b.motion.from = now;
        if (b.motion.phase == Piece::Phase::rest) b.rest_time = now;
        find_own(b, now);
        find_pairs(who, now);
        break;
      }
      case Next::cushion:
      case Next::jaw:
        meet_side(who, now);
        break;
      case Next::pocket: {
        const State s = b.motion.at(now);
        events_.push_back({now, ContactKind::pocket, who, b.with, s.place, s.velocity, s.velocity, s, s});
        close_piece(who, now);
        b.fell = true;
        b.motion = Motion{};
        b.motion.from = now;
        b.motion.start.place = s.place;
        b.rest_time = now;
        b.next = kNever;
        find_pairs(who, now);
        break;
      }
    }
  }
  total_time_ = now;
  for (std::size_t i = 0; i < n; ++i)
    if (!balls_[i].fell) close_piece(i, now);
  return complete;
}

}  // namespace baizetrace::motion
