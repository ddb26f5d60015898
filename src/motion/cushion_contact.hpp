// A ball meets a cushion: the impulse with friction at the nose and at the cloth.
//
// The model of Mathavan, Jackson & Parkin 2010 (Proc. IMechE C 224(9) 1863): the nose touches above the ball's centre
// and presses it into the cloth, so there is Coulomb friction at both points, each against its own slip, and the slips
// turn while the impulse grows. Restitution is energetic (work given back over work put in = e^2), e by the speed
// square to the cushion. The ball does not leave the cloth. Coulomb's law is kept as it is: a slip that comes to zero
// stays there while friction can hold it, else it goes on the way that friction leaves it.
#pragma once

#include "motion/ball_contact.hpp"
#include "motion/phase.hpp"

namespace baizetrace::motion {

struct CushionReport {
  double normal_in = 0;   // m/s, square to the cushion
  double normal_out = 0;  // m/s, away from it
  int steps = 0;          // of the integration
};

// Never more; a ball that rolls in, with side or without, takes 2 to 20.
inline constexpr int kMostCushionSteps = 30;

// Requires: `outward` a unit vector in plan from the ball's centre towards the nose; the ball moves that way.
// Laws: energy never rises; mirrored input gives mirrored output; independent of the ball's mass.
// Error, as a share of the contact's speed (the greatest of the centre's and the surface's that come in), against small
// steps of the same law (tests/published), which are themselves good to some 1e-7: half of all contacts below
// kCushionTypicalError; a ball that rolls in, with side or without, and one that comes in square or nearly so, below
// kCushionError; one that spins at random, on tables far from any real one too (noses at 1.05 to 1.55 R, friction up to
// 0.4 and 0.5), below kCushionSpinError.
CushionReport hit_cushion(State& ball, double radius, double nose_height, const Vec2& outward,
                          const Conditions& conditions);

inline constexpr double kCushionTypicalError = 3e-7;
inline constexpr double kCushionError = 1.5e-6;
inline constexpr double kCushionSpinError = 5e-4;

}  // namespace baizetrace::motion
