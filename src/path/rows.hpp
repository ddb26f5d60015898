// When a ball at a place is exposed: the rolling shutter, read off the sightings themselves.
#pragma once

#include <vector>

#include "base/path.hpp"
#include "path/chain.hpp"
#include "path/episode.hpp"

namespace baizetrace::path {

class RowClock {
 public:
  // Least squares of the row (0..1) over the bed: constant, linear and quadratic terms as far as the sightings tell.
  RowClock(const Episode& episode, double readout);
  [[nodiscard]] double row(const Vec2& p) const;
  [[nodiscard]] Vec2 gradient(const Vec2& p) const;  // of the row, 1/m
  // The time at which a frame exposes the ball of a chain.
  [[nodiscard]] double exposed(double frame_time, const Chain& chain, const Cloth& c) const;

 private:
  double readout_ = 0;
  Eigen::Matrix<double, 6, 1> k_ = Eigen::Matrix<double, 6, 1>::Zero();
};

// Rows of a path: at its start, at every frame in which the ball moves, at every contact, in time's order.
[[nodiscard]] std::vector<PathRow> rows(const Chain& chain, const Cloth& c, const BallTrack& track,
                                        const std::vector<double>& frame_times, const RowClock& clock, double until);

}  // namespace baizetrace::path
