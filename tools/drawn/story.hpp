// What happens in a drawn clip: a shot, or a session of attempts with what comes between them. And its truth file.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "drawn/random_scene.hpp"
#include "motion/motion.hpp"

namespace baizetrace::drawn {

struct TrueAttempt {
  double enters = 0, address = 0, strike_time = 0;
  std::map<std::string, Vec2> start;
  motion::Strike strike;
  motion::Prediction went;  // its time 0 is the strike
};

struct Placement {
  std::string ball, how;  // "placed" or "nudged"
  double from = 0, to = 0;
  Vec2 at = Vec2::Zero();
};

struct Story {
  unsigned seed = 0;
  std::string kind;  // "shot" or "session"
  Scene scene;
  motion::Conditions conditions;
  std::map<std::string, Vec2> marks;
  std::string object_ball, pocket;  // intended; "" when it was no pot
  std::vector<std::string> cushions;
  Vec2 zone = Vec2::Zero();
  double zone_radius = 0.25;
  std::vector<TrueAttempt> attempts;
  std::vector<Placement> placements;
};

// One attempt. Errors: the tables' files are missing.
[[nodiscard]] Result<Story> random_shot(unsigned seed, const Wishes& wishes, std::string& what);
// Three to eight attempts at one setup, balls put back by hand, now and then someone who walks by, a ball that is
// nudged, an address that is broken off, a knock of the mount.
[[nodiscard]] Result<Story> random_session(unsigned seed, const Wishes& wishes, std::string& what);

// The table that the balls play on.
[[nodiscard]] Result<table::Table> table_of(const TableShape& shape);

}  // namespace baizetrace::drawn
