#include "motion/phase.hpp"

#include <algorithm>
#include <cmath>

#include "motion/roots.hpp"

namespace baizetrace::motion {

State Motion::at(double t) const {
  const double dt = t - from;
  State s;
  s.place = place_at(t);
  s.velocity = velocity_at(t);
  s.spin.head<2>() = start.spin.head<2>() + dt * spin_rate;
  s.spin.z() = std::copysign(std::max(0.0, std::abs(start.spin.z()) - spin_decay * dt), start.spin.z());
  return s;
}

namespace {
constexpr double kNoSpin = 1e-9;  // rad/s: below, rounding where spin about the vertical has just run out

// m/s2: what slope and nap draw a rolling ball by. A sphere that rolls takes 5/7 of a slope's pull (any mechanics
// text).
Vec2 pull_of_roll(const State& s, const Conditions& c) {
  const double way = std::abs(s.spin.z()) > kNoSpin ? std::copysign(1.0, s.spin.z()) : 0.0;
  return kGravity * (5.0 / 7.0 * c.slope + Vec2(way * c.nap.side, c.nap.drift));
}

Motion roll_or_rest(State s, double radius, double time, const Conditions& c) {
  Motion m;
  m.from = time;
  m.spin_decay = c.spin_decay;
  const double speed = s.velocity.norm();
  if (speed < kStill) {
    s.velocity.setZero();
    s.spin.head<2>().setZero();
    m.to = kNever;
    m.start = s;
    return m;
  }
  s.spin.head<2>() = Vec2(-s.velocity.y(), s.velocity.x()) / radius;
  m.phase = Piece::Phase::roll;
  m.start = s;
  const Vec2 pull = pull_of_roll(s, c);
  m.acceleration = -(c.rolling * kGravity / speed) * s.velocity + pull;
  m.spin_rate = Vec2(-m.acceleration.y(), m.acceleration.x()) / radius;
  if (pull == Vec2::Zero()) {
    m.to = time + speed / (c.rolling * kGravity);
  } else {
    // Towards rest the piece ends where its speed along its first direction would be used up.
    const double slowing = -m.acceleration.dot(s.velocity) / speed;
    double span = std::min(kSlopedPiece, slowing > 0 ? speed / slowing : kSlopedPiece);
    // The nap's pull across ends with the spin.
    if (c.nap.side != 0 && std::abs(s.spin.z()) > kNoSpin) span = std::min(span, std::abs(s.spin.z()) / c.spin_decay);
    m.to = time + span;
    // The resistance along the direction in the piece's middle.
    const Vec2 middle = s.velocity + 0.5 * span * m.acceleration;
    if (middle.norm() > 0.1 * speed) m.acceleration = -(c.rolling * kGravity / middle.norm()) * middle + pull;
    m.spin_rate = Vec2(-m.acceleration.y(), m.acceleration.x()) / radius;
  }
  return m;
}

// A ball that comes down at `speed`.
State landed(State s, double speed, double radius, const Conditions& c) {
  const Vec2 slip = cloth_slip(s, radius);
  const double u = slip.norm();
  if (u > 0) {
    // Over its mass; no more than stops the slip.
    const double rub = std::min(c.sliding * (1 + kClothRebound) * speed, 2.0 / 7.0 * u);
    const Vec2 along = slip / u;
    s.velocity -= rub * along;
    s.spin.head<2>() += (2.5 * rub / radius) * left_of(along);
  }
  const double rebound = kClothRebound * speed;
  s.lift = rebound * std::clamp((rebound - kRebounds[0]) / (kRebounds[1] - kRebounds[0]), 0.0, 1.0);
  return s;
}
}  // namespace

Motion move_freely(const State& s, double radius, double time, const Conditions& c) {
  if (s.lift > kStill) {
    Motion m;
    m.from = time;
    m.to = time + 2.0 * s.lift / kGravity;
    m.phase = Piece::Phase::slide;  // without friction
    m.start = s;
    return m;
  }
  const Vec2 slip = cloth_slip(s, radius);
  const double u = slip.norm();
  if (u < kStill) return roll_or_rest(s, radius, time, c);
  Motion m;
  m.from = time;
  m.to = time + 2.0 * u / (7.0 * c.sliding * kGravity);
  m.phase = Piece::Phase::slide;
  m.start = s;
  m.spin_decay = c.spin_decay;
  Vec2 along = slip / u;
  if (c.slope != Vec2::Zero()) {
    // The slope turns the slip and draws it out: pieces, each with the friction of its middle.
    const Vec2 pull = kGravity * c.slope;
    const double falling = 3.5 * c.sliding * kGravity - pull.dot(along);
    const double span = std::min(kSlopedPiece, u / falling);
    m.to = time + span;
    const Vec2 middle = slip + 0.5 * span * (pull - 3.5 * c.sliding * kGravity * along);
    if (middle.norm() > 0) along = middle.normalized();
  }
  m.acceleration = -c.sliding * kGravity * along + kGravity * c.slope;
  m.spin_rate = (2.5 * c.sliding * kGravity / radius) * left_of(along);
  return m;
}

Motion next_phase(const Motion& m, double radius, const Conditions& c) {
  State s = m.at(m.to);
  if (m.start.lift > kStill) return move_freely(landed(s, m.start.lift, radius, c), radius, m.to, c);
  // A slide over a slope goes on while there is slip to speak of.
  constexpr double kSlipLeft = 1e-6;  // m/s: the last piece's own error
  if (m.phase == Piece::Phase::slide && c.slope != Vec2::Zero() && cloth_slip(s, radius).norm() > kSlipLeft)
    return move_freely(s, radius, m.to, c);
  if (m.phase == Piece::Phase::roll &&
      (pull_of_roll(m.start, c) == Vec2::Zero() || s.velocity.dot(m.start.velocity) <= kStill))
    s.velocity.setZero();
  return roll_or_rest(s, radius, m.to, c);
}

}  // namespace baizetrace::motion
