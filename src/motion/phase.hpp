// Free motion of one ball on the cloth: slide, roll, rest; exact polynomials.
//
// Slide: a = -mu g u/|u| with u = v + w x (-R z), the velocity of the point that touches the cloth. u keeps its
// direction and falls at 7/2 mu g, so a slide lasts 2|u| / (7 mu g) and its path is a parabola. Roll: v falls at
// mu_r g in a straight line. Spin about the vertical falls at its own constant rate, at rest too. (Any mechanics text;
// Coriolis 1835.)
#pragma once

#include "base/path.hpp"
#include "base/units.hpp"
#include "motion/conditions.hpp"

namespace baizetrace::motion {

// A ball that another one's surface has lifted is off the cloth for a moment: a slide without friction until it lands.
// Landing it presses the cloth, rebounds with kClothRebound of its speed and rubs by sliding times the impulse; a
// rebound too slow to leave the nap ends it.

// A ball's motion at one instant.
struct State {
  Vec2 place = Vec2::Zero();     // m
  Vec2 velocity = Vec2::Zero();  // m/s
  Vec3 spin = Vec3::Zero();      // rad/s
  double lift = 0;               // m/s, vertical; 0: on the cloth
};

// Velocity of the point that touches the cloth.
inline Vec2 cloth_slip(const State& s, double radius) {
  return {s.velocity.x() - radius * s.spin.y(), s.velocity.y() + radius * s.spin.x()};
}

// Energy of motion over mass, J/kg.
inline double energy_over_mass(const State& s, double radius) {
  return 0.5 * (s.velocity.squaredNorm() + s.lift * s.lift) + 0.2 * radius * radius * s.spin.squaredNorm();
}

// A ball's motion from an instant until it changes by itself (to) or something touches it.
struct Motion {
  double from = 0;  // s
  double to = 0;    // s, when the phase ends by itself; kNever at rest
  Piece::Phase phase = Piece::Phase::rest;
  State start;
  Vec2 acceleration = Vec2::Zero();  // m/s2
  Vec2 spin_rate = Vec2::Zero();     // rad/s2, of the horizontal spin
  double spin_decay = 0;             // rad/s2, of |vertical spin|

  [[nodiscard]] Vec2 place_at(double t) const {
    const double dt = t - from;
    return start.place + dt * (start.velocity + 0.5 * dt * acceleration);
  }
  [[nodiscard]] Vec2 velocity_at(double t) const { return start.velocity + (t - from) * acceleration; }
  [[nodiscard]] State at(double t) const;
};

// How a ball moves on from `s` at `time` if nothing touches it. Slip and speed below kStill count as none.
[[nodiscard]] Motion move_freely(const State& s, double radius, double time, const Conditions& conditions);

// The motion after `m` has run out at m.to: exactly rolling after a slide, exactly at rest after a roll.
[[nodiscard]] Motion next_phase(const Motion& m, double radius, const Conditions& conditions);

// A ball lands after 2 lift / g, less than a tenth of a second, and rises a millimetre at most: in plan it flies
// straight. Values read off the hops in the truth of drawn footage; rubber-backed cloth on slate, common practice has
// none.
inline constexpr double kClothRebound = 0.45;
// m/s: a rebound slower than the first stays in the nap (it would rise 0.04 mm), one faster than the second flies with
// all of its speed, between them with a share: the outcome does not jump.
inline constexpr double kRebounds[2] = {0.0272, 0.0294};

inline constexpr double kStill = 1e-9;  // m/s: far below anything seen, far above the rounding of 10 m/s
// s: slides and rolls on a bed that slopes, and rolls over a nap, are cut into pieces this long, each with its friction
// along the direction in its middle; of second order: below 1e-5 of place and time over metres (tests/published).
inline constexpr double kSlopedPiece = 0.02;

}  // namespace baizetrace::motion
