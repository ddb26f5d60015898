// What each ball of a look is: following those that are known.
#include <algorithm>
#include <cmath>

#include "path/assignment.hpp"
#include "path/exchange.hpp"
#include "path/part.hpp"
#include "path/tracker_state.hpp"

namespace baizetrace::path {
namespace {

constexpr double kSettle = 0.35;        // s of rest after the last ball stopped before the episode is handed out
constexpr double kLost = 1.0;           // s: a moving ball unseen for longer in the open is gone
constexpr double kLostCovered = 3.0;    // s: the same under cover
constexpr double kLostAtPocket = 0.30;  // s: the same where it would have fallen
constexpr double kBesideNose = 0.4;     // m: what goes out of sight no further from the nose it runs into comes back
constexpr double kTaken = 0.8;          // s: a resting ball unseen in the open for longer has been taken
constexpr int kTakenLooks = 12;
constexpr double kAnothers = 8.5;   // price, for a moving ball, of what another thing's trail leads to: a turn is out
constexpr int kTellsExchanged = 4;  // sightings of either since two balls met
constexpr std::size_t kAfterRest = 12;  // sightings kept of a stay that ends a motion

}  // namespace

bool Tracker::State::covered(const Look& l, const Vec2& p, double beside) {
  return cover_around(l.cover, p, beside).any();
}

bool Tracker::State::falls_at(const Vec2& p, double slack) const {
  return std::any_of(table.pockets().begin(), table.pockets().end(),
                     [&](const table::Pocket& k) { return k.to_fall(p) < slack; });
}

bool Tracker::State::passes_a_fall(const Vec2& from, const Vec2& to) const {
  constexpr int kSteps = 16;
  for (int i = 0; i <= kSteps; ++i)
    if (falls_at(from + (to - from) * i / kSteps, kNearFall)) return true;
  return false;
}

bool Tracker::State::has_fallen(const Vec2& p) const {
  constexpr double kSurely = 0.01;  // m: of a fall's edge, beside which a ball may hang; or of its middle
  constexpr double kBehind = 0.10;  // m of its middle
  return std::any_of(table.pockets().begin(), table.pockets().end(), [&](const table::Pocket& k) {
    const Vec2 in = p - k.fall_centre;
    return k.to_fall(p) < -kSurely || (in.norm() < kBehind && in.dot(k.fall_centre.normalized()) > kSurely);
  });
}

void Tracker::State::look(const Look& l) {
  now = l.time;
  if (!started) started = l.time;
  frames.push_back(l.time);
  cover.emplace_back(l.time, l.cover);
  if (!active) {
    while (!frames.empty() && frames.front() < now - kBefore) frames.pop_front();
    while (!strays.empty() && strays.front().time < now - kBefore) strays.pop_front();
    while (!cover.empty() && cover.front().first < now - kBefore) cover.pop_front();
  }
  if (l.damaged || l.repeated) return;
  hidden.add(l.cover);
  match(l);
  // Not before: an episode may have ended amid the matching.
  std::erase_if(balls, [](const Followed& b) { return b.kind == kNobodys && !b.in_episode; });
  name_candidates(l);
  if (!active) return;
  part_exchanged();
  const bool moving =
      std::any_of(balls.begin(), balls.end(), [](const Followed& b) { return b.state == Followed::State::moving; });
  if (moving) last_motion = now;
  if (!moving && now - last_motion > kSettle) ready = close(false);
}

void Tracker::State::match(const Look& l) {
  tell_causes(balls, table, l.time, l.cover);
  std::vector<std::size_t> who;
  for (std::size_t i = 0; i < balls.size(); ++i)
    if (balls[i].state != Followed::State::gone) who.push_back(i);
  const auto n = static_cast<Eigen::Index>(l.sightings.size()), m = static_cast<Eigen::Index>(who.size());
  Eigen::MatrixXd cost = Eigen::MatrixXd::Constant(n, m + n, kForbidden);
  const std::vector<const Trail*> trail_of = trails.continued(l.sightings);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Trail* const trail = trail_of[static_cast<std::size_t>(i)];
    for (Eigen::Index j = 0; j < m; ++j) {
      const Followed& b = balls[who[static_cast<std::size_t>(j)]];
      const Sighting& s = l.sightings[static_cast<std::size_t>(i)];
      cost(i, j) =
          lay_beside(b, s, candidates) || out_of_the_open(b, s.at, s.time, l.cover) ? kForbidden : cost_of(b, s);
      if (!trail || cost(i, j) >= kForbidden || !Trails::is_another(*trail, b, l.time)) continue;
      const bool starts = b.state == Followed::State::resting && !at_place(b, s);
      cost(i, j) += starts ? kForbidden : kAnothers;
    }
    cost(i, m + i) = kNobody;
  }
  std::vector<bool> seen(balls.size(), false);
  const std::vector<int> given = assign(cost);
  std::vector<Sighting> given_to_none;
  for (std::size_t i = 0; i < given.size(); ++i) {
    const Sighting& s = l.sightings[i];
    if (given[i] < 0 || given[i] >= m) {
      cluster(s, covered(l, s.at));
      strays.push_back(s);
      given_to_none.push_back(s);
      continue;
    }
    Followed& b = balls[who[static_cast<std::size_t>(given[i])]];
    seen[who[static_cast<std::size_t>(given[i])]] = true;
    if (b.state == Followed::State::resting) {
      constexpr double kBeside = 0.06;  // m
      b.in_the_open += at_place(b, s) && !covered(l, s.at, kBeside);
      constexpr double kSeenWhole = 0.9;  // of its outline
      if (at_place(b, s) && s.visible > kSeenWhole) seen_whole(b, cover_around(l.cover, b.stay.mean(), kUnderBall));
      take_resting(b, s);
    } else {
      b.in_the_open += !covered(l, s.at);
      take_moving(b, s);
    }
  }
  for (std::size_t i = 0; i < balls.size(); ++i)
    if (!seen[i] && balls[i].state != Followed::State::gone) miss(balls[i], l);
  trails.strays(given_to_none, balls, l.time);
  take_up_white();
  if (!active) return;
  for (Followed& b : balls) {
    if (b.kind == kNobodys || set.kinds[b.kind].count != 1) continue;
    std::vector<Sighting> its = trails.hand_over(b);
    if (its.empty()) its = trails.set_off(b);
    if (its.empty()) continue;
    last_motion = now;
    give_to_none_no_more(its);
  }
}

