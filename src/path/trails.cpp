#include "path/trails.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::path {
namespace {

constexpr int kEstablished = 6;       // sightings
constexpr double kLongEnough = 0.18;  // s, from the first of them to the last: longer than a cue's stroke
constexpr double kFarEnough = 0.03;   // m, the same: what lies still is a candidate, not on its way
constexpr double kWholeBall = 0.8;    // mean visible share: hands and cues show less of a ball's outline
constexpr double kForgotten = 0.25;   // s unseen
constexpr double kPatience = 0.6;     // s unseen, of one that is established: somebody leans over it
constexpr double kSlowing = 0.15;     // m/s^2, by rolling
constexpr double kFastest = 4.0;      // m/s: what is sent faster by hand is rare
constexpr int kOften = 5;             // looks in which a ball was seen elsewhere

// How far a sighting lies from where the trail leads, in standard deviations of both.
double off_trail(const Trail& t, const Sighting& s) {
  const double dt = s.time - t.seen_at;
  if (dt < 1e-3) return 1e9;
  const double sd = std::sqrt(0.5 * s.covariance.trace());
  if (t.steps == 1) {
    constexpr double kSlack = 0.01;  // m
    return (s.at - t.at).norm() < kFastest * dt + kSlack ? 1.0 : 1e9;
  }
  const double speed = t.velocity.norm();
  const double spread = 0.003 + 2 * sd + 0.05 * speed * dt + 0.5 * kSlowing * dt * dt;
  return (s.at - t.at - t.velocity * dt).norm() / spread;
}
constexpr double kOnTrail = 3.0;  // standard deviations

bool established(const Trail& t) {
  return t.steps >= kEstablished && t.seen_at - t.first >= kLongEnough && (t.at - t.begun).norm() >= kFarEnough &&
         t.visible >= kWholeBall * t.steps;
}

bool over(const Trail& t, double time) { return time - t.seen_at > (established(t) ? kPatience : kForgotten); }

// So long and so far runs no hand, no cue and no shadow that looks like a whole ball all the way.
bool is_ball(const Trail& t) {
  constexpr int kSightings = 15;
  constexpr double kRun = 0.20;  // m
  return established(t) && t.steps >= kSightings && (t.at - t.begun).norm() >= kRun;
}

// Its kind, when colour tells: clearly better than every other.
constexpr double kClearly = 1.5;  // of the logarithms, a sighting
// A ball that is followed on the move is of that colour already: the trail need only not be another's. In
// dim light a white was 0.7 from the pink (drawn).
constexpr double kHalfway = 0.5;
std::optional<std::size_t> kind_of(const Trail& t, double clearly = kClearly) {
  return clear_kind(t.colour, t.steps, clearly);
}

// Before it meets the first ball a white that comes out fast is seen a few times only, but far.
bool runs_far(const Trail& t) {
  constexpr int kSightings = 8;
  constexpr double kRun = 0.30;  // m
  return established(t) && t.steps >= kSightings && (t.at - t.begun).norm() >= kRun;
}

void go_on(Trail& t, const Sighting& s) {
  const double dt = s.time - t.seen_at;
  const Vec2 v = (s.at - t.at) / dt;
  // Rolling changes slowly: the mean of the last few steps.
  constexpr double kNew = 0.4;
  t.velocity = t.steps < 2 ? v : Vec2((1 - kNew) * t.velocity + kNew * v);
  t.at = s.at;
  t.seen_at = s.time;
  ++t.steps;
  t.visible += s.visible;
  add_colour(t.colour, s);
  if (t.seen.size() < kMostKept) t.seen.push_back(s);
}

// Whether a trail set out where a ball was last seen away from the place where it seems to lie now, at `last`, having
// come from `earlier`.
bool set_out_from(const Trail& t, const Sighting& earlier, const Sighting& last) {
  constexpr double kSoon = 0.3;  // s
  constexpr double kNear = 0.1;  // m, beside what it runs meanwhile
  constexpr double kFaster = 1.5;
  const double dt = t.first - last.time;
  if (dt < -1e-3 || dt > kSoon) return false;
  const double speed = (last.at - earlier.at).norm() / std::max(1e-3, last.time - earlier.time);
  return (t.begun - last.at).norm() < kNear + kFaster * speed * dt;
}

}  // namespace

