// Which things that stay on the bed are balls, and which balls they are.
#include <algorithm>
#include <cmath>

#include "path/late.hpp"
#include "path/tracker_state.hpp"

namespace baizetrace::path {
namespace {

constexpr double kConfirm = 0.30;  // s that something must stay at a place to be a ball
constexpr int kConfirmSightings = 8;
constexpr double kFirstLook = 1.0;     // s from the first look in which the balls on the table are taken stock of
constexpr double kConfirmLater = 0.6;  // s, the same for a ball that was known and is put back
constexpr double kConfirmNew = 2.0;    // s, for one never seen before: people lean in more often than balls are added
constexpr double kWholeBall = 0.85;    // mean visible share of a ball that has just been put down
// And of one that is told late, but is said to have lain there before: bare cloth, learnt under a player and taken for
// the green, showed 0.88 to 0.91 of an outline, a green on its spot 0.94.
constexpr double kSurelyBall = 0.92;
constexpr double kAnyBall = 0.80;     // and of one that lies there at the start
constexpr double kOnItsSpot = 0.70;   // and there, on the spot of its colour: as sight asks for
constexpr double kUnderCover = 0.95;  // and there, where a person is: a cue's butt shows most of a ball's outline
constexpr double kForget = 0.40;      // s: a candidate unseen for longer is dropped

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
  std::erase_if(lay, [&](const Candidate& c) { return l.time - c.last > kBefore; });
  for (const Candidate& c : candidates)
    if (l.time - c.last > kForget) lay.push_back(c);
  std::erase_if(candidates, [&](const Candidate& c) { return l.time - c.last > kForget; });
  const bool first_look = l.time - *started < kFirstLook;
  // What looks like the ball whose spot it lies on, and like no other: its own shadow may be what covers the bed there.
  const auto on_its_spot = [&](const Candidate& c) {
    constexpr double kOnSpot = 0.025, kClearlyIt = 0.7;  // m; of the logarithms, a sighting
    const auto kind = clear_kind(c.colour, c.stay.count(), kClearlyIt);
    return kind && *kind < homes.size() && homes[*kind] && (c.stay.mean() - *homes[*kind]).norm() < kOnSpot;
  };
  const auto is_ripe = [&](const Candidate& c) {
    const bool at_home = on_its_spot(c), covered = 2 * c.covered >= c.stay.count() && !at_home;
    const double whole = !first_look ? kWholeBall : at_home ? kOnItsSpot : covered ? kUnderCover : kAnyBall;
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
    // There is always a white, and in the open nothing else looks like it.
    const bool the_white = kind == 0 && clear_kind(ripe[i]->colour, ripe[i]->stay.count(), kClearlyWhite) == kind;
    if (!first_look && !known && !the_white && !on_its_spot(*ripe[i]) && ripe[i]->last - ripe[i]->first < kConfirmNew)
      continue;
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

// The cue ball that was no ball yet when it set off.
void Tracker::State::take_up_white() {
  const bool known = std::any_of(balls.begin(), balls.end(), [](const Followed& b) {
    return b.kind == 0 && (b.state != Followed::State::gone || b.in_episode);
  });
  const Trail* run = known ? nullptr : trails.white_alone();
  if (!run) return;
  std::vector<Candidate> there = lay;
  there.insert(there.end(), candidates.begin(), candidates.end());
  auto white = told_late(*run, there, strays);
  if (!white) white = told_from_under(*run, hidden, table, set.kinds[0].radius);
  if (!white) return;
  white->name = set.kinds[0].name;
  white->radius = set.kinds[0].radius;
  std::erase_if(balls, [](const Followed& b) { return b.kind == 0; });
  if (!active) begin_episode(run->first);
  begin = std::min(begin, run->first);
  last_motion = now;
  give_to_none_no_more(white->seen);
  trails.forget(run);
  balls.push_back(std::move(*white));
}

}  // namespace baizetrace::path
