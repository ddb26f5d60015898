// A ball meets a cushion: the impulse with friction at the nose and at the cloth.
//
// The model of Mathavan, Jackson & Parkin 2010 (Proc. IMechE C 224(9) 1863): the nose touches above the ball's centre
// and presses it into the cloth, so there is Coulomb friction at both points, each against its own slip, and the slips
// turn while the impulse grows. Restitution is energetic (work given back over work put in = e^2), e by the speed
// square to the cushion. The ball does not leave the cloth. The impulse is integrated by Runge-Kutta steps, some 20 as
// a rule. Coulomb's law jumps where a slip passes zero; it is smoothed there over kSmoothing of the contact's own
// speed.
#pragma once

#include "motion/ball_contact.hpp"
#include "motion/phase.hpp"

namespace baizetrace::motion {

struct CushionReport {
  double normal_in = 0;   // m/s, square to the cushion
  double normal_out = 0;  // m/s, away from it
  int steps = 0;
};

// Requires: `outward` a unit vector in plan from the ball's centre towards the nose; the ball moves that way.
// Laws: energy never rises; mirrored input gives mirrored output; independent of the ball's mass.
// Error, of the contact's speed, against 100,000 small steps (tests/motion): below kCushionError with the same
// smoothing, below kCoulombError without any.
CushionReport hit_cushion(State& ball, double radius, double nose_height, const Vec2& outward,
                          const Conditions& conditions);

inline constexpr double kSmoothing = 0.002;  // of the greatest of the speeds that come in (centre's and surface's)
inline constexpr double kCushionError = 1e-3;
inline constexpr double kCoulombError = 3e-3;

}  // namespace baizetrace::motion
