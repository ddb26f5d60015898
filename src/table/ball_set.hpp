// The balls of a game: each kind with its own radius, mass and colour. Files: calibration/balls/*.balls.toml
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"

namespace baizetrace::table {

struct BallKind {
  std::string name;      // "white", "red", "eight"; the cue ball is always "white"
  double radius = 0;     // m
  double mass = 0;       // kg
  int count = 1;         // more than one: balls are named "<name>-1", "<name>-2" ...
  Eigen::Vector3d srgb;  // 0..255, a typical look in even light: a starting value for sight, which learns the clip's own
  std::string home;      // name of the spot it is placed on, or ""
};

struct BallSet {
  std::string name;
  std::vector<BallKind> kinds;  // kinds[0] is the cue ball

  // Index of the kind that a ball's name belongs to ("red-3" -> red); nullopt: no such ball in this set.
  [[nodiscard]] std::optional<std::size_t> kind_of(std::string_view ball) const;
  [[nodiscard]] double radius_of(std::string_view ball) const;  // cue ball's when unknown
  [[nodiscard]] std::vector<std::string> kind_names() const;
};

// By name in calibration/balls ("snooker") or by path. Errors: no such file, unknown key, value out of range.
[[nodiscard]] Result<BallSet> read_ball_set(const std::string& name_or_path);

}  // namespace baizetrace::table
