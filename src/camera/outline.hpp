// First guesses: which rectangle, seen through which lens from where, has the cloth's border as its picture.
#pragma once

#include <vector>

#include "camera/cloth.hpp"
#include "camera/solve.hpp"

namespace baizetrace::camera {

struct Guess {
  Unknowns x;
  double coverage = 0;          // share of the table's border that the cloth's border follows, 0..1
  double rms_pixels = 0;        // of those parts
  std::vector<Vec2> border;     // of the region that it was fitted to, thinned
  Kind border_is = Kind::rail;  // the cloth's outer edge; or nose: near enough for a bed's border
};

// Tries both long sides and several lenses; the best fit first. Which end is baulk is not told here.
[[nodiscard]] std::vector<Guess> guess_from_cloth(const ClothRegion& cloth, const table::Spec& spec, int width,
                                                  int height);

// The same where a lamp, a person or the picture's edge is thought to hide one whole side: the cloth's border there is
// left out of account and that side marked in `hidden_side`. The best of each such side, the best first.
[[nodiscard]] std::vector<Guess> guess_with_a_side_hidden(const ClothRegion& cloth, const table::Spec& spec, int width,
                                                          int height);

// Points of a region's border as marks on the cloth's outer edge, or on the noses, as they are now: those within
// `reach` (m) of it, away from pockets and a hidden side.
[[nodiscard]] std::vector<Mark> border_marks(const Unknowns& x, const std::vector<Vec2>& border, Kind kind,
                                             double reach);

// Follows more of the border, or follows it more closely.
[[nodiscard]] bool better(const Guess& a, const Guess& b);

// The same from the noses' four corners given by hand: baulk-left, baulk-right, top-right, top-left.
// The cloth's border, if any region has one that follows, tells the lens.
[[nodiscard]] std::vector<Guess> guess_from_corners(const std::array<Vec2, 4>& corners,
                                                    const std::vector<ClothRegion>& regions, const table::Spec& spec,
                                                    int width, int height);

// The same table seen with its ends exchanged.
[[nodiscard]] Unknowns other_end(const Unknowns& x);

}  // namespace baizetrace::camera
