// How well a ball's place will be known over the bed, from a rig's covariance: a map.
#pragma once

#include <optional>
#include <vector>

#include "camera/rig.hpp"

namespace baizetrace::camera {

struct PlaceExpected {
  Vec2 at;            // m
  Vec2 u;             // m, across and along the table, 1 sigma
  double either = 0;  // m, sqrt of the mean of their squares
  bool seen = false;  // it is in the picture
};

struct PlaceMap {
  int across = 0, along = 0;          // points, from baulk-left; x runs fastest
  std::vector<PlaceExpected> points;  // across * along
  double median = 0, worst = 0;       // m, of those in the picture
};

[[nodiscard]] PlaceMap place_map(const Rig& rig, double ball_radius, int across = 7, int along = 13);

// What the map's median would be with the table's size measured with a tape (kTapedSizeU), m. nullopt: hardly better,
// by less than a fifth.
[[nodiscard]] std::optional<double> median_if_taped(const Rig& rig, double ball_radius);

}  // namespace baizetrace::camera
