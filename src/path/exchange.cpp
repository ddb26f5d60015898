#include "path/exchange.hpp"

#include <algorithm>
#include <cmath>

#include "base/median.hpp"

namespace baizetrace::path {
namespace {

constexpr double kNear = 0.12;        // m: two diameters and what the faster of them comes on in a frame
constexpr double kSameLook = 0.02;    // s: rows of one frame
constexpr double kAtItsPlace = 0.01;  // m

// How a ball looks: its colour for kind `one` against `other`, the median over sightings in which it was seen whole.
struct Looks {
  std::vector<double> of;
  void add(const Sighting& s, std::size_t one, std::size_t other) {
    constexpr double kWhole = 0.7;  // of its outline
    if (s.visible >= kWhole) of.push_back(against(s, other) - against(s, one));
  }
  [[nodiscard]] bool enough(int few) const { return static_cast<int>(of.size()) > few; }
  [[nodiscard]] double value() { return upper_median(of); }
};

// The first sighting after `time`.
std::vector<Sighting>::iterator since(std::vector<Sighting>& seen, double time) {
  return std::find_if(seen.begin(), seen.end(), [&](const Sighting& s) { return s.time > time + kSameLook; });
}

// When a ball was last seen at the place where it had lain.
std::optional<double> last_at_its_place(const Followed& b) {
  if (!b.before) return std::nullopt;
  std::optional<double> last;
  for (const Sighting& s : b.seen) {
    if ((s.at - b.before->at).norm() > kAtItsPlace) break;
    last = s.time;
  }
  return last;
}

}  // namespace

std::optional<double> met_after(const Followed& a, const Followed& b) {
  const auto set_off_a = last_at_its_place(a), set_off_b = last_at_its_place(b);
  if (!set_off_a || !set_off_b) return std::nullopt;
  // The one that set off later was met by the other then, if at all.
  const bool later_b = *set_off_b > *set_off_a;
  const Followed &still = later_b ? b : a, &runs = later_b ? a : b;
  const double then = later_b ? *set_off_b : *set_off_a;
  for (auto s = runs.seen.rbegin(); s != runs.seen.rend(); ++s)
    if (s->time < then + kSameLook)
      return (s->at - still.before->at).norm() < kNear ? std::optional(then) : std::nullopt;
  return std::nullopt;
}

bool exchanged(const Followed& a, const Followed& b, double met, int few) {
  constexpr double kApart = 1.0;     // natural logarithms, by which they differ before
  constexpr double kReversed = 0.5;  // of that, by which they differ the other way round
  if (a.kind == b.kind) return false;
  Looks before[2], after[2];
  for (int k = 0; k < 2; ++k)
    for (const Sighting& s : (k == 0 ? a : b).seen)
      (s.time > met + kSameLook ? after : before)[k].add(s, a.kind, b.kind);
  for (int k = 0; k < 2; ++k)
    if (!before[k].enough(few) || !after[k].enough(few)) return false;
  const double differed = before[0].value() - before[1].value(), differ = after[0].value() - after[1].value();
  return differed > kApart && differ < -kReversed * differed;
}

void exchange(Followed& a, Followed& b, double met) {
  std::vector<Sighting> seen[2];
  for (int k = 0; k < 2; ++k) {
    Followed &own = k == 0 ? a : b, &other = k == 0 ? b : a;
    seen[k].assign(own.seen.begin(), since(own.seen, met));
    seen[k].insert(seen[k].end(), since(other.seen, met), other.seen.end());
  }
  std::swap(a, b);
  std::swap(a.name, b.name);
  std::swap(a.kind, b.kind);
  std::swap(a.radius, b.radius);
  std::swap(a.before, b.before);
  std::swap(a.in_the_open, b.in_the_open);
  a.seen = std::move(seen[0]);
  b.seen = std::move(seen[1]);
}

}  // namespace baizetrace::path
