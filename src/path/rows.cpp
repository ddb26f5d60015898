#include "path/rows.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace baizetrace::path {
namespace {

Eigen::Matrix<double, 6, 1> terms(const Vec2& p) {
  Eigen::Matrix<double, 6, 1> t;
  t << 1, p.x(), p.y(), p.x() * p.x(), p.x() * p.y(), p.y() * p.y();
  return t;
}

}  // namespace

RowClock::RowClock(const Episode& episode, double readout) : readout_(readout) {
  Eigen::Matrix<double, 6, 6> h = Eigen::Matrix<double, 6, 6>::Zero();
  Eigen::Matrix<double, 6, 1> g = Eigen::Matrix<double, 6, 1>::Zero();
  for (const BallTrack& b : episode.balls) {
    for (const Sighting& s : b.seen) {
      const auto t = terms(s.at);
      h += t * t.transpose();
      g += t * s.row;
    }
  }
  // Ridge: what the sightings do not tell stays small (rows change by about one over a bed's size, 1/m).
  Eigen::Matrix<double, 6, 1> ridge;
  ridge << 1e-6, 1e-4, 1e-4, 1e-2, 1e-2, 1e-2;
  h.diagonal() += ridge;
  k_ = h.ldlt().solve(g);
}

double RowClock::row(const Vec2& p) const { return std::clamp(k_.dot(terms(p)), 0.0, 1.0); }

Vec2 RowClock::gradient(const Vec2& p) const {
  return {k_[1] + 2 * k_[3] * p.x() + k_[4] * p.y(), k_[2] + k_[4] * p.x() + 2 * k_[5] * p.y()};
}

double RowClock::exposed(double frame_time, const Chain& chain, const Cloth& c) const {
  double t = frame_time + 0.5 * readout_;
  for (int i = 0; i < 4; ++i) t = frame_time + readout_ * row(chain.at(t, c));
  return t;
}

std::vector<PathRow> rows(const Chain& chain, const Cloth& c, const BallTrack& track,
                          const std::vector<double>& frame_times, const RowClock& clock, double until) {
  std::vector<PathRow> out;
  const double begins = chain.legs[0].leg.t;
  const auto add = [&](double t, bool seen) { out.push_back({t, chain.at(t, c), seen}); };
  for (const ChainLeg& l : chain.legs) add(l.leg.t, true);
  std::size_t s = 0;
  for (const double frame : frame_times) {
    double t = clock.exposed(frame, chain, c);
    // The sighting of this frame has its own row's time; it is the one nearest in time.
    constexpr double kSameFrame = 0.003;  // s: the clock over the bed is good to a fraction of this
    while (s + 1 < track.seen.size() && track.seen[s + 1].time <= t) ++s;
    bool seen = false;
    for (std::size_t i = s; i < std::min(s + 2, track.seen.size()); ++i) {
      if (std::abs(track.seen[i].time - t) >= kSameFrame) continue;
      t = track.seen[i].time;
      seen = true;
    }
    if (t > begins && t < until) add(t, seen);
  }
  std::sort(out.begin(), out.end(), [](const PathRow& a, const PathRow& b) { return a.time < b.time; });
  constexpr double kSameRow = 1e-7;  // s
  out.erase(std::unique(out.begin(), out.end(),
                        [](const PathRow& a, const PathRow& b) { return b.time - a.time < kSameRow; }),
            out.end());
  return out;
}

}  // namespace baizetrace::path
