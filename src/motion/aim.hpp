// Where to aim: the heading that pots a ball or meets it with a given fullness, throw and swerve included.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "motion/motion.hpp"

namespace baizetrace::motion {

struct PotAim {
  std::string ball, pocket;
  std::string first;              // a plant: the ball to meet first; empty: `ball` itself
  std::vector<std::string> bank;  // a double: the cushions that `ball` takes on its way
};

struct OntoAim {
  std::string ball;
  double fullness = 1;      // share of the ball covered, seen along the cue ball's path: 1 full, 0.5 half, 0 a miss
  bool on_its_left = true;  // the side of the object ball that is hit, as the player sees it
};

// What an aim comes to at the first ball.
struct Aimed {
  double heading = 0;  // rad, the cue ball's heading as it leaves the tip
  bool pots = false;
  double fullness = 0;     // at the contact with the first ball
  double cut = 0;          // rad, of the line of centres off the cue ball's path, 0 full; sine = 1 - fullness
  bool hits_left = false;  // that ball's left side, as the player sees it
  // For a pot: how far the heading may be turned either way, with everything else the same, and it still falls, rad.
  double thicker = 0, thinner = 0;
  double distance = 0;  // m the cue ball runs to the contact
};

// `strike.heading` is not used. Errors: bad input as in simulate(); no ball or pocket of that name; the way to the ball
// is blocked (names the ball that is in the way); no heading meets the ball, or sends it towards the pocket.
// A pot that the geometry allows but that does not fall (too fast for the pocket's jaws) comes back with pots = false.
[[nodiscard]] Result<Aimed> aim_pot(const table::Table& table, const Conditions& conditions,
                                    std::span<const Ball> balls, const Strike& strike, const PotAim& aim);
[[nodiscard]] Result<Aimed> aim_onto(const table::Table& table, const Conditions& conditions,
                                     std::span<const Ball> balls, const Strike& strike, const OntoAim& aim);

// What a given heading comes to at the first ball that it meets; nullopt: meets none.
[[nodiscard]] std::optional<Aimed> meeting_of(const Prediction& prediction, std::span<const Ball> balls,
                                              const std::string& cue_ball = "white");

// Error of a solved heading in the offset at the pocket or at the ball.
inline constexpr double kAimError = 1e-7;  // m

}  // namespace baizetrace::motion
