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

// Ball radii off centre. Common practice, no source: a tip slips off beyond about half the radius; a tenth more is let
// through, because good chalk holds there and strikes read off a video have an error.
inline constexpr double kMiscue = 0.55;
inline constexpr double kFastestStrike = 15;  // m/s; professional peak is 8-9, common practice
inline constexpr double kSteepest = 80.0;     // degrees of elevation

// All faults in one line: what, the value, the range.
[[nodiscard]] Result<Done> validate(const Strike& strike);

// Velocity and spin the strike gives a ball at rest at `place`. The spin is that of an impulse through the tip's place,
// along the ball's heading and down with the cue (Coriolis 1835); its part along the heading (side with an elevated
// cue) is what makes a ball swerve.
[[nodiscard]] State struck(const Strike& strike, const Vec2& place, double radius);

// Where the cue points: squirt turns the ball away from the tip's side.
[[nodiscard]] double cue_heading(const Strike& strike, const Conditions& conditions);

}  // namespace baizetrace::motion