void run_on(Followed& b, const Trail& t) {
  b.state = Followed::State::moving;
  b.lies = false;
  b.at = t.at;
  b.velocity = t.velocity;
  b.seen_at = t.seen_at;
  b.steps = t.steps;
  b.missed = b.unlike = b.after_rest = 0;
  b.off.clear();
  b.doubtful.clear();
  b.recent.assign(t.seen.end() - std::min<std::ptrdiff_t>(kRecent, std::ssize(t.seen)), t.seen.end());
}

std::vector<const Trail*> Trails::continued(const std::vector<Sighting>& sightings) const {
  std::vector<const Trail*> out(sightings.size(), nullptr);
  for (const Trail& t : trails_) {
    if (!established(t)) continue;
    std::size_t best = sightings.size();
    double least = kOnTrail;
    for (std::size_t i = 0; i < sightings.size(); ++i)
      if (const double z = off_trail(t, sightings[i]); z < least) least = z, best = i;
    if (best < sightings.size()) out[best] = &t;
  }
  return out;
}

void Trails::strays(const std::vector<Sighting>& given_to_none, const std::vector<Followed>& balls, double time) {
  for (const Trail& t : trails_)
    if (over(t, time) && is_ball(t)) {
      ended_.push_back(t);
      if (of_white_alone(t)) unseen_white_.push_back({t.first, t.seen_at, 0});
    }
  std::erase_if(trails_, [&](const Trail& t) { return over(t, time); });
  const std::size_t known = trails_.size();
  std::vector<bool> gone_on(known, false);
  for (const Sighting& s : given_to_none) {
    std::size_t best = known;
    double least = kOnTrail;
    for (std::size_t k = 0; k < known; ++k)
      if (const double z = gone_on[k] ? 1e9 : off_trail(trails_[k], s); z < least) least = z, best = k;
    if (best == known) {
      Trail t;
      t.at = t.begun = s.at;
      t.first = t.seen_at = s.time;
      t.steps = 1;
      t.visible = s.visible;
      add_colour(t.colour, s);
      t.seen.push_back(s);
      trails_.push_back(std::move(t));
      continue;
    }
    Trail& t = trails_[best];
    gone_on[best] = true;
    go_on(t, s);
    constexpr double kSameLook = 0.04;  // s: rows of one picture
    for (const Followed& b : balls) {
      if (b.state == Followed::State::gone || std::abs(b.seen_at - s.time) > kSameLook || b.missed > 0) continue;
      const auto seen = std::find_if(t.beside.begin(), t.beside.end(), [&](const auto& x) { return x.name == b.name; });
      if (seen == t.beside.end())
        t.beside.push_back({b.name, b.kind, 1});
      else
        ++seen->looks;
    }
  }
}

std::vector<Sighting> Trails::hand_over(Followed& b) {
  if (b.state == Followed::State::gone || !b.in_episode || !b.moved) return {};
  const bool rests = b.state == Followed::State::resting;
  std::size_t last = b.seen.size();
  const auto is_it = [&](const Trail& x) {
    if (!is_ball(x) || kind_of(x, rests ? kClearly : kHalfway) != b.kind) return false;
    // Until then it was the ball: before it seemed to come to rest, or before the trail began.
    last = b.seen.size();
    while (last > 0 && (rests ? at_place(b, b.seen[last - 1]) : b.seen[last - 1].time > x.first - 1e-3)) --last;
    if (last < 2) return false;
    double looks = 0;
    int n = 0;
    const auto add = [&](const Sighting& s) { looks += quality_of(s, b.kind), ++n; };
    if (rests) {
      for (const Sighting& s : b.recent)
        if (at_place(b, s)) add(s);
    } else {
      std::for_each(b.seen.begin() + static_cast<std::ptrdiff_t>(last), b.seen.end(), add);
    }
    return (n == 0 || x.visible / x.steps > looks / n + kRatherThat) &&
           set_out_from(x, b.seen[last - 2], b.seen[last - 1]);
  };
  const auto t = std::find_if(trails_.begin(), trails_.end(), is_it);
  if (t == trails_.end()) return {};
  run_on(b, *t);
  std::vector<Sighting> taken = std::move(t->seen);
  b.seen.resize(last);
  b.seen.insert(b.seen.end(), taken.begin(), taken.end());
  trails_.erase(t);
  return taken;
}

