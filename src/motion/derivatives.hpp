// How a shot's outcome turns with the strike, the conditions and where the balls stood: the fits' derivatives.
//
// Differences of whole shots over a small step each way, taken number by number along one fixed order of events: every
// ball touches the same things in the same order on both sides. Where the order changes however small the step (a ball
// just missed, a pocket just reached) the outcome has a kink or a jump there; such an input is flagged, never guessed.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "motion/motion.hpp"

namespace baizetrace::motion {

// What is turned. Strike: m/s, rad, ball radii, ball radii, rad. Conditions: in their own units; `ball_friction` is
// added to a of (a, b, c), `cushion_restitution` to every row. Places: m, of the ball named.
struct Input {
  enum class Of {
    speed,
    heading,
    right,
    height,
    elevation,
    sliding,
    rolling,
    spin_decay,
    ball_restitution,
    ball_friction,
    cushion_restitution,
    cushion_friction,
    slope_x,
    slope_y,
    nap_drift,
    nap_side,
    place_x,
    place_y
  };
  Of of = Of::speed;
  std::string ball;  // place_x, place_y only
};
[[nodiscard]] std::string name_of(const Input& input);

// Strike and conditions with one input turned by `by`. Requires: places name a ball of `balls`.
void turn(const Input& input, double by, Strike& strike, Conditions& conditions, std::vector<Ball>& balls);

// Rates of one ball's numbers, per unit of the input. Same order and number as in its BallPath.
struct PieceRate {
  double from = 0, to = 0;
  Vec2 place = Vec2::Zero(), velocity = Vec2::Zero(), acceleration = Vec2::Zero();
};
struct ContactRate {
  double time = 0;
  Vec2 at = Vec2::Zero();
  double speed_in = 0, speed_out = 0, heading_in = 0, heading_out = 0;
};
struct BallRates {
  std::vector<PieceRate> pieces;
  std::vector<ContactRate> contacts;
  Vec2 rest = Vec2::Zero();  // meaningful when the ball has a rest
  double rest_time = 0, pocket_time = 0;
};

struct Derivative {
  Input input;
  double step = 0;               // half the width of the difference, in the input's unit
  bool known = false;            // the order of events is the same on both sides
  std::string why;               // when not known: what changes
  std::vector<BallRates> balls;  // as Prediction::balls; empty when not known
};

struct Sensitivity {
  Prediction prediction;
  std::vector<Derivative> by;  // one for each input asked for, in that order

  // d(place of the ball's centre at the time t)/d(input), m per unit, t held fixed. nullopt: not known, or the ball has
  // no place then.
  [[nodiscard]] std::optional<Vec2> place(std::size_t input, std::size_t ball, double t) const;
};

// Errors: bad input as in simulate(); a ball that is not there; the shot itself did not come to its end.
// Error of a rate: truncation of fourth order in the step, and the simulator's own noise over the step: below
// kRateError of its size for shots of a few contacts (tests/motion).
[[nodiscard]] Result<Sensitivity> sensitivity(const table::Table& table, const Conditions& conditions,
                                              std::span<const Ball> balls, const Strike& strike,
                                              std::span<const Input> inputs, const Options& options = {});

inline constexpr double kRateError = 2e-3;

}  // namespace baizetrace::motion
