// Shots played by the small-step integrator and then measured badly: rows with noise, a shift that neighbouring places
// share (a registration's error), gaps, contact times that are milliseconds off. Everything from a seed.
#pragma once

#include <cmath>
#include <limits>
#include <map>
#include <string>
#include <vector>

#include "base/median.hpp"
#include "motion/simulator.hpp"
#include "practice/session.hpp"
#include "support/small_step.hpp"
#include "support/truth_looks.hpp"

namespace baizetrace::support {

// Of none: not a number, which no bound holds.
inline double median(std::vector<double> v) {
  return v.empty() ? std::numeric_limits<double>::quiet_NaN() : upper_median(v);
}

struct OracleShot {
  motion::Strike strike;            // the truth
  std::vector<motion::Ball> balls;  // where they really lay
  practice::Attempt attempt;        // as measured
  int cushions = 0;                 // the white's
  bool jaw = false;                 // the white met a jaw
  Vec2 rest = Vec2::Zero();         // the white's true one
  bool rests = false;
};

struct OracleOptions {
  double noise = 0.0007;             // m, of a row, each axis
  double shared = 0.0007;            // m, of the shift that neighbours share, each axis
  double cue = 0.010, hand = 0.002;  // m, while the cue and the hand are near, each axis; as drawn footage shows
  double every = 1.0 / 60;
};

// The shift at a place: two waves of about a metre and a half, 1 sd = `size` an axis.
inline Vec2 shared_shift(const Vec2& p, double size, std::uint64_t seed) {
  Dice d{seed * 977 + 5};
  const double a = 2 * kPi * d.uniform(), b = 2 * kPi * d.uniform(), c = 2 * kPi * d.uniform(),
               e = 2 * kPi * d.uniform();
  return size * Vec2(std::sin(4.2 * p.x() + 2.5 * p.y() + a) + std::sin(-2.1 * p.x() + 3.9 * p.y() + b),
                     std::sin(3.8 * p.y() - 3.1 * p.x() + c) + std::sin(4.4 * p.x() + 1.2 * p.y() + e));
}

inline OracleShot play_oracle(const table::Table& table, const motion::Conditions& c, const motion::Strike& strike,
                              const std::vector<motion::Ball>& balls, std::uint64_t seed, const OracleOptions& o = {}) {
  OracleShot out;
  out.strike = strike;
  out.balls = balls;
  small_step::World world(table, c);
  world.parts = 1000;
  const auto in3 = [](const Vec2& p, double z) { return small_step::V3(p.x(), p.y(), z); };
  for (std::size_t i = 0; i < balls.size(); ++i) {
    small_step::Sphere s;
    s.R = balls[i].radius;
    s.m = balls[i].mass;
    s.x = in3(balls[i].place, s.R);
    if (i == 0) {
      const motion::State q = motion::struck(strike, balls[i].place, s.R);
      s.v = in3(q.velocity, 0);
      s.w = q.spin;
    }
    world.spheres.push_back(s);
  }
  world.start();
  Dice dice{seed * 7919 + 1};
  const auto measured = [&](const Vec2& p) {
    return Vec2(p + shared_shift(p, o.shared, seed) + o.noise * Vec2(dice.normal(), dice.normal()));
  };
  const Vec2 drawn_off(dice.normal(), dice.normal());  // by what hides the ball around the strike
  practice::Attempt& a = out.attempt;
  constexpr double kBegin = 1.0;  // s, the strike in the clip
  a.number = static_cast<int>(seed);
  a.strike_time = kBegin + 0.005 * dice.normal();
  const double u = std::sqrt(o.shared * o.shared + 0.0002 * 0.0002);
  for (const motion::Ball& b : balls) {
    const Vec2 at = b.place + shared_shift(b.place, o.shared, seed) + 0.0002 * Vec2(dice.normal(), dice.normal());
    a.before[b.name] = {at, Vec2::Constant(u)};
  }
  std::vector<double> rest_time(balls.size(), -1);
  std::vector<Vec2> lay;
  for (const motion::Ball& b : balls) lay.push_back(b.place);
  constexpr double kMost = 40;    // s
  constexpr double kStep = 2e-4;  // s; free motion is exact in any step, contacts are found within it
  for (double t = o.every * dice.uniform(); t < kMost; t += o.every) {
    world.run(kStep, t);
    bool moving = false;
    for (std::size_t i = 0; i < balls.size(); ++i) {
      const auto& s = world.spheres[i];
      if (world.gone[i]) continue;
      const bool runs = s.state != small_step::Sphere::rests && s.v.norm() > 1e-6;
      moving = moving || runs;
      if (!runs) {
        if (rest_time[i] < 0 && (Vec2(s.x.head<2>()) - lay[i]).norm() > 1e-4) rest_time[i] = world.time;
        continue;
      }
      if (dice.uniform() < 0.02) continue;
      BallPath& path = a.balls[balls[i].name];
      Vec2 at = measured(s.x.head<2>());
      if (i == 0) at += (o.cue * std::exp(-world.time / 0.025) + o.hand * std::exp(-world.time / 0.12)) * drawn_off;
      path.rows.push_back({kBegin + world.time, at, true});
    }
    if (!moving) break;
  }
  const double slip = 0.003;  // s, of a contact's time
  std::vector<double> last(balls.size(), -1);
  for (const auto& h : world.log) {
    const auto add = [&](std::size_t ball, ContactKind kind, const std::string& with) {
      Contact k;
      k.time = std::max(kBegin + h.time + slip * std::clamp(dice.normal(), -2.0, 2.0), last[ball] + 1e-4);
      last[ball] = k.time;
      k.kind = kind;
      k.with = with;
      k.at = measured(world.log.empty() ? Vec2::Zero() : Vec2(h.x.head<2>()));
      k.speed_in = h.v.norm();
      k.heading_in = heading_of(h.v.head<2>());
      a.balls[balls[ball].name].contacts.push_back(k);
    };
    if (h.kind == 'b') {
      add(h.ball, ContactKind::ball, balls[h.other].name);
      add(h.other, ContactKind::ball, balls[h.ball].name);
    } else if (h.kind == 'c') {
      add(h.ball, ContactKind::cushion, table.noses()[h.other].cushion);
      if (h.ball == 0) ++out.cushions;
    } else if (h.kind == 'j') {
      add(h.ball, ContactKind::jaw, table.jaws()[h.other].pocket);
      if (h.ball == 0) out.jaw = true;
    } else {
      add(h.ball, ContactKind::pocket, table.pockets()[h.other].name);
    }
  }
  for (std::size_t i = 0; i < balls.size(); ++i) {
    const auto it = a.balls.find(balls[i].name);
    if (it == a.balls.end()) continue;
    it->second.ball = balls[i].name;
    it->second.rms = o.noise * std::sqrt(2.0);
    if (world.gone[i]) {
      it->second.pocket = it->second.contacts.back().with;
      it->second.pocket_time = it->second.contacts.back().time;
      if (i == 0) a.in_off = practice::Potted{balls[0].name, *it->second.pocket, it->second.pocket_time};
      continue;
    }
    const Vec2 at = world.spheres[i].x.head<2>();
    it->second.rest =
        Place{at + shared_shift(at, o.shared, seed) + 0.0002 * Vec2(dice.normal(), dice.normal()), Vec2::Constant(u)};
    it->second.rest_time = kBegin + rest_time[i];
    a.after[balls[i].name] = *it->second.rest;
    if (i == 0) out.rest = at, out.rests = true;
  }
  a.strike = practice::Strike{strike.speed * (1 + 0.015 * dice.normal()),
                              strike.heading + 0.004 * dice.normal(),
                              std::nullopt,
                              std::nullopt,
                              {}};
  return out;
}

// A shot drawn from `seed`: the white alone or onto a red, any tip, 1.2 to 4 m/s.
inline OracleShot random_oracle_shot(const table::Table& table, const motion::Conditions& c, std::uint64_t seed,
                                     const OracleOptions& o = {}) {
  Dice dice{seed * 104729 + 3};
  const auto within = [&](double low, double high) { return low + (high - low) * dice.uniform(); };
  motion::Ball white, red;
  white.name = "white", red.name = "red-1";
  white.place = Vec2(within(-0.6, 0.6), within(-1.3, 0.6));
  std::vector<motion::Ball> balls{white};
  motion::Strike s;
  s.speed = within(1.3, 4.0);
  s.heading = within(-kPi, kPi);
  const double off = 0.45 * std::sqrt(dice.uniform()), angle = within(0, 2 * kPi);
  s.right = off * std::cos(angle);
  s.height = off * std::sin(angle);
  s.elevation = radians(within(2, 4.5));
  if (dice.uniform() < 0.6) {
    const double far = within(0.3, 1.0);
    const double bearing = within(-0.8, 0.8);
    red.place = white.place + far * along_heading(bearing);
    // A hit from a quarter to three quarters, either side.
    const double side = within(0.25, 0.75) * (dice.uniform() < 0.5 ? -1 : 1);
    s.heading = bearing + std::asin(side * 2 * red.radius / far);
    if (std::abs(red.place.x()) < 0.8 && std::abs(red.place.y()) < 1.7) balls.push_back(red);
  }
  return play_oracle(table, c, s, balls, seed, o);
}

}  // namespace baizetrace::support
