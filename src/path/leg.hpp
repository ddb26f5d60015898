// One leg: the free motion of a ball from one contact to the next. It slides, then rolls, then rests.
//
// Sliding: constant acceleration of size `slide` against the slip. Slip falls at 7/2 `slide`, so that the velocity
// changes by `w` = 2/7 of the first slip in all, in |w| / slide seconds. Then it rolls straight with `v - w`,
// slowed by `roll`. (PHYSICS: sphere on cloth, textbook mechanics; Coriolis 1835.)
//
// Laws: 1. place and velocity are continuous; 2. after the slide the velocity is v - w whatever `slide` is;
// 3. before `t` the ball lies at `p`.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "base/path.hpp"
#include "base/units.hpp"

namespace baizetrace::path {

struct Cloth {
  double slide = 0.20 * kGravity;   // m/s2, sliding friction times g
  double roll = 0.0095 * kGravity;  // m/s2, rolling resistance times g
};

struct Leg {
  double t = 0;           // s, begins
  Vec2 p = Vec2::Zero();  // m, there
  Vec2 v = Vec2::Zero();  // m/s, just after the contact that began it
  Vec2 w = Vec2::Zero();  // m/s, what the slide takes from v

  [[nodiscard]] double slide_ends(const Cloth& c) const { return t + w.norm() / c.slide; }
  [[nodiscard]] double rests(const Cloth& c) const { return slide_ends(c) + (v - w).norm() / c.roll; }
  [[nodiscard]] Vec2 at(double time, const Cloth& c) const;
  [[nodiscard]] Vec2 velocity_at(double time, const Cloth& c) const;
  // What of w is still to be taken at a time: zero once it rolls.
  [[nodiscard]] Vec2 slip_at(double time, const Cloth& c) const;
};

// Derivatives of Leg::at.
struct LegSlopes {
  Vec2 at = Vec2::Zero();
  Vec2 by_t = Vec2::Zero();  // by the leg's begin, p held
  Mat2 by_v = Mat2::Zero(), by_w = Mat2::Zero();
  Vec2 by_slide = Vec2::Zero(), by_roll = Vec2::Zero();
  Vec2 velocity = Vec2::Zero();
};
[[nodiscard]] LegSlopes slopes(const Leg& leg, double time, const Cloth& c);

// The leg as pieces from its begin to `until`, at most slide, roll (rest is not a piece).
void add_pieces(const Leg& leg, double until, const Cloth& c, std::vector<Piece>& pieces);

}  // namespace baizetrace::path
