// Balls at rest: the mean of many sightings with an honest covariance, and when a ball is at rest at all.
#pragma once

#include <span>

#include "path/episode.hpp"

namespace baizetrace::path {

// Running mean of the sightings of one stay. Memory does not grow.
class StayMean {
 public:
  void add(const Sighting& s);
  [[nodiscard]] int count() const { return n_; }
  // Of them, fits of their own: what repeats one is wrong where that is.
  [[nodiscard]] int fits() const { return fresh_; }
  [[nodiscard]] const Vec2& mean() const { return mean_; }
  // Standard deviation of one sighting here, m: the larger of stated and seen.
  [[nodiscard]] double sd() const;
  // Of the mean. Sightings of a ball at rest repeat the same pixels: part of each one's error is common to all and
  // does not fall with their number.
  [[nodiscard]] Mat2 covariance() const;
  [[nodiscard]] Stay stay() const;

 private:
  int n_ = 0;      // sightings
  int fresh_ = 0;  // fits
  double weight_ = 0, stated_ = 0, pulled_ = 0;
  double from_ = 0, to_ = 0;
  Vec2 mean_ = Vec2::Zero();
  Mat2 spread_ = Mat2::Zero();  // weighted sum of squares about the mean
};

// Least-squares speed of sightings, m/s, and their spread about the line, m. Needs three.
struct Drift {
  double speed = 0, spread = 0, lasting = 0;
};
[[nodiscard]] Drift drift_of(std::span<const Sighting> s);

// Whether two sightings, the first the earlier, are of something that lies still.
[[nodiscard]] bool at_rest_between(const Sighting& a, const Sighting& b);

}  // namespace baizetrace::path
