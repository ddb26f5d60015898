// What the cue gave the ball.
#pragma once

#include <string>

#include "base/error.hpp"
#include "motion/phase.hpp"

namespace baizetrace::motion {

// `speed` and `heading` are the ball's centre's just after the tip leaves. `right` and `height`: offset of the cue's
// axis from the ball's centre, square to the cue, in ball radii.
struct Strike {
  double speed = 0;                 // m/s
  double heading = 0;               // rad, from +y clockwise
  double right = 0, height = 0;     // ball radii
  double elevation = radians(3.0);  // rad; 2-4 degrees is common practice, no source
};

inline constexpr double kMiscue = 0.5;        // ball radii off centre; common practice, no source
inline constexpr double kFastestStrike = 15;  // m/s; professional peak is 8-9, common practice
inline constexpr double kSteepest = 80.0;     // degrees of elevation

// All faults in one line: what, the value, the range.
[[nodiscard]] Result<Done> validate(const Strike& strike);

// Velocity and spin the strike gives a ball at rest at `place`. The spin is that of an impulse along the cue through
// the tip's place (Coriolis 1835); its part along the heading (side with an elevated cue) is what makes a ball swerve.
[[nodiscard]] State struck(const Strike& strike, const Vec2& place, double radius, const Conditions& conditions);

// The ball's heading for a cue along `cue_heading`: squirt turns it away from the tip's side.
[[nodiscard]] double heading_of_ball(double cue_heading, double right, const Conditions& conditions);

}  // namespace baizetrace::motion
