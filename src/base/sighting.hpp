// What one camera saw of the balls in one frame. The struct that flows from `sight` to `path`.
#pragma once

#include <array>
#include <bitset>
#include <cstdint>
#include <optional>
#include <vector>

#include "base/units.hpp"

namespace baizetrace {

// One ball seen in one frame.
struct Sighting {
  int camera = 0;                  // which rig; nothing after `sight` assumes that there is only one
  int frame = 0;                   // index among the clip's shown frames; identity only, never time
  double time = 0;                 // s, the ball's own row's time
  Vec2 at = Vec2::Zero();          // m, the ball's centre over the bed (at z = radius)
  Mat2 covariance = Mat2::Zero();  // m^2, this sighting's own random error; the rig's share is not in it
  double pulled = 0;               // m, what shading and shadows may pull a ball at rest by, alike in every frame: one
                                   // standard deviation each way, beside `covariance`
  Vec2 pixel = Vec2::Zero();       // image of the centre, upright picture
  double row = 0;                // share of the readout at which the ball was exposed, 0..1: time = pts + readout * row
  double visible = 1;            // share of the outline that could be used, 0..1
  bool fresh = true;             // false: the picture there has not changed since the last fit, whose place is repeated
                                 // here: its error is that fit's, and averaging does not lessen it
  bool again = false;            // the whole picture is the one before once more: it shows where the ball was then
  bool streak = false;           // smeared by motion: `at` is where it was at mid-exposure
  std::optional<Vec2> velocity;  // m/s from the streak's own length and direction, when it tells
  // Natural logarithm of how well each kind of the ball set explains the colour; same order as BallSet::kinds,
  // best = 0. Empty when the colour could not be read.
  std::vector<float> colour;
};

// Which parts of the bed were covered by something that is not a ball (a hand, the cue, a player, a lamp), so that
// "not seen" can be told from "not there". A coarse grid over the bed and a hand's width around it.
struct CoverMap {
  static constexpr int kColumns = 32;  // along x
  static constexpr int kRows = 64;     // along y
  double half_width = 0;               // m, x of the grid's edge; 0: nothing known
  double half_length = 0;              // m, y of the grid's edge
  std::bitset<kColumns * kRows> cells;

  // Index of the cell that holds a place; nullopt: beyond the grid.
  [[nodiscard]] std::optional<std::size_t> cell(const Vec2& p) const {
    if (half_width <= 0) return std::nullopt;
    const int c = static_cast<int>((p.x() + half_width) / (2 * half_width) * kColumns);
    const int r = static_cast<int>((p.y() + half_length) / (2 * half_length) * kRows);
    if (c < 0 || c >= kColumns || r < 0 || r >= kRows) return std::nullopt;
    return static_cast<std::size_t>(r * kColumns + c);
  }
  [[nodiscard]] bool covered(const Vec2& p) const {
    const auto at = cell(p);
    return at && cells[*at];
  }
  void cover(const Vec2& p) {
    if (const auto at = cell(p)) cells.set(*at);
  }
};

// A frame before seen better now that a ball's speed is known.
struct Mend {
  Sighting instead;        // its `frame` says which
  std::vector<Vec2> away;  // pixels of that frame's sightings that it stands for
};

// Mends reach back no further than this many frames.
constexpr int kHindsight = 3;

// All that was seen in one frame.
struct Look {
  int camera = 0;
  int frame = 0;
  double time = 0;        // s, the frame's timestamp: mid-exposure of the stored picture's top edge
  bool damaged = false;   // the decoder flagged it: no sightings are taken from it
  bool repeated = false;  // pixel for pixel the frame before: says nothing about rest
  std::vector<Sighting> sightings;
  std::vector<Mend> mends;  // of looks before this one
  CoverMap cover;
};

}  // namespace baizetrace
