#include "path/part.hpp"

#include <algorithm>

namespace baizetrace::path {
namespace {

// A ball that is hidden while it is struck may be looked for in the wrong place: a first sighting from which it would
// have to come back a long way is not its own.
void drop_false_start(BallTrack& t) {
  constexpr double kFarOff = 0.06;                    // m
  constexpr double kLonger = 1.5, kByAtLeast = 0.40;  // of the way without it; m
  if (!t.before) return;
  for (int tries = 0; tries < 3; ++tries) {
    const auto first = std::find_if(t.seen.begin(), t.seen.end(),
                                    [&](const Sighting& s) { return (s.at - t.before->at).norm() > kFarOff; });
    if (first == t.seen.end() || first + 1 == t.seen.end()) return;
    const double way = (first->at - t.before->at).norm() + ((first + 1)->at - first->at).norm();
    if (way < kLonger * ((first + 1)->at - t.before->at).norm() + kByAtLeast) return;
    t.seen.erase(first);
  }
}

}  // namespace

BallTrack track_of(const Followed& b) {
  BallTrack t;
  t.ball = b.name;
  t.before = b.before;
  t.moved = b.moved;
  if (b.state == Followed::State::gone && !b.moved) t.moved = true;  // taken away
  if (b.state == Followed::State::resting) t.after = b.stay.stay();
  if (t.moved && t.before && t.after) {
    // Strays can look like a start: a ball that lies where it lay and was hardly seen elsewhere has not moved.
    constexpr double kElsewhere = 0.008;  // m
    constexpr int kStrays = 4;
    int elsewhere = 0;
    for (const Sighting& s : b.seen) elsewhere += (s.at - t.before->at).norm() > kElsewhere;
    if ((t.after->at - t.before->at).norm() < kNudged && elsewhere <= kStrays) t.moved = false;
  }
  if (!b.moved && t.after) t.before = t.after;  // seen all along: later frames too
  if (b.moved && !t.moved) t.after = t.before;
  if (t.moved) t.seen = b.seen;
  std::stable_sort(t.seen.begin(), t.seen.end(), [](const Sighting& x, const Sighting& y) { return x.time < y.time; });
  drop_false_start(t);
  return t;
}

}  // namespace baizetrace::path