std::vector<Sighting> Trails::set_off(Followed& b) {
  constexpr double kOutOfSight = 1.5;  // s: of one that is faster than it can be seen; it slows down
  constexpr double kNear = 0.06;       // m, beside what it runs meanwhile
  if (!b.in_episode || b.moved || b.kind == 0 || !b.near) return {};
  const auto is_it = [&](const Trail& x) {
    if (!is_ball(x) || kind_of(x) != b.kind) return false;
    const double since = x.first - b.near->from;
    if (since < 0 || since > kOutOfSight || (x.begun - b.stay.mean()).norm() > kNear + 2 * kFastest * since)
      return false;
    double looks = 0;
    int n = 0;
    for (const Sighting& s : b.recent)
      if (s.time > x.first - 1e-3) looks += quality_of(s, b.kind), ++n;
    return n == 0 || x.visible / x.steps > looks / n + kRatherThat;
  };
  const auto t = std::find_if(trails_.begin(), trails_.end(), is_it);
  if (t == trails_.end()) return {};
  b.before = b.stay.stay();
  b.seen.clear();
  for (const Sighting& s : b.recent)
    if (s.time < b.near->from) b.seen.push_back(s);
  run_on(b, *t);
  b.moved = true;
  std::vector<Sighting> taken = std::move(t->seen);
  b.seen.insert(b.seen.end(), taken.begin(), taken.end());
  trails_.erase(t);
  return taken;
}

// A run of the cue ball, which nothing that is followed is. Of a ball that is seen elsewhere it has not the colour: a
// white that was never seen at rest taught nobody its own.
bool Trails::of_white_alone(const Trail& t) const {
  if (!is_ball(t) && !runs_far(t)) return false;
  std::vector<double> colour = t.colour;
  for (const Trail::Other& b : t.beside) {
    if (b.kind >= colour.size() || set_.kinds[b.kind].count != 1 || b.looks < kOften) continue;
    if (b.kind == 0) return false;
    colour[b.kind] = -1e9;
  }
  return clear_kind(colour, t.steps, kClearlyWhite) == 0U;
}

const Trail* Trails::white_alone() const {
  const auto t = std::find_if(trails_.begin(), trails_.end(), [&](const Trail& x) { return of_white_alone(x); });
  return t == trails_.end() ? nullptr : &*t;
}

void Trails::forget(const Trail* trail) { trails_.erase(trails_.begin() + (trail - trails_.data())); }

std::vector<Passing> Trails::passing(double from) {
  std::erase_if(ended_, [&](const Trail& t) { return t.seen_at < from; });
  std::vector<Passing> out;
  const auto add = [&](const Trail& t) {
    if (!is_ball(t)) return;
    const auto kind = kind_of(t);
    // In the colour of a ball that was seen elsewhere meanwhile, and that there is one of: a sleeve, a hand.
    const bool elsewhere = kind && set_.kinds[*kind].count == 1 &&
                           std::any_of(t.beside.begin(), t.beside.end(),
                                       [&](const Trail::Other& b) { return b.kind == *kind && b.looks >= kOften; });
    if (!elsewhere) out.push_back({t.first, t.seen_at, kind});
  };
  std::for_each(ended_.begin(), ended_.end(), add);
  std::for_each(trails_.begin(), trails_.end(), add);
  std::stable_sort(out.begin(), out.end(), [](const Passing& a, const Passing& b) { return a.from < b.from; });
  return out;
}

std::vector<Passing> Trails::of_unseen_white() const {
  std::vector<Passing> out = unseen_white_;
  for (const Trail& t : trails_)
    if (of_white_alone(t)) out.push_back({t.first, t.seen_at, 0});
  return out;
}

bool Trails::is_another(const Trail& trail, const Followed& ball, double time) {
  const auto seen =
      std::find_if(trail.beside.begin(), trail.beside.end(), [&](const auto& x) { return x.name == ball.name; });
  if (seen == trail.beside.end() || seen->looks < kOften) return false;
  // Where it can have gone since it was last seen, against where the ball was last.
  constexpr double kBeside = 0.03;  // m, beside touching
  const double run = trail.velocity.norm() * std::max(0.0, time - trail.seen_at);
  return (trail.at - ball.at).norm() - run > 2 * ball.radius + kBeside;
}

}  // namespace baizetrace::path