void Tracker::State::part_exchanged() {
  for (std::size_t i = 0; i < balls.size(); ++i)
    for (std::size_t j = 0; j < i; ++j) {
      Followed &a = balls[i], &b = balls[j];
      if (!a.moved || !b.moved || a.kind == kNobodys || b.kind == kNobodys) continue;
      const auto met = met_after(a, b);
      if (met && exchanged(a, b, *met, kTellsExchanged)) exchange(a, b, *met);
    }
}

void Tracker::State::take_resting(Followed& b, const Sighting& s) {
  b.missed = 0;
  b.recent.push_back(s);
  if (b.recent.size() > kRecent) b.recent.pop_front();
  if (b.in_episode && b.moved && b.after_rest < static_cast<int>(kAfterRest)) {
    b.seen.push_back(s);
    ++b.after_rest;
  }
  if (badly_seen(b, s) && !at_place(b, s)) {
    // Shadows that come and go shift what is seen of it. What lasts is where it lies: a sleeve may have touched it.
    constexpr double kLasts = 1.0;  // s
    b.seen_at = s.time;
    b.doubtful.push_back(s);
    if (s.time - b.doubtful.front().time < kLasts) return;
    b.stay = StayMean{};
    for (const Sighting& d : b.doubtful) b.stay.add(d);
    b.at = b.stay.mean();
    b.doubtful.clear();
    return;
  }
  b.doubtful.clear();
  if (at_place(b, s)) {
    b.off.clear();
    b.seen_at = s.time;
    b.at = b.stay.mean();
    b.velocity.setZero();
    constexpr double kForgets = 0.03;  // of the running mean, a look
    b.quality += kForgets * (quality_of(s, b.kind) - b.quality);
    // Outlines that are partly hidden are biased; they say that it is there, not where.
    constexpr double kWhole = 0.7;
    if (s.visible < kWhole && b.stay.count() > 0) return;
    // A shift that persists is a nudge.
    if (b.stay.count() > 2 * static_cast<int>(kRecent) && b.recent.size() == kRecent) {
      StayMean late;
      for (const Sighting& r : b.recent)
        if (r.visible >= kWhole && at_place(b, r)) late.add(r);
      const double sure = 5 * b.stay.sd() / std::sqrt(std::max(1, late.fits()));
      if (late.count() >= 10 && (late.mean() - b.stay.mean()).norm() > std::max(kNudged, sure)) {
        start(b);
        return;
      }
    }
    b.stay.add(s);
    return;
  }
  b.off.push_back(s);
  const std::size_t n = b.off.size();
  if (n >= 2) {
    const double dt = std::max(1e-3, s.time - b.off[n - 2].time);
    b.velocity = (s.at - b.off[n - 2].at) / dt;
  } else {
    b.velocity = (s.at - b.stay.mean()) / std::max(0.02, s.time - b.seen_at);
  }
  b.at = s.at;
  b.seen_at = s.time;
  // What lies still far from the place is no ball that has just set off: another one, taken for it while it is hidden.
  // Hidden for longer, it may have been put there.
  constexpr double kFarOff = 0.06;     // m: nothing comes so far and stops within a few frames
  constexpr double kAFewFrames = 0.2;  // s
  double at_home = -1e9;
  for (const Sighting& r : b.recent)
    if (at_place(b, r)) at_home = r.time;
  if (n == 2 && b.off[0].time - at_home < kAFewFrames && (b.off[0].at - b.stay.mean()).norm() > kFarOff &&
      at_rest_between(b.off[0], b.off[1])) {
    for (const Sighting& o : b.off) {
      cluster(o, false);
      strays.push_back(o);
      std::erase_if(b.recent, [&](const Sighting& r) { return r.time == o.time; });
    }
    b.off.clear();
    b.at = b.stay.mean();
    b.velocity.setZero();
    return;
  }
  // Two in a row well away from the place, or three anywhere off it.
  constexpr double kWellAway = 0.02;  // m
  const bool away = n >= 2 && (b.off[n - 1].at - b.stay.mean()).norm() > kWellAway &&
                    (b.off[n - 2].at - b.stay.mean()).norm() > 0.5 * kWellAway;
  if (away || n >= 3) start(b);
}

