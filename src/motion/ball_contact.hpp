// Two balls meet: restitution along the line of centres, Coulomb friction across it from the slip of the surfaces.
//
// The friction coefficient falls with slip, a + b exp(-c slip), and follows the slip while the impulse brings it down;
// the sum has a closed form. Friction also acts up and down (a rolling ball climbs
// on the other): the ball that it lifts hops (phase.hpp), the one that it presses down is held by the cloth at once.
// Balls of different radii touch at 2 sqrt(R1 R2) in plan; the tilt of their line of centres ((R1 - R2) / (R1 + R2), 3
// % for a small English cue ball) is neglected.
#pragma once

#include <span>

#include "motion/phase.hpp"

namespace baizetrace::motion {

struct Body {
  double radius = 0, mass = 0;
};

// Restitution of a contact closing at `speed`. Below kQuiet it rises to 1, so that balls pressed together bounce
// by less than a micrometre instead of ever faster and ever smaller; no energy is added.
[[nodiscard]] double quiet_restitution(double restitution, double speed);
inline constexpr double kQuiet = 1e-3;  // m/s

// Distance of the centres in plan at which two balls touch.
[[nodiscard]] double touching_distance(double radius_a, double radius_b);

// Laws: momentum is kept; energy never rises; swapping the two balls swaps the results.
void collide(State& a, const Body& body_a, State& b, const Body& body_b, const Conditions& conditions);

// Several contacts closing at the same instant at the same speed and sharing a ball (a symmetric break): solved
// together, so that the result does not depend on their order. Indices into `states`.
struct Touch {
  std::size_t a = 0, b = 0;
};
void collide_together(std::span<State> states, std::span<const Body> bodies, std::span<const Touch> touches,
                      const Conditions& conditions);

}  // namespace baizetrace::motion
