#include "path/late.hpp"

#include <algorithm>

namespace baizetrace::path {
namespace {

// Chosen, not measured: the drawn white that showed the need of it lay in sight for 0.34 s, 0.81 of it.
constexpr double kLay = 0.25;        // s, at least, in
constexpr int kLaySightings = 8;     // so many looks
constexpr double kShows = 0.6;       // mean visible share: a board's edge may hide the rest
constexpr double kUntilThen = 0.15;  // s, from its last sighting there to the first on the way
constexpr double kNear = 0.03;       // m, beside what it ran meanwhile
constexpr double kFaster = 1.5;      // than over the first steps that were seen
constexpr double kOwnPlace = 0.004;  // m: a sighting so near is of it as it lay
constexpr std::size_t kFirstSteps = 3;

// Over the first sightings that were seen away from where it lay, m/s.
double first_speed(const Trail& run, const Vec2& place) {
  std::size_t i = 0;
  while (i + kFirstSteps < run.seen.size() && (run.seen[i].at - place).norm() < kOwnPlace) ++i;
  const Sighting &a = run.seen[i], &b = run.seen[std::min(i + kFirstSteps, run.seen.size() - 1)];
  return (b.at - a.at).norm() / std::max(1e-3, b.time - a.time);
}

}  // namespace

std::optional<Followed> told_late(const Trail& run, const std::vector<Candidate>& lay,
                                  const std::deque<Sighting>& strays) {
  const Candidate* from = nullptr;
  for (const Candidate& c : lay) {
    const int n = c.stay.count();
    if (n < kLaySightings || c.last - c.first < kLay || c.visible < kShows * n) continue;
    if (clear_kind(c.colour, n, kClearlyWhite) != 0U) continue;
    // Seen there until it ran; a trail may begin with the ball at rest.
    if (c.first > run.first + 1e-3 || run.first - c.last > kUntilThen) continue;
    const double meanwhile = std::max(0.0, run.first - c.last);
    if ((run.begun - c.stay.mean()).norm() > kNear + kFaster * first_speed(run, c.stay.mean()) * meanwhile) continue;
    if (!from || c.last > from->last) from = &c;
  }
  if (!from) return std::nullopt;
  Followed b;
  run_on(b, run);
  b.stay = from->stay;
  b.before = from->stay.stay();
  b.moved = b.in_episode = true;
  const Vec2& place = from->stay.mean();
  for (const Sighting& s : strays)
    if (s.time < run.first - 1e-6 && (s.at - place).norm() < kOwnPlace) b.seen.push_back(s);
  b.seen.insert(b.seen.end(), run.seen.begin(), run.seen.end());
  return b;
}

}  // namespace baizetrace::path
