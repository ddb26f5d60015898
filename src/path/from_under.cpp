#include "path/from_under.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::path {
namespace {

// Chosen, not measured: the drawn whites that showed the need of it came out at 0.6 to 3.8 m/s.
constexpr double kNearlyAlways = 0.9;  // of the looks
constexpr double kHandRolls = 0.4;     // m/s
constexpr double kEdge = 0.08;         // m in the open at most, from the hidden part to the first sighting
constexpr double kLongest = 1.0;       // m looked back: a frame along the way hides no place that is told from it
constexpr double kStep = 0.005;        // m
constexpr double kAcross = 0.003;      // m, beside
constexpr double kHeading = 0.02;      // rad, that its first steps are off by
constexpr std::size_t kFirstSteps = 5;

}  // namespace

void LongCover::add(const CoverMap& cover) {
  if (cover.half_width <= 0) return;
  shape_.half_width = cover.half_width;
  shape_.half_length = cover.half_length;
  ++looks_;
  for (std::size_t i = 0; i < times_.size(); ++i) times_[i] += cover.cells[i] ? 1 : 0;
}

bool LongCover::hides(const Vec2& place) const {
  if (looks_ == 0) return false;
  const std::optional<std::size_t> cell = shape_.cell(place);
  return cell && times_[*cell] >= kNearlyAlways * looks_;
}

std::optional<Followed> told_from_under(const Trail& run, const LongCover& hidden, const table::Table& table,
                                        double radius) {
  const std::size_t k = std::min(kFirstSteps, run.seen.size() - 1);
  if (k == 0) return std::nullopt;
  const Sighting &first = run.seen.front(), &later = run.seen[k];
  const Vec2 way = later.at - first.at;
  const double run_for = later.time - first.time;
  if (run_for <= 0 || way.norm() < kHandRolls * run_for) return std::nullopt;
  const Vec2 back = -way.normalized();
  double from = -1, to = -1;  // m back from the first sighting: what is hidden of it
  for (double d = 0; d < kLongest; d += kStep) {
    const Vec2 p = first.at + d * back;
    if (!table.on_bed(p, radius, 0)) break;
    if (hidden.hides(p)) {
      if (from < 0) from = d;
      to = d;
    } else if (d > (from < 0 ? kEdge : to + kEdge)) {
      break;
    }
  }
  if (from < 0) return std::nullopt;
  Followed b;
  run_on(b, run);
  b.seen = run.seen;
  b.moved = b.in_episode = true;
  const double middle = 0.5 * (from + to), along = std::max(kAcross, (to - from) / std::sqrt(12.0));
  const double across = std::hypot(kAcross, kHeading * middle);
  Mat2 axes;
  axes << back, Vec2(-back.y(), back.x());
  Stay lay;
  lay.at = first.at + middle * back;
  lay.covariance = axes * Vec2(along * along, across * across).asDiagonal() * axes.transpose();
  lay.from = lay.to = first.time;
  b.before = lay;
  return b;
}

}  // namespace baizetrace::path
