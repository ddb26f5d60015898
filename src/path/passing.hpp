// What the cue ball passed on its way: gates between balls, and how near it came to the pockets.
//
// Pure functions of paths and places; no setup is needed, and none changes what is measured.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "base/path.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"

namespace baizetrace::path {

// A post of a gate: a resting ball (its radius) or a spot (radius 0).
struct Post {
  std::string name;
  Vec2 at = Vec2::Zero();
  double radius = 0;  // m
};

// The cue ball's centre crossed the line between two posts.
struct GatePassed {
  std::pair<std::string, std::string> between;
  double time = 0;         // s
  Vec2 at = Vec2::Zero();  // m, the centre at the crossing
  double clearance = 0;    // m: least centre distance to a post, less the cue ball's radius and the post's
};

// Every gate that a session reports without being asked (DESIGN.md, section 6): two resting balls less than this
// apart, m, with no other ball standing between them.
inline constexpr double kWidestGate = 0.75;

// Pairs of posts that are gates: nearer than kWidestGate, no other post standing between them (its centre within
// three ball radii of the line, between its ends).
[[nodiscard]] std::vector<std::pair<Post, Post>> gates_between(const std::vector<Post>& resting, double ball_radius);

// Crossings of the path with each gate's line between its ends, in time's order. Stopping on the line is not passing.
// Laws: 1. a mirror image gives the same crossings; 2. the order of the posts does not matter.
[[nodiscard]] std::vector<GatePassed> gates_passed(const BallPath& cue_ball, double cue_radius,
                                                   const std::vector<std::pair<Post, Post>>& gates);

// Least distance of the cue ball's centre to each pocket's fall line between its strike and its rest; 0: it fell.
struct PocketPassed {
  std::string pocket;
  double distance = 0;  // m
  double time = 0;      // s
};
[[nodiscard]] std::vector<PocketPassed> nearest_pockets(const BallPath& cue_ball, const table::Table& table);

}  // namespace baizetrace::path
