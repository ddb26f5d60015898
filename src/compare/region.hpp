// The map a coach draws by hand: over places of the cue ball in a region, which route is the natural one.
//
// At each place the setup's shot is aimed anew and its strikes are swept (routes.hpp). Natural is the route that most
// strikes lead to the goal by; without a goal, or where none reaches it, the one that most strikes take.
#pragma once

#include "compare/routes.hpp"

namespace baizetrace::compare {

struct RegionOptions {
  Vec2 low = Vec2::Zero(), high = Vec2::Zero();  // m, opposite corners
  int across = 8, along = 8;                     // places along x and y
  int paces = 7, tips = 9;                       // strikes at each, as RoutesOptions
  int threads = 2;
};

struct RegionPlace {
  Vec2 at = Vec2::Zero();
  int route = -1;     // into Region::routes; -1: no strike does it from here
  double share = 0;   // of the strikes that can be aimed: those that take it (and reach the goal, when any does)
  bool goal = false;  // whether the goal is reached by it
  std::string why;    // when there is none
};

struct Region {
  std::vector<std::vector<std::string>> routes;  // cushions in order; most places first
  std::vector<RegionPlace> places;               // y slowest, from low to high
  int across = 0, along = 0;
};

// Errors: as find_routes() for a setup of that kind; corners that are not apart, or off the bed.
// Law: the same on any number of threads.
[[nodiscard]] Result<Region> map_region(const practice::Setup& setup, const table::Table& table,
                                        const table::BallSet& set, const motion::Conditions& conditions,
                                        const RegionOptions& options);

}  // namespace baizetrace::compare
