#include "path/reconstruct.hpp"

#include <algorithm>
#include <cmath>
#include <deque>

#include "path/followed.hpp"
#include "path/guided.hpp"
#include "path/link.hpp"
#include "path/publish.hpp"
#include "path/verdict.hpp"

namespace baizetrace::path {
namespace {

// The first sighting off the resting place, with the next one off it too.
double first_motion(const BallTrack& b) {
  if (!b.before) return b.seen.empty() ? 1e18 : b.seen.front().time;
  constexpr double kOffPlace = 0.004;  // m
  for (std::size_t i = 0; i < b.seen.size(); ++i) {
    const auto off = [&](std::size_t k) {
      return k >= b.seen.size() || (b.seen[k].at - b.before->at).norm() > kOffPlace;
    };
    if (off(i) && off(i + 1)) return b.seen[i].time;
  }
  return 1e18;
}

double last_seen(const Chain& chain) {
  double t = chain.legs.back().leg.t;
  for (const Seen& s : chain.seen)
    if (s.trusted) t = std::max(t, s.time);
  return t;
}

World world_for(const Episode& e, const table::Table& table, const table::BallSet& balls, const BallTrack& track,
                const Play& play) {
  World w;
  w.surfaces = surfaces_of(table, balls.radius_of(track.ball));
  w.cloth = {play.sliding.value * kGravity, play.rolling.value * kGravity};
  w.slide_sd = std::max(0.02, play.sliding.u / play.sliding.value);
  w.roll_sd = std::max(0.02, play.rolling.u / play.rolling.value);
  w.impact.rebound = play.cushion.value;
  w.impact.rebound_sd = std::max(0.05, play.cushion.u);
  for (const BallTrack& b : e.balls) {
    if (&b == &track) continue;
    Other o;
    o.name = b.ball;
    o.radius = balls.radius_of(b.ball);
    o.mass = balls.kinds[balls.kind_of(b.ball).value_or(0)].mass;
    o.moved = b.moved;
    o.track = &b;
    w.others.push_back(o);
  }
  return w;
}

// A nose and the jaw that goes on from it touch a ball alike; which of them it was is told by where. Puts the right
// one in; true: one was changed.
bool tell_noses_from_jaws(Problem& problem, const std::vector<World>& worlds) {
  bool changed = false;
  for (std::size_t i = 0; i < problem.chains.size(); ++i) {
    for (ChainLeg& l : problem.chains[i].legs) {
      if (l.touch.kind != Touch::Kind::surface || l.touch.surface.reaches(l.leg.p, 0)) continue;
      constexpr double kAlike = 0.004;  // m
      for (const Surface& s : worlds[i].surfaces) {
        if (s.kind == ContactKind::pocket || !s.reaches(l.leg.p, 0) || std::abs(s.gap(l.leg.p)) > kAlike) continue;
        l.touch.surface = s;
        changed = true;
        break;
      }
    }
  }
  return changed;
}

// Whether what hides a ball just after its last sighting hid the bed there from the beginning: a lamp's frame, no hand.
bool always_hidden(const Episode& episode, const Found& found) {
  constexpr double kAfter = 0.05;  // s
  if (episode.cover.empty()) return false;
  const Vec2 place = found.chain.at(last_seen(found.chain) + kAfter, found.cloth);
  return episode.cover.front().second.covered(place);
}

// How long after its last sighting a ball may have fallen, s; longer and it would have been seen on the bed.
constexpr double kFallWithin = 0.35;

// Sightings given to no ball, of this kind's colour and away from the pockets, after it had vanished: it is still
// there. Not what goes along with another ball: that one's shadow has a green's colour on green cloth; nor what is seen
// on a person, whose sleeve or hand has.
bool seen_again(const Episode& episode, std::size_t kind, double vanished, const World& world,
                const std::vector<Found>& all, const Found& own) {
  constexpr double kAfter = 0.2;      // s: what falls is still seen for a moment
  constexpr double kBefore = 1.5;     // s: no hand has it out of the pocket sooner
  constexpr double kFromFall = 0.1;   // m
  constexpr double kShadowOf = 0.13;  // m, as in sight
  constexpr int kOften = 4;
  const auto goes_along = [&](const Sighting& s) {
    return std::any_of(all.begin(), all.end(), [&](const Found& f) {
      return &f != &own && !(f.lost && s.time > f.lost_at) && (f.chain.at(s.time, f.cloth) - s.at).norm() < kShadowOf;
    });
  };
  // A ball hides what is under it; a person more than that.
  const auto on_a_person = [&](const Sighting& s) {
    constexpr double kOneLook = 0.05;  // s
    constexpr double kBeside = 0.15;   // m
    constexpr std::size_t kBody = 2;   // of eight places around
    const auto look = std::find_if(episode.cover.begin(), episode.cover.end(),
                                   [&](const auto& c) { return c.first > s.time - kOneLook && c.first <= s.time; });
    return look != episode.cover.end() && cover_around(look->second, s.at, kBeside).count() >= kBody;
  };
  int times = 0;
  for (const Sighting& s : episode.strays) {
    if (s.time < vanished + kAfter || s.time > vanished + kBefore || s.colour.size() <= kind) continue;
    const auto best = std::max_element(s.colour.begin(), s.colour.end()) - s.colour.begin();
    if (static_cast<std::size_t>(best) != kind) continue;
    const bool at_pocket = std::any_of(world.surfaces.begin(), world.surfaces.end(), [&](const Surface& f) {
      return f.kind == ContactKind::pocket && f.gap(s.at) < kFromFall;
    });
    times += at_pocket || goes_along(s) || on_a_person(s) ? 0 : 1;
  }
  return times >= kOften;
}

// The last that was seen of it runs into a mouth: what is seen of a ball that drops is not followed, and need not be.
bool heads_into_a_pocket(const Found& found, const World& world) {
  constexpr double kMouth = 0.20;  // m before the fall line: three frames of a firm ball
  constexpr double kWide = 0.02;   // m beside the fall's edge: jaws turn it in
  const Leg& leg = found.chain.legs.back().leg;
  const double t = std::max(leg.t, last_seen(found.chain));
  const Vec2 at = leg.at(t, found.cloth), v = leg.velocity_at(t, found.cloth);
  constexpr double kRolls = 0.2;  // m/s: slower, it may have stopped short
  if (v.norm() < kRolls) return false;
  for (const Surface& s : world.surfaces) {
    if (s.kind != ContactKind::pocket || s.gap(at) > kMouth) continue;
    const Vec2 to = s.centre - at;
    if (to.dot(v) > 0 && std::abs(cross(v.normalized(), to)) < to.norm() - s.gap(at) + kWide) return true;
  }
  return false;
}

// Balls that were lost are followed on from what was fitted; true: one was.
bool follow_on(std::vector<Found>& found, const std::vector<const BallTrack*>& tracks, std::vector<World>& worlds,
               Problem& problem) {
  if (std::none_of(found.begin(), found.end(), [](const Found& f) { return f.lost; })) return false;
  for (std::size_t i = 0; i < found.size(); ++i) found[i].chain = problem.chains[i], found[i].cloth = problem.cloth;
  bool any = false;
  for (std::size_t i = 0; i < found.size(); ++i) {
    if (!found[i].lost) continue;
    for (Other& o : worlds[i].others)
      for (const Found& f : found)
        if (f.chain.ball == o.name) o.chain = &f.chain, o.cloth = f.cloth;
    auto further = read_on(found[i], *tracks[i], worlds[i]);
    if (!further) continue;
    found[i] = std::move(*further);
    problem.chains[i] = found[i].chain;
    any = true;
  }
  return any;
}

}  // namespace

EpisodePaths reconstruct(const Episode& episode, const table::Table& table, const table::BallSet& balls,
                         const ReconstructOptions& options) {
  EpisodePaths out;
  std::vector<const BallTrack*> moved;
  for (const BallTrack& b : episode.balls)
    if (b.moved) moved.push_back(&b);
  std::stable_sort(moved.begin(), moved.end(),
                   [](const BallTrack* a, const BallTrack* b) { return first_motion(*a) < first_motion(*b); });

  std::vector<Found> found;
  std::vector<const BallTrack*> tracks;
  std::deque<BallTrack> led;
  std::vector<World> worlds;
  found.reserve(moved.size());
  for (const BallTrack* own : moved) {
    const BallTrack* track = own;
    World world = world_for(episode, table, balls, *track, options.play);
    for (Other& o : world.others)
      for (const Found& f : found)
        if (f.chain.ball == o.name) o.chain = &f.chain, o.cloth = f.cloth;
    const double mass = balls.kinds[balls.kind_of(track->ball).value_or(0)].mass;
    // A hit ball is looked for where it was sent.
    const auto begun = set_off(*track, mass, found);
    world.begun = begun;
    if (begun) {
      led.push_back(guided(*track, episode.strays, balls.kind_of(track->ball).value_or(0), *begun, world));
      track = &led.back();
    }
    const double radius = balls.radius_of(track->ball);
    const std::size_t kind = balls.kind_of(track->ball).value_or(0);
    std::optional<Found> f;
    if (begun && balls.kinds[kind].count == 1) f = fell_unseen(*own, radius, mass, world, *begun, episode, kind);
    if (!f) f = search_patiently(*track, radius, mass, world);
    if (!f && begun && !episode.cover.empty())
      f = fell_at_once(*track, radius, mass, world, *begun, episode.cover.front().second);
    if (!f) continue;
    // A ball whose motion free running does not explain is in a hand, or is no ball: it takes no part.
    constexpr double kLeastExplained = 0.5;
    if (track->ball != "white" && f->lost && f->trusted < kLeastExplained * f->moving) continue;
    if (track->ball != "white" && !begun && lay_there_since(*own, *f)) continue;
    found.push_back(std::move(*f));
    tracks.push_back(track);
    worlds.push_back(std::move(world));
  }
  if (found.empty()) {
    judge(out, episode, balls, found, {});
    return out;
  }

  Problem problem;
  problem.prior = problem.cloth = worlds[0].cloth;
  problem.slide_sd = worlds[0].slide_sd;
  problem.roll_sd = worlds[0].roll_sd;
  problem.impact = worlds[0].impact;
  for (const Found& f : found) problem.chains.push_back(f.chain);
  link(problem);
  FitOptions fit_options;
  fit_options.iterations = 40;
  fit_options.gentle = 5;
  fit(problem, fit_options);
  for (int i = 0; i < 6 && drop_idle_contacts(problem); ++i) {
    link(problem);
    fit(problem, fit_options);
  }
  constexpr int kRounds = 2;  // one ball's way on may tell another's
  for (int i = 0; i < kRounds && follow_on(found, tracks, worlds, problem); ++i) {
    link(problem);
    fit(problem, fit_options);
    for (int k = 0; k < 6 && drop_idle_contacts(problem); ++k) {
      link(problem);
      fit(problem, fit_options);
    }
  }
  if (tell_noses_from_jaws(problem, worlds)) fit(problem, fit_options);
  // Balls that vanished: did they fall? Jaws on the way become legs, then all is fitted once more. Where the recording
  // ends nothing is known of what comes after it.
  const double ends = episode.cut && !episode.frame_times.empty() ? episode.frame_times.back() + options.readout : 1e18;
  for (std::size_t i = 0; i < found.size(); ++i) {
    found[i].chain = problem.chains[i];
    found[i].cloth = problem.cloth;
    if (!tracks[i]->after && (!found[i].lost || heads_into_a_pocket(found[i], worlds[i])))
      find_fall(found[i], worlds[i], last_seen(found[i].chain),
                std::clamp(ends - last_seen(found[i].chain), 0.0, kFallWithin));
    // In the open it is a hand that makes a ball vanish before a nose.
    found[i].went_under = always_hidden(episode, found[i]);
    found[i].came_back = found[i].came_back && found[i].went_under;
    problem.chains[i] = found[i].chain;
  }
  fit_options.covariance = true;
  const FitSummary summary = fit(problem, fit_options);
  const Layout layout(problem);
  // Sightings that scatter more than they say make everything less certain.
  const Eigen::MatrixXd covariance = summary.covariance * std::pow(std::max(1.0, summary.scale), 2);
  const RowClock clock(episode, options.readout);
  const Published from{&problem, &layout, &covariance, &episode, &clock, &options};
  for (std::size_t i = 0; i < found.size(); ++i) {
    found[i].chain = problem.chains[i];
    found[i].cloth = problem.cloth;
    if (!tracks[i]->after && !problem.chains[i].rest) {
      worlds[i].cloth = problem.cloth;
      const double last = last_seen(problem.chains[i]);
      const std::size_t kind = balls.kind_of(tracks[i]->ball).value_or(0);
      // Of many alike another one may have been seen.
      const bool again = balls.kinds[kind].count == 1 && seen_again(episode, kind, last, worlds[i], found, found[i]);
      settle_fall(found[i], worlds[i], last, again);
      if (met_unfollowed(found[i], episode, found) || found[i].pocket_time > ends) found[i].pocket.reset();
    }
    out.balls.push_back(publish(from, i, found[i], *tracks[i]));
  }
  judge(out, episode, balls, found, problem);
  read_conditions(out, problem, layout, summary);
  return out;
}

}  // namespace baizetrace::path
