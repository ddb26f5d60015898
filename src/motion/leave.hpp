// The shot that the cue ball is left with.
#pragma once

#include <optional>
#include <span>
#include <string>

#include "motion/motion.hpp"
#include "table/table.hpp"

namespace baizetrace::motion {

struct Leave {
  std::string ball, into;
  double cut = 0;       // rad, 0 straight
  double fullness = 0;  // 1 - sin(cut); 0 when it cannot be cut in at all
  double distance = 0;  // m, of the cue ball to where it would stand touching the ball
  bool on = false;      // cut under a right angle, so that the pot exists
  bool clear = false;   // nothing stands in the way of either ball
  std::string blocked_by;
  std::string side;  // which side of the straight line through ball and pocket the cue ball is on, seen towards the
                     // pocket: "left" or "right"
  std::optional<std::string> hampered_by;  // a cushion's or a ball's name
};

// Common practice, no source: hampered when the cue ball is this near to a cushion, or to a ball, that one must bridge
// over.
inline constexpr double kHamperedByCushion = 0.080;  // m, centre to nose line
inline constexpr double kHamperedByBall = 0.150;     // m, centre to centre

// With all balls at rest where `balls` says. nullopt: no such ball or pocket, or the cue ball is not there.
[[nodiscard]] std::optional<Leave> leave_of(std::span<const Ball> balls, const table::Table& table,
                                            const std::string& ball, const std::string& into,
                                            const std::string& cue_ball = "white");

// The balls where a prediction leaves them; balls that fell are gone.
[[nodiscard]] std::vector<Ball> balls_after(const Prediction& prediction, std::span<const Ball> balls);

}  // namespace baizetrace::motion
