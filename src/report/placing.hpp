// Where labels go so that they hide nothing: the one thing a plan and a picture share about text.
#pragma once

#include <vector>

#include "base/units.hpp"

namespace baizetrace::report {

// Boxes that are taken and places that should stay free, in any unit (pixels, millimetres).
class LabelPlacer {
 public:
  LabelPlacer(Vec2 low, Vec2 high) : low_(std::move(low)), high_(std::move(high)) {}

  // A place of a line or a ball: a label over it costs.
  void keep_free(const Vec2& at) { free_.push_back(at); }
  // A box that no label may cover.
  void take(const Vec2& centre, const Vec2& half) { taken_.push_back({centre, half}); }

  // The centre for a box of half size `half` about `at`, `gap` away from it (rim to rim): the direction of sixteen
  // and the distance of three that hides least, nearest first. The box is taken. Deterministic.
  Vec2 place(const Vec2& at, double gap, const Vec2& half);

 private:
  struct Box {
    Vec2 centre, half;
  };
  Vec2 low_, high_;
  std::vector<Vec2> free_;
  std::vector<Box> taken_;
};

}  // namespace baizetrace::report
