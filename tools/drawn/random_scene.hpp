// Everything about a drawn clip from one number.
#pragma once

#include <string>

#include "drawn/scene.hpp"

namespace baizetrace::drawn {

struct Wishes {
  // Pictures no larger than this (for tests that must be quick); 0: as it comes, up to 4K.
  int most_pixels = 0;
  double steepest = 60;      // degrees, of the view off the vertical
  bool hidden_parts = true;  // a pocket, an end or a strip may be out of sight
  bool passer = false;       // shots: a ball that nobody plays is on its way when the white is struck, if there is one
};

// A room, a table, a camera and balls at rest; people about. `what`: one line for a listing.
[[nodiscard]] Scene random_scene(unsigned seed, const Wishes& wishes, std::string& what);

}  // namespace baizetrace::drawn
