// simulate(): where balls go after a strike. Event by event, each event the root of a polynomial; no time steps.
#pragma once

#include <span>
#include <string>
#include <utility>
#include <vector>

#include "base/error.hpp"
#include "base/path.hpp"
#include "motion/conditions.hpp"
#include "motion/strike.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"

namespace baizetrace::motion {

struct Ball {
  std::string name;
  Vec2 place = Vec2::Zero();
  double radius = 0.02625, mass = 0.142;
  // Already moving (not needed for a strike).
  Vec2 velocity = Vec2::Zero();
  Vec3 spin = Vec3::Zero();
};

struct Options {
  int most_events = 20000;
  std::string cue_ball = "white";
};

// Time 0 is the strike.
struct Prediction {
  Strike strike;
  std::vector<BallPath> balls;  // every ball given, in that order: pieces, contacts, rest or pocket; no rows
  // Spin before and after each contact, rad/s: spins[i][k] belongs to balls[i].contacts[k].
  std::vector<std::vector<std::pair<Vec3, Vec3>>> spins;
  double total_time = 0;  // s, the last centre stops or falls
  int events = 0;
  bool complete = false;
  std::string why;  // when not complete

  [[nodiscard]] const BallPath* ball(std::string_view name) const;
};

// Errors (bad input, all in one line): strike or conditions out of range, no cue ball, a ball off the bed, two balls
// that overlap, numbers that are not finite.
[[nodiscard]] Result<Prediction> simulate(const table::Table& table, const Conditions& conditions,
                                          std::span<const Ball> balls, const Strike& strike,
                                          const Options& options = {});

// The same without a strike: balls as they move.
[[nodiscard]] Result<Prediction> simulate_moving(const table::Table& table, const Conditions& conditions,
                                                 std::span<const Ball> balls, const Options& options = {});

// Balls given may overlap or overhang a nose by this much, from rounding of what people write.
inline constexpr double kOverlap = 1e-6;  // m

// Moves balls that overlap each other or the noses by up to a few millimetres apart: for measured places, whose error
// is of that size. Error: they overlap by more than `most`.
[[nodiscard]] Result<Done> part(const table::Table& table, std::vector<Ball>& balls, double most = 0.004);

// A ball of a set at a place.
[[nodiscard]] Ball make_ball(const table::BallSet& set, const std::string& name, const Vec2& place);

// How far the ball went, m.
[[nodiscard]] double path_length(const BallPath& path);

// Speed at which a plain centre-ball strike from the baulk line straight up the middle runs `lengths` table lengths,
// rebounds included; and how many lengths a speed runs. Error: out of reach.
[[nodiscard]] Result<double> lengths_of(double speed, const table::Table& table, const Conditions& conditions,
                                        const Ball& cue_ball);
[[nodiscard]] Result<double> speed_for(double lengths, const table::Table& table, const Conditions& conditions,
                                       const Ball& cue_ball);

}  // namespace baizetrace::motion
