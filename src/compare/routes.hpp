// Every route a setup's shot offers over pace and the tip's place, the pot aimed each time; how much each forgives.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "practice/setup.hpp"

namespace baizetrace::compare {

// A player's own scatter, standard deviations.
struct Spread {
  std::string name;
  double direction = 0;       // rad
  double pace = 0;            // share of the speed
  double tip = 0;             // m
  double mark = 0;            // m, of each ball put on its mark, along x and y
  bool measured = false;      // direction, pace and mark from attempts; false: common practice
  bool tip_measured = false;  // the tip's as well
};
// Common practice, no source: "professional", "good-club", "club". Error: another name.
[[nodiscard]] Result<Spread> spread_named(const std::string& name);

struct RoutesOptions {
  int paces = 18, tips = 27;            // grid: `paces` speeds, `tips` places across each axis within `most_off`
  double slowest = 0.6, fastest = 1.6;  // of the setup's own speed
  double most_off = 0.50;               // ball radii; a tip slips off beyond about half the radius (common practice)
  int samples = 400;                    // strikes tried under the spread, a route
  unsigned seed = 1;
  int threads = 2;
};

// One strike of the grid.
struct Outcome {
  double speed = 0, right = 0, height = 0, heading = 0;
  bool tried = false, aimed = false, potted = false, goal = false;
  int route = -1;  // into Routes::routes; -1: not aimed, not potted or in-off
  Vec2 rest = Vec2::Zero();
  bool in_off = false;
};

struct OneRoute {
  std::vector<std::string> cushions;                       // the white's, in order
  std::vector<std::pair<std::string, std::string>> gates;  // passed, in order
  int strikes = 0, with_goal = 0;
  std::array<double, 2> speed{}, right{}, height{};  // the window's ends
  Vec2 stops = Vec2::Zero();                         // middle of the resting places
  double stops_spread = 0;                           // m, median distance from it
  std::string nearest_pocket;                        // how near to an in-off, over the route's strikes
  double nearest = 0;                                // m to the fall line
  Outcome best;                                      // deepest inside the window (inside the goal's, if it has one)
  std::optional<motion::Leave> leave;  // of the goal's next ball, after the best; absent: the goal names none
  int tried = 0, held = 0;             // under the spread, from `best`: the route (and goal) kept
  double low = 0, high = 0;            // 95 % interval of that share (Wilson 1927)
};

struct Routes {
  std::vector<Outcome> outcomes;                         // speed slowest-varying, then height, then right
  std::vector<OneRoute> routes;                          // most strikes first
  int tried = 0, aimed = 0, not_potted = 0, in_off = 0;  // tried: those of the grid inside the miscue's limit
  bool has_goal = false;
  Spread spread;
};

// A plant is aimed by the ball that is met first, a double through the cushions that it names.
// Errors: the setup has no shot, or its own strike cannot be aimed.
// Law: the same on any number of threads.
[[nodiscard]] Result<Routes> find_routes(const practice::Setup& setup, const table::Table& table,
                                         const table::BallSet& set, const motion::Conditions& conditions,
                                         const Spread& spread, const RoutesOptions& options = {});

}  // namespace baizetrace::compare