void Tracker::State::start(Followed& b) {
  if (active && now - last_motion > 0.5 * kSettle &&
      std::none_of(balls.begin(), balls.end(), [](const Followed& o) { return o.state == Followed::State::moving; })) {
    // All had come to rest: what begins now is another episode.
    ready = close(false);
  }
  const double from = b.off.empty() ? b.recent.front().time : b.off.front().time;
  if (!active) begin_episode(from);
  last_motion = now;
  if (b.in_episode && !b.moved) {
    b.before = b.stay.stay();
    b.seen.assign(b.recent.begin(), b.recent.end());
  }
  b.moved = true;
  b.after_rest = 0;
  b.state = Followed::State::moving;
  b.lies = false;
  b.steps = static_cast<int>(b.off.size());
  b.off.clear();
}

void Tracker::State::begin_episode(double from) {
  active = true;
  begin = from;
  for (Followed& b : balls) {
    b.moved = false;
    b.seen.clear();
    b.after_rest = 0;
    b.in_episode = b.state != Followed::State::gone;
    b.before.reset();
    b.near.reset();
    if (b.in_episode) b.before = b.stay.stay();
  }
}

void Tracker::State::give_to_none_no_more(const std::vector<Sighting>& its) {
  std::erase_if(strays, [&](const Sighting& s) {
    return std::any_of(its.begin(), its.end(),
                       [&](const Sighting& i) { return i.time == s.time && (i.at - s.at).norm() < 1e-6; });
  });
}

void Tracker::State::take_moving(Followed& b, const Sighting& s) {
  b.missed = 0;
  const double dt = s.time - b.seen_at;
  // Turned out of sight: how fast it is now must be told anew.
  constexpr double kOutOfSight = 0.15, kTurned = 0.05;  // s; m
  const bool turned = dt > kOutOfSight && (s.at - b.at - dt * b.velocity).norm() > kTurned;
  if (dt > 1e-4) b.velocity = (s.at - b.at) / dt;
  b.at = s.at;
  b.seen_at = s.time;
  b.steps = turned ? 0 : b.steps + 1;
  b.back = turned || (b.back && b.steps < kUnlike);
  b.seen.push_back(s);
  b.into.reset();
  b.recent.push_back(s);
  if (b.recent.size() > kRecent) b.recent.pop_front();
  if (const auto back = take_back_unlike(b, s); !back.empty()) {
    strays.insert(strays.end(), back.begin(), back.end());
    return;
  }
  // At rest?
  std::size_t first = b.seen.size();
  while (first > 0 && s.time - b.seen[first - 1].time <= options.still_for + 0.02) --first;
  const std::span<const Sighting> late(b.seen.data() + first, b.seen.size() - first);
  const Drift d = drift_of(late);
  constexpr double kStillSpread = 0.002;  // m
  const double sd = std::sqrt(0.5 * s.covariance.trace());
  if (late.size() >= 5 && d.lasting > 0.85 * options.still_for && d.speed < options.still_speed &&
      d.spread < kStillSpread + 2 * sd)
    rest(b);
  // No ball lies there: it fell, and what is seen since is the pocket.
  if (b.state != Followed::State::resting || !has_fallen(b.at)) return;
  while (b.seen.size() > 2 && has_fallen(b.seen.back().at)) b.seen.pop_back();
  b.at = b.seen.back().at;
  b.seen_at = b.seen.back().time;
  b.lies = false;
  b.state = Followed::State::gone;
}

