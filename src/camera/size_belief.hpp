// What is believed of a table's own size before its picture is looked at, and how that settles what the picture leaves
// open.
//
// A picture tells a table's shape to a few tenths of a millimetre, its size hardly: a camera twice as high over a table
// twice as large shows the same, and the balls, whose size is known, are a dozen pixels across and read to a tenth of
// one. So the belief decides, and must be honest: most tables are set up to a millimetre or two, some use all that the
// rules allow, and a table whose shape is off is one of those, so that its size is told less well too.
#pragma once

#include <Eigen/Core>

#include "base/units.hpp"

namespace baizetrace::camera {

// Half width and half length, m.
struct SizeTold {
  Vec2 mean = Vec2::Zero();
  Mat2 covariance = Mat2::Zero();
  double careless = 0;  // probability that this table is one of those that are not set up well
};

// The wider of two kinds of table, 1 sigma of either half: the rules of the game allow 13 mm either way on the whole.
inline constexpr double kCarelessSizeU = 0.00375;  // m, a uniform distribution over +-6.5 mm
inline constexpr double kCarefulSizeU = 0.0013;    // m (common practice, no source)
inline constexpr double kCarelessShare = 0.25;     // (common practice, no source)

// Of either half when the owner has measured the table between the noses: a steel tape of class II is good to 1 mm at
// this length (EU directive 2014/32, Annex VIII: 0.3 + 0.2 L; from memory), and two round noses are read to as much.
inline constexpr double kTapedSizeU = 0.0005;  // m

// `seen`: the size as told by the picture together with the belief of a careless table about `nominal`, as one normal
// distribution. Result: the same with the whole belief, mean and covariance of the mixture.
[[nodiscard]] SizeTold settle_size(const SizeTold& seen, const Vec2& nominal);

}  // namespace baizetrace::camera
