// How a table plays: cloth, balls, cushions. Files: *.conditions.toml
#pragma once

#include <array>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "base/units.hpp"

namespace baizetrace::motion {

// Defaults: a good club cloth. Values without a published source are common practice (samples/*.conditions.toml).
struct Conditions {
  double sliding = 0.20;    // cloth friction of a sliding ball
  double rolling = 0.0085;  // rolling resistance: deceleration over g
  double spin_decay = 9.0;  // rad/s2, of spin about the vertical
  double ball_restitution = 0.95;
  std::array<double, 3> ball_friction{0.03, 0.05, 1.3};  // a + b exp(-c slip), slip in m/s
  // Energetic restitution by the speed square to the cushion (m/s): linear between the rows, the end pieces running on
  // beyond them, kept within 0 to 1.
  std::vector<std::array<double, 2>> cushion_restitution{{0.5, 0.95}, {5.0, 0.88}};
  double cushion_friction = 0.15;
  double squirt = 0.0;        // rad the ball leaves the cue's line by, away from the tip's side, per R of side
  Vec2 slope = Vec2::Zero();  // downhill, rad, along x and y; 0: level
  // Of the cloth's nap, which runs towards the top cushion, as shares of g, on a ball that rolls: `drift` draws it with
  // the nap; `side` draws one with right-hand side on it to the right of the nap, whichever way it rolls, and one with
  // left-hand side to the left: side acts the one way with the nap and the other way against it (common practice, no
  // source; the form is ours). 0: none.
  struct Nap {
    double drift = 0, side = 0;
    [[nodiscard]] bool none() const { return drift == 0 && side == 0; }
  } nap;

  [[nodiscard]] double cushion_restitution_at(double normal_speed) const;
  [[nodiscard]] double ball_friction_at(double slip) const;
  // What slope and nap can draw a rolling ball by, as a share of g; below kMostPull of `rolling`, or it never rests.
  [[nodiscard]] double strongest_pull() const;
  static constexpr double kMostPull = 0.9;
  // All faults at once, in one line: what, the value, the range.
  [[nodiscard]] Result<Done> validate() const;
};

// Reads a file strictly: an unknown key, a wrong type or a value out of range is one line with file, line and column.
[[nodiscard]] Result<Conditions> read_conditions(const std::string& file);

}  // namespace baizetrace::motion