void Tracker::State::rest(Followed& b) {
  b.state = Followed::State::resting;
  b.lies = true;
  b.velocity.setZero();
  b.off.clear();
  b.stay = StayMean{};
  // Only the last few: the first of them may still have crept.
  const std::size_t keep = std::min<std::size_t>(4, b.seen.size());
  for (std::size_t i = b.seen.size() - keep; i < b.seen.size(); ++i) b.stay.add(b.seen[i]);
  b.at = b.stay.mean();
  b.after_rest = 0;
  b.whole = 0;
}

void Tracker::State::miss(Followed& b, const Look& l) {
  const double unseen = l.time - b.seen_at;
  if (b.state == Followed::State::resting) {
    if (may_be_hidden(b, cover_around(l.cover, b.stay.mean(), kUnderBall))) return;
    ++b.missed;
    if (b.missed < kTakenLooks || unseen < kTaken) return;
    b.state = Followed::State::gone;
    if (active && b.in_episode && !b.moved) b.seen.assign(b.recent.begin(), b.recent.end());
    return;
  }
  const Vec2 p = b.at + b.velocity * std::min(unseen, 0.5);
  // Beyond the bed it went by a pocket, or it was lost long before. From a nose it comes back; hidden, it has turned
  // there out of sight, wherever it would have gone without.
  const Vec2 most(table.half_width() - b.radius, table.half_length() - b.radius);
  const bool off = !table.on_bed(p, b.radius, 0.02) && !covered(l, p.cwiseMin(most).cwiseMax(-most)) &&
                   (passes_a_fall(b.at, p) || table.on_bed(b.at, b.radius, -kBesideNose));
  const CoverMap& then = cover.front().second;
  const bool fell = (falls_at(b.at, kNearFall) || falls_at(p, kNearFall) || off) &&
                    !mouth_never_seen(table, then, l.cover, b.at) && !mouth_never_seen(table, then, l.cover, p);
  const double patience = fell ? kLostAtPocket : covered(l, b.at) || covered(l, p) ? kLostCovered : kLost;
  if (unseen > patience) {
    b.state = Followed::State::gone;
    b.off.clear();
  }
}

// The episode under way; nullopt when nothing moved after all.
std::optional<Episode> Tracker::State::close(bool cut) {
  Episode e;
  e.begin = begin;
  e.end = last_motion;
  e.cut = cut;
  for (Followed& b : balls) {
    if (never_was(b))
      b.kind = kNobodys;
    else if (b.in_episode)
      e.balls.push_back(track_of(b));
  }
  e.strays.assign(strays.begin(), strays.end());
  e.passing = trails.passing(begin);
  e.frame_times.assign(frames.begin(), frames.end());
  e.cover.assign(cover.begin(), cover.end());
  active = false;
  for (Followed& b : balls) {
    b.seen.clear();
    b.moved = b.in_episode = false;
    b.before.reset();
  }
  if (std::none_of(e.balls.begin(), e.balls.end(), [](const BallTrack& t) { return t.moved; })) return std::nullopt;
  return e;
}

Tracker::Tracker(const table::Table& table, const table::BallSet& balls, const TrackerOptions& options)
    : state_(std::make_unique<State>(table, balls, options)) {}
std::vector<Passing> Tracker::unseen_white() const { return state_->trails.of_unseen_white(); }
Tracker::Tracker(Tracker&&) noexcept = default;
Tracker::~Tracker() = default;

std::optional<Episode> Tracker::push(const Look& look) {
  state_->look(look);
  return std::exchange(state_->ready, std::nullopt);
}

std::optional<Episode> Tracker::finish() {
  if (!state_->active) return std::nullopt;
  const bool moving = std::any_of(state_->balls.begin(), state_->balls.end(),
                                  [](const Followed& b) { return b.state == Followed::State::moving; });
  return state_->close(moving);
}

}  // namespace baizetrace::path
