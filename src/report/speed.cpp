#include "report/speed.hpp"

#include <algorithm>

namespace baizetrace::report {
namespace {

constexpr double kLeastStep = 0.002;  // s: rows nearer than this (a contact's beside a frame's) give no speed

}  // namespace

std::vector<SpeedPoint> speeds_along(const BallPath& path, std::size_t most) {
  std::vector<SpeedPoint> all;
  if (!path.pieces.empty()) {
    const double lasts = path.pieces.back().to - path.pieces.front().from;
    const double step = lasts / static_cast<double>(std::max<std::size_t>(most, 2));
    for (const Piece& p : path.pieces) {
      if (p.phase == Piece::Phase::rest) continue;
      const int n = std::max(1, static_cast<int>((p.to - p.from) / std::max(step, 1e-6)));
      for (int k = 0; k <= n; ++k) {
        const double t = p.from + (p.to - p.from) * k / n;
        all.push_back({t, p.velocity_at(t).norm()});
      }
    }
    return all;
  }
  const auto contact_between = [&](double a, double b) {
    return std::any_of(path.contacts.begin(), path.contacts.end(),
                       [&](const Contact& c) { return c.time > a + 1e-9 && c.time < b - 1e-9; });
  };
  const std::size_t stride = std::max<std::size_t>(1, path.rows.size() / std::max<std::size_t>(most, 1));
  for (std::size_t k = 0; k + 1 < path.rows.size(); k += stride) {
    const PathRow& a = path.rows[k];
    const PathRow& b = path.rows[std::min(k + stride, path.rows.size() - 1)];
    if (b.time - a.time < kLeastStep || contact_between(a.time, b.time)) continue;
    all.push_back({0.5 * (a.time + b.time), (b.at - a.at).norm() / (b.time - a.time)});
  }
  for (const Contact& c : path.contacts) {
    all.push_back({c.time, c.speed_in});
    if (c.kind != ContactKind::pocket) all.push_back({c.time, c.speed_out});
  }
  std::stable_sort(all.begin(), all.end(), [](const SpeedPoint& a, const SpeedPoint& b) { return a.time < b.time; });
  return all;
}

}  // namespace baizetrace::report
