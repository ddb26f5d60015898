// The exposure of the clip's frames, as smeared balls of known speed tell it.
#pragma once

#include <algorithm>
#include <deque>
#include <utility>
#include <vector>

#include "sight/ball_fit.hpp"

namespace baizetrace::sight {

class Exposure {
 public:
  // A smeared ball and its speed (px/s) from its places before and after; time between frames, s.
  void take(const BallFit& fit, const Vec2& velocity, double interval) {
    constexpr double kLeastSmear = 4;  // px: shorter smears drown in the edge's blur
    const double v = velocity.norm();
    if (fit.visible < 0.7 || v <= 0 || fit.smear.norm() < kLeastSmear) return;
    const double e = fit.smear.dot(velocity) / (v * v);
    // An exposure is not longer than the time between frames; and the smear must lie along the motion.
    if (e <= 0 || e > 1.05 * interval || (fit.smear - e * velocity).norm() > 0.3 * fit.smear.norm()) return;
    // Long smears of balls that stand out tell it best: blur that is not the lens's makes short ones seem longer.
    recent_.push_back({e, fit.smear.squaredNorm() * fit.contrast * fit.contrast});
    if (recent_.size() > 61) recent_.pop_front();
  }
  // s; 0: not known yet.
  [[nodiscard]] double value() const {
    constexpr std::size_t kEnough = 5;
    if (recent_.size() < kEnough) return 0;
    std::vector<Sample> v(recent_.begin(), recent_.end());
    std::sort(v.begin(), v.end(), [](const Sample& a, const Sample& b) { return a.exposure < b.exposure; });
    double all = 0, sum = 0;
    for (const Sample& s : v) all += s.weight;
    for (const Sample& s : v)
      if ((sum += s.weight) >= 0.5 * all) return s.exposure;
    return v.back().exposure;
  }
  // Exposure and how well it is known, before streaks told it too: between none and the whole frame interval.
  [[nodiscard]] std::pair<double, double> guess(double interval) const {
    const double e = value();
    return e > 0 ? std::pair{e, 0.1 * e} : std::pair{0.3 * interval, 0.25 * interval};
  }

 private:
  struct Sample {
    double exposure, weight;
  };
  std::deque<Sample> recent_;
};

}  // namespace baizetrace::sight
