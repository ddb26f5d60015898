// An attempt's path drawn into a moving picture as it happens: on the picture of the table, and on a plan.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "practice/session.hpp"
#include "report/pen.hpp"

namespace baizetrace::report {

// Where a place of the table is on the canvas, and how large a ball is there.
struct Onto {
  std::function<std::optional<Vec2>(const Vec2&)> pixel;
  std::function<double(const Vec2&)> ball;  // radius, px
  // By how much the row of that place was exposed after the frame's time, s: a drawn line ends where the ball is seen.
  std::function<double(const Vec2&)> later = [](const Vec2&) { return 0.0; };
};

struct MovingLook {
  double letter = 20;      // px
  bool prediction = true;  // the predicted path, dashed, from the start
  bool numbers = true;     // contacts numbered
};

// The state at `time` (s of the clip, a frame's): paths up to there, contacts that have happened, resting places.
void draw_moving(Pen& pen, const Onto& onto, const practice::Attempt& attempt, double time, const MovingLook& look);

// A path that is meant or predicted, dashed, whole, with its resting place.
void draw_dashed(Pen& pen, const Onto& onto, const std::vector<Vec2>& places, const std::optional<Vec2>& rest,
                 double letter);

// Places of all balls that may be on the bed at `time`, m: at rest before, moving, at rest after.
[[nodiscard]] std::vector<Vec2> balls_at(const practice::Attempt& attempt, double time);
// The white, at its place at that time, and every other ball by name: for a plan. Balls that fell are gone.
[[nodiscard]] std::vector<std::pair<std::string, Vec2>> named_balls_at(const practice::Attempt& attempt, double time);

// When the attempt is over: the last ball stopped or fell, or the last that was seen.
[[nodiscard]] double over_at(const practice::Attempt& attempt);

}  // namespace baizetrace::report
