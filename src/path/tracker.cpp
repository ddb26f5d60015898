#include <algorithm>
#include <cmath>
#include <deque>

#include "path/assignment.hpp"
#include "path/episode.hpp"
#include "path/followed.hpp"
#include "path/part.hpp"
#include "path/trails.hpp"

namespace baizetrace::path {
namespace {

constexpr double kSettle = 0.35;   // s of rest after the last ball stopped before the episode is handed out
constexpr double kConfirm = 0.30;  // s that something must stay at a place to be a ball
constexpr int kConfirmSightings = 8;
constexpr double kFirstLook = 1.0;     // s from the first look in which the balls on the table are taken stock of
constexpr double kConfirmLater = 0.6;  // s, the same for a ball that was known and is put back
constexpr double kConfirmNew = 2.0;    // s, for one never seen before: people lean in more often than balls are added
constexpr double kWholeBall = 0.85;    // mean visible share of a ball that has just been put down
// And of one that is told late, but is said to have lain there before: bare cloth, learnt under a player and taken for
// the green, showed 0.88 to 0.91 of an outline, a green on its spot 0.94.
constexpr double kSurelyBall = 0.92;
constexpr double kAnyBall = 0.80;       // and of one that lies there at the start
constexpr double kUnderCover = 0.95;    // and there, where a person is: a cue's butt shows most of a ball's outline
constexpr double kForget = 0.40;        // s: a candidate unseen for longer is dropped
constexpr double kLost = 1.0;           // s: a moving ball unseen for longer in the open is gone
constexpr double kLostCovered = 3.0;    // s: the same under cover
constexpr double kLostAtPocket = 0.30;  // s: the same where it would have fallen
constexpr double kTaken = 0.8;          // s: a resting ball unseen in the open for longer has been taken
constexpr int kTakenLooks = 12;
constexpr double kBefore = 1.0;       // s of frames kept before the first motion seen
constexpr double kNearFall = 0.05;    // m before a fall line: what goes out of sight there fell
constexpr double kAnothers = 8.5;     // price, for a moving ball, of what another thing's trail leads to: a turn is out
constexpr double kUnderBall = 0.026;  // m: a ball is covered when a cell under any of its sides is
constexpr std::size_t kAfterRest = 12;  // sightings kept of a stay that ends a motion

// Whether two sightings are of something that lies still.
bool at_rest_between(const Sighting& a, const Sighting& b) {
  constexpr double kStill = 0.05;  // m/s
  const double sd = std::sqrt(0.5 * (a.covariance + b.covariance).trace());
  return (b.at - a.at).norm() < kStill * std::max(0.0, b.time - a.time) + 3 * sd;
}

// The ball lies where the candidate does.
void lie_at(Followed& ball, const Candidate& c) {
  ball.state = Followed::State::resting;
  ball.lies = true;
  ball.stay = c.stay;
  ball.at = c.stay.mean();
  ball.velocity.setZero();
  ball.seen_at = c.last;
  ball.missed = 0;
}

}  // namespace

struct Tracker::State {
  State(const table::Table& t, const table::BallSet& b, const TrackerOptions& o)
      : table(t), set(b), options(o), names(o.names) {
    for (const table::BallKind& k : set.kinds) {
      const auto spot = table.spots().find(k.name);
      homes.push_back(k.count == 1 && spot != table.spots().end() ? std::optional(spot->second) : std::nullopt);
    }
  }

  const table::Table table;
  const table::BallSet set;
  const TrackerOptions options;
  Names names;
  std::vector<std::optional<Vec2>> homes;  // per kind: its spot
  std::vector<Followed> balls;
  Trails trails;
  std::vector<Candidate> candidates;
  std::vector<std::pair<std::string, Candidate>> stock;  // the balls that were admitted while stock was taken
  bool active = false;
  double begin = 0, last_motion = 0, now = 0;
  std::optional<double> started;  // first look
  std::deque<double> frames;      // timestamps since kBefore before the episode
  std::deque<std::pair<double, CoverMap>> cover;
  std::deque<Sighting> strays;  // of the same time
  std::optional<Episode> ready;

