// What a path passes on its way: cushions in order, gates with their clearance, the pockets.
#pragma once

#include <span>
#include <string>
#include <utility>
#include <vector>

#include "base/path.hpp"
#include "motion/motion.hpp"
#include "table/table.hpp"

namespace baizetrace::motion {

struct GatePass {
  std::string a, b;
  double time = 0;
  Vec2 at = Vec2::Zero();
  double clearance =
      0;  // m: at the crossing, least centre distance to a post less R less the post's radius (a spot: 0)
};

struct PocketPass {
  std::string pocket;
  double distance = 0;  // m, least distance of the centre to the fall line; 0: falls
  double time = 0;
};

struct Route {
  std::vector<std::string> cushions;  // jaws do not count
  std::vector<GatePass> gates;
  std::vector<PocketPass> pockets;  // all of the table's
};

// A gate named by a setup: two posts, each a ball, a spot, a pocket (the middle of its mouth) or a cushion (its nose,
// straight across from the other post).
using GateName = std::pair<std::string, std::string>;

// Resting balls closer than this with no ball standing between them are a gate (centre to centre).
inline constexpr double kGateWidth = 0.75;  // m

// The route of the ball `cue_ball`. Stopping on a gate's line is not passing it. Gates found by themselves are those of
// balls at rest; `named` are looked at too, whatever their width. `balls` gives the radii.
[[nodiscard]] Route route_of(const Prediction& prediction, std::span<const Ball> balls, const table::Table& table,
                             std::span<const GateName> named = {}, const std::string& cue_ball = "white");

// Least distance of the centre to each pocket's fall line.
[[nodiscard]] std::vector<PocketPass> nearest_pockets(const BallPath& path, const table::Table& table);

// The first cushions of a path, in order.
[[nodiscard]] std::vector<std::string> cushions_of(const BallPath& path);

// Least distance of a path's centre to a place from `after` (s) on, and when.
[[nodiscard]] std::pair<double, double> nearest_to(const BallPath& path, const Vec2& place, double after = 0);

}  // namespace baizetrace::motion
