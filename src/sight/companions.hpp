// Shadows that were taken for balls: they go along with a ball that rolls, always on the same side of it.
//
// Where light falls in slantwise a ball's shadow lies beside it, whole and sharp, and may be fitted as a dark ball that
// touches it. No two balls roll along together, one always as far from the other.
#pragma once

#include <vector>

#include "sight/known_ball.hpp"

namespace baizetrace::sight {

class Companions {
 public:
  // One frame's balls. Returns the ids of those that have gone along with a brighter one for long enough.
  [[nodiscard]] std::vector<int> follow(const std::vector<KnownBall>& known);
  // Whether a ball that is seen has had its shadow there. `within`: m.
  [[nodiscard]] bool shadow_at(const std::vector<KnownBall>& known, const Vec2& at, double within) const;

 private:
  struct Pair {
    int ball = 0, shadow = 0;    // ids
    Vec2 offset = Vec2::Zero();  // m, the shadow's from the ball, where they began to go along
    Vec2 last = Vec2::Zero();    // where the ball was
    double way = 0;              // m, that they went together
    int frames = 0;
    bool told = false;
  };
  std::vector<Pair> pairs_;
};

}  // namespace baizetrace::sight
