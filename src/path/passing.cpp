#include "path/passing.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::path {
namespace {

// Times at which a path is looked at, close enough that between two of them it is straight to a few micrometres.
std::vector<double> instants(const BallPath& path) {
  constexpr double kStep = 0.004;  // m between two looks
  std::vector<double> out;
  for (const Piece& p : path.pieces) {
    const double length = (p.to - p.from) * std::max(p.velocity.norm(), p.velocity_at(p.to).norm());
    const int n = std::clamp(static_cast<int>(std::ceil(length / kStep)), 1, 5000);
    for (int i = 0; i <= n; ++i) out.push_back(p.from + (p.to - p.from) * i / n);
  }
  return out;
}

}  // namespace

std::vector<std::pair<Post, Post>> gates_between(const std::vector<Post>& resting, double ball_radius) {
  std::vector<std::pair<Post, Post>> out;
  for (std::size_t i = 0; i < resting.size(); ++i) {
    for (std::size_t j = i + 1; j < resting.size(); ++j) {
      const Vec2 &a = resting[i].at, &b = resting[j].at;
      const double length = (b - a).norm();
      if (length >= kWidestGate || length <= 0) continue;
      const Vec2 along = (b - a) / length;
      bool open = true;
      for (std::size_t k = 0; k < resting.size() && open; ++k) {
        if (k == i || k == j) continue;
        const double s = (resting[k].at - a).dot(along);
        open = !(s > 0 && s < length && std::abs(cross(along, resting[k].at - a)) < 3 * ball_radius);
      }
      if (open) out.emplace_back(resting[i], resting[j]);
    }
  }
  return out;
}

std::vector<GatePassed> gates_passed(const BallPath& cue_ball, double cue_radius,
                                     const std::vector<std::pair<Post, Post>>& gates) {
  std::vector<GatePassed> out;
  const std::vector<double> times = instants(cue_ball);
  for (const auto& [first, second] : gates) {
    const double length = (second.at - first.at).norm();
    if (length <= 0) continue;
    const Vec2 along = (second.at - first.at) / length;
    const auto side = [&](double t) { return cross(along, *cue_ball.at(t) - first.at); };
    // The side it was last clearly on; touching the line without crossing it is not passing.
    double last_side = 0, last_time = 0;
    for (const double t : times) {
      const double s = side(t);
      constexpr double kOnTheLine = 1e-9;  // m
      if (std::abs(s) < kOnTheLine) continue;
      if (last_side * s < 0) {
        double lo = last_time, hi = t;
        for (int i = 0; i < 50; ++i) {
          const double mid = 0.5 * (lo + hi);
          (side(mid) * last_side > 0 ? lo : hi) = mid;
        }
        const double when = 0.5 * (lo + hi);
        const Vec2 at = *cue_ball.at(when);
        const double from_first = (at - first.at).dot(along);
        if (from_first > 0 && from_first < length) {
          GatePassed g;
          g.between = {first.name, second.name};
          g.time = when;
          g.at = at;
          g.clearance =
              std::min((at - first.at).norm() - first.radius, (at - second.at).norm() - second.radius) - cue_radius;
          out.push_back(g);
        }
      }
      last_side = s;
      last_time = t;
    }
  }
  std::stable_sort(out.begin(), out.end(), [](const GatePassed& a, const GatePassed& b) { return a.time < b.time; });
  return out;
}

std::vector<PocketPassed> nearest_pockets(const BallPath& cue_ball, const table::Table& table) {
  std::vector<PocketPassed> out;
  const std::vector<double> times = instants(cue_ball);
  for (const table::Pocket& pocket : table.pockets()) {
    PocketPassed p;
    p.pocket = pocket.name;
    p.distance = 1e18;
    if (times.empty()) continue;
    std::size_t nearest = 0;
    for (std::size_t i = 0; i < times.size(); ++i) {
      const double d = pocket.to_fall(*cue_ball.at(times[i]));
      if (d < p.distance) p.distance = d, p.time = times[i], nearest = i;
    }
    // Between its neighbours, by thirds.
    double lo = times[nearest > 0 ? nearest - 1 : 0], hi = times[std::min(nearest + 1, times.size() - 1)];
    const auto distance = [&](double t) { return pocket.to_fall(*cue_ball.at(t)); };
    for (int i = 0; i < 60; ++i) {
      const double a = lo + (hi - lo) / 3, b = hi - (hi - lo) / 3;
      (distance(a) < distance(b) ? hi : lo) = distance(a) < distance(b) ? b : a;
    }
    const double t = 0.5 * (lo + hi);
    if (distance(t) < p.distance) p.distance = distance(t), p.time = t;
    if (cue_ball.pocket == pocket.name) p.distance = 0, p.time = cue_ball.pocket_time;
    p.distance = std::max(0.0, p.distance);
    out.push_back(p);
  }
  return out;
}

}  // namespace baizetrace::path
