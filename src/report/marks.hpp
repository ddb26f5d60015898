// Where a setup's balls go, as a tape measure tells it: from two noses and from the nearest spot.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "practice/setup.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"

namespace baizetrace::report {

// Distances are in plan, to the ball's centre: what a tape laid on the cloth from the nose's edge shows.
struct MarkDistances {
  std::string ball;
  Vec2 at = Vec2::Zero();  // m, table frame
  double radius = 0;       // m
  bool on_spot = false;    // the setup says "spot"
  // The nearer side cushion and the nearer end cushion ("left", "top"), and the distance from each nose's line, m.
  std::string side, end;
  double from_side = 0, from_end = 0;
  bool touches_side = false, touches_end = false;  // as near to the nose as a ball can lie
  // The nearest of the table's spots; empty on a table without. A ball on a spot: that one, 0.
  std::string spot;
  double from_spot = 0;               // m
  Vec2 off_spot = Vec2::Zero();       // m, from the spot to the ball, table frame
  double ball_widths = 0;             // from_spot in widths of this ball
  std::vector<std::string> touching;  // balls of the setup that it touches
};

// In the setup's order.
[[nodiscard]] std::vector<MarkDistances> mark_distances(const practice::Setup& setup, const table::Table& table,
                                                        const table::BallSet& set);

// From the nearest spot: {"blue spot, 301 mm (5.7 balls)", "300 mm towards the top, 20 mm to the yellow side"}; the
// second is empty for a ball on a spot.
[[nodiscard]] std::pair<std::string, std::string> spot_words(const MarkDistances& mark);

// Metres in millimetres, to the half: "1484.5".
[[nodiscard]] std::string millimetres(double metres);

}  // namespace baizetrace::report