  void look(const Look& l);
  void match(const Look& l);
  void take_resting(Followed& b, const Sighting& s);
  void take_moving(Followed& b, const Sighting& s);
  void miss(Followed& b, const Look& l);
  void start(Followed& b);
  void rest(Followed& b);
  void cluster(const Sighting& s, bool covered);
  void name_candidates(const Look& l);
  void take_stock_anew();
  void admit(const Candidate& c, std::size_t kind);
  [[nodiscard]] std::optional<Episode> close(bool cut);
  [[nodiscard]] static bool covered(const Look& l, const Vec2& p, double beside = kUnderBall);
  [[nodiscard]] bool falls_at(const Vec2& p, double slack) const;
};

bool Tracker::State::covered(const Look& l, const Vec2& p, double beside) {
  return cover_around(l.cover, p, beside).any();
}

bool Tracker::State::falls_at(const Vec2& p, double slack) const {
  return std::any_of(table.pockets().begin(), table.pockets().end(),
                     [&](const table::Pocket& k) { return k.to_fall(p) < slack; });
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
  match(l);
  // Not before: an episode may have ended amid the matching.
  std::erase_if(balls, [](const Followed& b) { return b.kind == kNobodys && !b.in_episode; });
  name_candidates(l);
  if (!active) return;
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
  if (!active) return;
  for (Followed& b : balls) {
    if (b.kind == kNobodys || set.kinds[b.kind].count != 1) continue;
    const std::vector<Sighting> its = trails.hand_over(b);
    if (its.empty()) continue;
    last_motion = now;
    std::erase_if(strays, [&](const Sighting& s) {
      return std::any_of(its.begin(), its.end(),
                         [&](const Sighting& i) { return i.time == s.time && (i.at - s.at).norm() < 1e-6; });
    });
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
      const double sure = 5 * b.stay.sd() / std::sqrt(std::max(1, late.count()));
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
  if (!active) {
    active = true;
    begin = from;
    for (Followed& o : balls) {
      o.moved = false;
      o.seen.clear();
      o.after_rest = 0;
      o.in_episode = o.state != Followed::State::gone;
      o.before.reset();
      if (o.in_episode) o.before = o.stay.stay();
    }
  }
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
  // Where a cushion is hidden it has turned there, out of sight, wherever it would have gone without.
  const Vec2 most(table.half_width() - b.radius, table.half_length() - b.radius);
  const bool off = !table.on_bed(p, b.radius, 0.02) && !covered(l, p.cwiseMin(most).cwiseMax(-most));
  const bool fell = (falls_at(b.at, kNearFall) || falls_at(p, kNearFall) || off) &&
                    !mouth_never_seen(table, cover.front().second, l.cover, b.at);
  const double patience = fell ? kLostAtPocket : covered(l, b.at) || covered(l, p) ? kLostCovered : kLost;
  if (unseen > patience) {
    b.state = Followed::State::gone;
    b.off.clear();
  }
}

void Tracker::State::cluster(const Sighting& s, bool under_cover) {
  Candidate* home = nullptr;
  for (Candidate& c : candidates) {
    const double sd = std::max(c.stay.sd(), std::sqrt(0.5 * s.covariance.trace()));
    if ((c.stay.mean() - s.at).norm() < 0.003 + 3 * sd) home = &c;
  }
  if (!home) {
    candidates.emplace_back();
    home = &candidates.back();
    home->first = s.time;
  }
  home->stay.add(s);
  home->last = s.time;
  home->covered += under_cover;
  home->visible += s.visible;
  add_colour(home->colour, s);
}

// The balls that were admitted while stock is taken are candidates again, beside those that have ripened since: which
// of two white ones is the white is not told by which was told first.
void Tracker::State::take_stock_anew() {
  for (auto& [name, c] : stock) {
    const auto b = std::find_if(balls.begin(), balls.end(), [&](const Followed& f) { return f.name == name; });
    if (b == balls.end() || b->state != Followed::State::resting || !b->off.empty()) continue;
    c.last = b->seen_at;
    candidates.push_back(std::move(c));
    balls.erase(b);
  }
  stock.clear();
}

void Tracker::State::name_candidates(const Look& l) {
  std::erase_if(candidates, [&](const Candidate& c) { return l.time - c.last > kForget; });
  const bool first_look = l.time - *started < kFirstLook;
  const auto is_ripe = [&](const Candidate& c) {
    const bool covered = 2 * c.covered >= c.stay.count();
    const double whole = first_look ? (covered ? kUnderCover : kAnyBall) : kWholeBall;
    return c.stay.count() >= kConfirmSightings && c.last - c.first >= (first_look ? kConfirm : kConfirmLater) &&
           (first_look || !covered) && c.visible > whole * c.stay.count() &&
           table.on_bed(c.stay.mean(), set.kinds[0].radius, 0.012) && !falls_at(c.stay.mean(), 0.0);
  };
  if (std::none_of(candidates.begin(), candidates.end(), is_ripe)) return;
  if (first_look && !active) take_stock_anew();
  std::vector<const Candidate*> ripe;
  for (const Candidate& c : candidates)
    if (is_ripe(c)) ripe.push_back(&c);
  // A ball that rests or moves in sight is not anywhere else.
  constexpr double kOutOfSight = 0.25;  // s
  std::vector<int> free;
  for (std::size_t k = 0; k < set.kinds.size(); ++k) {
    int n = set.kinds[k].count;
    for (const Followed& b : balls) {
      if (b.kind != k || b.state == Followed::State::gone || l.time - b.seen_at >= kOutOfSight) continue;
      // What was taken for it at first may have been something else.
      const bool doubtful = !active && set.kinds[k].count == 1 && b.state == Followed::State::resting &&
                            std::any_of(ripe.begin(), ripe.end(), [&](const Candidate* c) {
                              const double per = 1.0 / c->stay.count();
                              const double looks =
                                  per * c->visible + 0.1 * per * (k < c->colour.size() ? c->colour[k] : 0.0);
                              return c->last - c->first > kFirstLook && looks > b.quality + kRatherThat;
                            });
      if (!doubtful) --n;
    }
    free.push_back(std::max(0, n));
  }
  const std::vector<int> kinds = kinds_for(ripe, free, homes);
  std::vector<std::size_t> order(ripe.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    const Vec2 &p = ripe[a]->stay.mean(), &q = ripe[b]->stay.mean();
    constexpr double kRow = 0.02;  // m: balls in one row are numbered from left to right
    return std::abs(p.y() - q.y()) > kRow ? p.y() < q.y() : p.x() < q.x();
  });
  std::vector<const Candidate*> taken;
  for (const std::size_t i : order) {
    if (kinds[i] < 0) continue;
    const auto kind = static_cast<std::size_t>(kinds[i]);
    const bool known = std::any_of(balls.begin(), balls.end(), [&](const Followed& b) {
      return b.kind == kind && (b.state == Followed::State::gone || l.time - b.seen_at > kOutOfSight);
    });
    // What lies there at first is named together, and light may be strange; of reds a hand may make one more.
    if ((!first_look || set.kinds[kind].count > 1) && rather_another(*ripe[i], kind)) continue;
    if (!first_look && !known && ripe[i]->last - ripe[i]->first < kConfirmNew) continue;
    const std::size_t before = balls.size();
    admit(*ripe[i], kind);
    if (first_look && balls.size() > before) stock.emplace_back(balls.back().name, *ripe[i]);
    taken.push_back(ripe[i]);
  }
  std::vector<Candidate> left;
  for (const Candidate& c : candidates)
    if (std::find(taken.begin(), taken.end(), &c) == taken.end()) left.push_back(c);
  candidates = std::move(left);
}

void Tracker::State::admit(const Candidate& c, std::size_t kind) {
  const table::BallKind& k = set.kinds[kind];
  Followed* ball = nullptr;
  if (k.count == 1) {
    for (Followed& b : balls)
      if (b.kind == kind) ball = &b;
  } else {
    // The one of its kind that is gone or out of sight and was nearest; one that was seen to run into a pocket last.
    constexpr double kFell = 10;  // m
    double best = 1e9;
    for (Followed& b : balls) {
      constexpr double kOutOfSight = 0.25;  // s
      if (b.kind != kind || (b.state != Followed::State::gone && now - b.seen_at < kOutOfSight)) continue;
      // While its shot is under way nobody takes it out again: what lies elsewhere is another, hidden until now.
      constexpr double kInTheJaws = 0.15;  // m
      if (active && b.in_episode && b.state != Followed::State::resting && (b.into || falls_at(b.at, kNearFall)) &&
          (c.stay.mean() - b.at).norm() > kInTheJaws)
        continue;
      const double d = (b.stay.mean() - c.stay.mean()).norm() + (b.into ? kFell : 0.0);
      if (d < best) best = d, ball = &b;
    }
  }
  constexpr double kSamePlace = 0.0012;  // m
  if (!ball) {
    Followed b;
    std::vector<std::string> used;
    for (const Followed& o : balls) used.push_back(o.name);
    b.name = names.name(k, c.stay.mean(), used);
    b.kind = kind;
    b.radius = k.radius;
    balls.push_back(b);
    ball = &balls.back();
  } else if (ball->lies && (ball->stay.mean() - c.stay.mean()).norm() < kSamePlace + 2 * c.stay.sd()) {
    // Nobody moved it: it had only not been seen.
    ball->state = Followed::State::resting;
    ball->seen_at = c.last;
    ball->missed = 0;
    ball->off.clear();
    return;
  } else if (active && ball->in_episode && ball->state == Followed::State::moving) {
    // Followed on the move, lost, and found at rest.
    if (out_of_the_open(*ball, c.stay.mean(), c.first, cover.back().second)) return;
    lie_at(*ball, c);
    ball->after_rest = 0;
    return;
  } else if (active && ball->in_episode && !never_was(*ball)) {
    // It had gone and was put back: its part in this episode is over.
    Followed done = *ball;
    done.state = Followed::State::gone;
    done.moved = true;
    done.kind = kNobodys;
    Followed again;
    again.name = ball->name;
    again.kind = kind;
    again.radius = ball->radius;
    *ball = again;
    balls.push_back(done);
    for (Followed& b : balls)
      if (b.name == again.name && b.kind == kind) ball = &b;
  }
  lie_at(*ball, c);
  ball->off.clear();
  ball->recent.clear();
  if (active && !ball->in_episode && c.first < begin && c.visible > kSurelyBall * c.stay.count())
    ball->in_episode = true, ball->before = ball->stay.stay();
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
