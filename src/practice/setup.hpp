// A setup: a marked arrangement of balls, the shot intended, the goal; and what physics predicts for it.
//
// Marks and intentions never feed a measurement; nothing in `path` or before it includes this file.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "base/error.hpp"
#include "base/units.hpp"
#include "motion/aim.hpp"
#include "motion/conditions.hpp"
#include "motion/leave.hpp"
#include "motion/motion.hpp"
#include "motion/route.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"

namespace baizetrace::practice {

struct Mark {
  std::string ball;
  Vec2 place = Vec2::Zero();  // m; of a ball on its spot: by the rules, on the nominal table
  bool on_spot = false;       // stands wherever this table's spot is
};

struct Shot {
  enum class Kind { pot, onto, heading };
  Kind kind = Kind::heading;
  std::string ball;               // to pot, or to play onto
  std::string pocket;             // pot
  std::string first;              // pot: a plant's first ball; empty: none
  std::vector<std::string> bank;  // pot: a double's cushions
  double fullness = 1;            // onto
  bool on_its_left = true;        // onto
  double heading = 0;             // rad
  std::optional<double> speed;    // m/s; or
  std::optional<double> lengths;  // a plain strike up the middle from the baulk line would run so far
  double height = 0, right = 0;   // ball radii
  double elevation = radians(3.0);
};

struct Zone {
  std::optional<Vec2> centre;
  double radius = 0;
  std::vector<Vec2> corners;  // two: opposite corners of an upright rectangle; more: a polygon
  [[nodiscard]] bool holds(const Vec2& place) const;
  [[nodiscard]] Vec2 middle() const;
  // How far inside its edge a place is, m; negative: outside.
  [[nodiscard]] double depth(const Vec2& place) const;
};

struct NextBall {
  std::string ball, into;
  std::optional<std::pair<double, double>> cut;  // rad, least and most
  std::optional<double> within;                  // m
};

struct Goal {
  std::vector<std::string> cushions;              // the cue ball's first cushions, in order
  std::vector<motion::GateName> gates;            // to pass between
  std::vector<std::string> avoid;                 // pockets the cue ball must not fall into
  std::optional<std::vector<std::string>> touch;  // after the first ball only these may be touched; absent: any
  int touch_at_least = 0;                         // and so many of them must be
  // Runs back over a spot: after its first cushion the cue ball's centre passes within this of it.
  std::optional<std::pair<std::string, double>> over;
  std::optional<Zone> zone;
  std::optional<NextBall> next;
  // What each part is worth: "pot", "position" (all other parts together), or a part's own name. Empty: pot 1,
  // position 1 (common practice). An in-off forfeits all.
  std::map<std::string, double> points;
};

struct Setup {
  std::string file, title;
  std::string table = "full-size";  // a name in calibration/tables or a path
  std::vector<Mark> balls;
  std::optional<Shot> shot;
  std::optional<Goal> goal;
};

// Strict. Errors, each one line with file, line and column: unknown key (and the nearest valid one), wrong type, balls
// that overlap, a ball off the bed, an unknown ball, pocket, cushion or spot, a value out of range.
[[nodiscard]] Result<Setup> read_setup(const std::string& file);

// Balls more than this deep in each other are refused when read, m: places are written to the millimetre.
inline constexpr double kWrittenTo = 0.0005;

// What to change of a setup's shot.
struct Overrides {
  std::optional<double> speed, lengths, heading, right, height, elevation;
  // Places of balls as measured, instead of their marks; a ball of the setup that is not among them is left out.
  std::optional<std::vector<std::pair<std::string, Vec2>>> places;
};

struct SetupPrediction {
  std::vector<motion::Ball> balls;  // as they stood
  motion::Strike strike;            // as used: aim and pace solved
  motion::Prediction motion;
  motion::Route route;
  std::optional<motion::Aimed> aim;    // the meeting with the first ball; absent: meets none
  std::optional<motion::Leave> leave;  // of the goal's next ball
  bool meant_to_pot = false, pots = false;
};

// The setup's balls on this table (spots where this table has them).
[[nodiscard]] std::vector<motion::Ball> balls_of(const Setup& setup, const table::Table& table,
                                                 const table::BallSet& set);

// Errors: the setup has no shot and the overrides give no heading and speed; the shot cannot be aimed (why); bad input
// as in motion::simulate().
[[nodiscard]] Result<SetupPrediction> predict_setup(const Setup& setup, const table::Table& table,
                                                    const table::BallSet& set, const motion::Conditions& conditions,
                                                    const Overrides& overrides = {});

// Whether a part of the goal is met, and why not. `what` as in session.json: pot, cushions, gate, avoid, touch, zone,
// leave; also over.
struct GoalPart {
  std::string what;
  bool met = false;
  std::string note;
};
[[nodiscard]] std::vector<GoalPart> judge(const Setup& setup, const table::Table& table,
                                          const SetupPrediction& prediction);

}  // namespace baizetrace::practice
