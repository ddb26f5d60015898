// How a table plays as numbers that a fit can turn, with what is known of each.
#pragma once

#include <Eigen/Dense>
#include <array>
#include <cstddef>
#include <map>
#include <string>

#include "motion/conditions.hpp"
#include "practice/session.hpp"

namespace baizetrace::compare {

// What is turned, each added to the conditions: sliding, rolling, spin_decay (rad/s2), ball_restitution, ball_friction
// (its a), cushion_restitution (every row), cushion_fall (restitution lost from kFallFrom to kFallTo m/s square to the
// cushion, the middle held), cushion_friction, the bed's slope (downhill, rad, along x and y), and the nap's two
// numbers.
inline constexpr std::array kPlayNames{
    "sliding",      "rolling",          "spin_decay", "ball_restitution", "ball_friction", "cushion_restitution",
    "cushion_fall", "cushion_friction", "slope_x",    "slope_y",          "nap_drift",     "nap_side"};
inline constexpr std::size_t kPlays = kPlayNames.size();
using PlayVector = Eigen::Matrix<double, static_cast<int>(kPlays), 1>;
inline constexpr std::size_t kSlopePlay = 8;  // slope_x; slope_y follows
inline constexpr std::size_t kNapDrift = 10, kNapSide = 11;
inline constexpr double kFallFrom = 0.5, kFallTo = 5.0, kFallMiddle = 1.5;  // m/s

// The conditions turned by `by`, each kept within what a table can have.
[[nodiscard]] motion::Conditions turned(const motion::Conditions& conditions, const PlayVector& by);

// The value that a number stands for: cushion_restitution at kFallMiddle, cushion_fall between its two speeds.
[[nodiscard]] double value_of(const motion::Conditions& conditions, std::size_t play);

// Conditions and the standard uncertainty of each number; 0: taken as exact, as a bed is taken to be level and its
// cloth to have no nap unless they are asked for.
struct KnownPlay {
  motion::Conditions conditions;
  PlayVector u;
  bool tuned = false;  // read off this table's own shots: pace may be judged by it
};
// What is known of a table that nobody has measured: the ranges of cloths and cushions that clubs have (common
// practice, no source).
[[nodiscard]] KnownPlay assumed_play(const motion::Conditions& conditions);

// A *.conditions.toml with its [uncertainty] where it has one (a value missing there: as for a table nobody measured).
// Errors: as motion::read_conditions(); an uncertainty of another name.
[[nodiscard]] Result<KnownPlay> read_known_play(const std::string& file);

// How far off level a club's bed may be, rad, standard uncertainty along each axis (common practice, no source).
inline constexpr double kSlopeU = 0.0005;
// How strong a nap may be, of g, standard uncertainty of each of its numbers: a ball that rolls across the table for
// four seconds is drawn 3 cm (common practice, no source).
inline constexpr double kNapU = 0.0004;

// What a session read off its own motion put in: rolling, sliding and the cushions' restitution, with their u.
[[nodiscard]] KnownPlay session_play(const motion::Conditions& assumed,
                                     const std::map<std::string, practice::ConditionValue>& read);

}  // namespace baizetrace::compare
