#include "path/stays.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::path {
namespace {

// The part of one sighting's error that all sightings of a stay share (same pixels, same highlight, same shadow), and
// the least that any outline fit is off by, m.
constexpr double kShared = 0.35;
constexpr double kLeast = 0.0003;
// Stated errors below this are not believed, m.
constexpr double kLeastStated = 0.00005;

}  // namespace

void StayMean::add(const Sighting& s) {
  if (n_ == 0) from_ = s.time;
  to_ = s.time;
  ++n_;
  // A repeated fit says that the ball is still there, not better where.
  if (!s.fresh && fresh_ > 0) return;
  ++fresh_;
  const double variance = std::max(0.5 * s.covariance.trace(), kLeastStated * kLeastStated);
  const double weight = 1 / variance;
  weight_ += weight;
  const Vec2 before = s.at - mean_;
  mean_ += before * (weight / weight_);
  spread_ += weight * before * (s.at - mean_).transpose();
  stated_ += (variance - stated_) / fresh_;
  pulled_ += (s.pulled - pulled_) / fresh_;
}

double StayMean::sd() const {
  if (n_ == 0) return 0.001;
  const double seen = fresh_ > 3 ? 0.5 * spread_.trace() / weight_ * fresh_ / (fresh_ - 1.0) : 0.0;
  return std::sqrt(std::max(stated_, seen));
}

Mat2 StayMean::covariance() const {
  const double one = sd() * sd();
  const double floor = kShared * kShared * one + kLeast * kLeast;
  return (one / std::max(1, fresh_) + floor) * Mat2::Identity();
}

Stay StayMean::stay() const { return {mean_, covariance(), pulled_, from_, to_, n_}; }

Drift drift_of(std::span<const Sighting> s) {
  Drift d;
  if (s.size() < 3) return d;
  const double n = static_cast<double>(s.size());
  double t = 0;
  Vec2 p = Vec2::Zero();
  for (const Sighting& x : s) t += x.time / n, p += x.at / n;
  double tt = 0;
  Vec2 tp = Vec2::Zero();
  for (const Sighting& x : s) tt += (x.time - t) * (x.time - t), tp += (x.time - t) * (x.at - p);
  d.lasting = s.back().time - s.front().time;
  if (tt <= 0) return d;
  const Vec2 v = tp / tt;
  double sum = 0;
  for (const Sighting& x : s) sum += (x.at - p - v * (x.time - t)).squaredNorm();
  d.speed = v.norm();
  d.spread = std::sqrt(sum / (2 * std::max(1.0, n - 2)));
  return d;
}

bool at_rest_between(const Sighting& a, const Sighting& b) {
  constexpr double kStill = 0.05;  // m/s
  const double sd = std::sqrt(0.5 * (a.covariance + b.covariance).trace());
  return (b.at - a.at).norm() < kStill * std::max(0.0, b.time - a.time) + 3 * sd;
}

}  // namespace baizetrace::path
