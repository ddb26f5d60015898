#include "path/verdict.hpp"

#include <algorithm>
#include <cmath>

#include "path/hidden.hpp"

namespace baizetrace::path {
namespace {

constexpr double kSlowestStrike = 0.10;  // m/s: a ball touched in placing it moves slower than a ball that is played
constexpr double kShortestRun = 0.04;    // m
constexpr int kFewestSightings = 4;      // of the cue ball's motion
constexpr double kAway = 0.08;           // m from where it lay and where it came to lie
constexpr int kFewestOnTheWay = 3;
constexpr double kLeastTrusted = 0.6;  // share of them that free motion explains
constexpr double kLeastSeen = 0.5;     // share of the frames of a short motion that show the ball: hands hide it
constexpr double kShortMotion = 2.5;   // s
constexpr int kEitherSide = 3;         // sightings before it went out of sight and after that one free motion explains
constexpr int kLongRun = 40;           // sightings of it
constexpr double kNearlyAllTrusted = 0.9;
constexpr double kWorstRms = 0.006;      // m
constexpr double kWorstOfSaid = 1.5;     // times as far off as the sightings say they may be, in the dark,
constexpr double kWorstDark = 0.010;     // m, and no more than this
constexpr double kFastestStrike = 11.0;  // m/s; 8-9 is a professional's break (common practice)
// Friction coefficients beyond which it was no ball that ran on cloth. PHYSICS: sliding 0.15-0.25, rolling
// 0.0065-0.013, from memory; wide margins.
constexpr double kSlideFrom = 0.08, kSlideTo = 0.40, kRollFrom = 0.003, kRollTo = 0.03;

bool slides_as_on_cloth(const Cloth& c) { return c.slide > kSlideFrom * kGravity && c.slide < kSlideTo * kGravity; }
bool rolls_as_on_cloth(const Cloth& c) { return c.roll > kRollFrom * kGravity && c.roll < kRollTo * kGravity; }

// Whether the cue ball's fitted motion is one that a ball has by itself.
bool runs_freely(const Found& cue, const Chain& chain, const Episode& episode, const Problem& problem) {
  const Cloth& c = problem.cloth;
  // A slide is short, and the cue hides part of it: what rolls freely for long need not tell it.
  const bool long_seen = !cue.lost && cue.trusted >= kLongRun && cue.trusted > kNearlyAllTrusted * cue.moving;
  if (!slides_as_on_cloth(c) && !long_seen) return false;
  if (!rolls_as_on_cloth(c)) return false;
  // A long free run is one however it went on: lost after a kiss, it was struck all the same.
  const bool long_free = cue.lost && cue.trusted >= kLongRun;
  if (cue.moving < kFewestSightings || (cue.trusted < kLeastTrusted * cue.moving && !long_free)) return false;
  if (cue.lost && cue.trusted < 8) return false;
  for (std::size_t k = 0; k < chain.legs.size(); ++k) {
    const double from = chain.legs[k].leg.t, to = k + 1 < chain.legs.size() ? chain.legs[k + 1].leg.t : 1e18;
    // Of a leg that lies between two frames the speed is not known.
    const bool shown = std::any_of(chain.seen.begin(), chain.seen.end(),
                                   [&](const Seen& s) { return s.trusted && s.time > from && s.time < to; });
    if (shown && chain.legs[k].leg.v.norm() > kFastestStrike) return false;
  }
  const double begins = chain.legs[0].leg.t;
  double ends = chain.legs.back().leg.rests(c);
  if (cue.pocket) ends = cue.pocket_time;
  if (cue.lost) ends = cue.lost_at;
  double sum = 0, said = 0;
  int frames = 0;
  std::vector<double> times;
  for (const Seen& s : chain.seen) {
    if (!s.trusted || s.time < begins || s.time > ends) continue;
    sum += (chain.at(s.time, c) - s.at).squaredNorm();
    said += 2 * s.sd * s.sd;
    times.push_back(s.time);
  }
  const int seen = static_cast<int>(times.size());
  // What it did out of sight before it was lost speaks neither for nor against what was seen, all of it free motion.
  if (cue.lost && cue.trusted == cue.moving && seen > 0) ends = times.back();
  // Frames in which it ran out of sight, under a lamp's frame, speak neither for nor against it.
  const auto out_of_sight = [&](double f) {
    const auto after = std::upper_bound(times.begin(), times.end(), f);
    const auto before = after - times.begin();
    return before >= kEitherSide && times.end() - after >= kEitherSide && *after - *(after - 1) > kOutOfSight;
  };
  for (const double f : episode.frame_times) frames += f > begins && f < ends && !out_of_sight(f);
  const double worst =
      seen < kLongRun ? kWorstRms : std::clamp(kWorstOfSaid * std::sqrt(said / seen), kWorstRms, kWorstDark);
  if (seen < kFewestSightings || std::sqrt(sum / seen) > worst) return false;
  if (ends - begins < kShortMotion && seen < kLeastSeen * frames) return false;
  // It must have been seen on its way: a ball that vanishes here and lies there was carried.
  const Vec2 from = chain.legs[0].leg.p, to = chain.at(ends, c);
  int on_the_way = 0;
  for (const Seen& s : chain.seen)
    on_the_way +=
        s.trusted && s.time > begins && s.time < ends && (s.at - from).norm() > kAway && (s.at - to).norm() > kAway;
  // A long run that was seen nearly all along needs no such proof: it may turn back beside where it began.
  constexpr int kManySeen = 15;
  constexpr double kNearlyAll = 0.8;
  if (seen >= kManySeen && seen >= kNearlyAll * frames) return true;
  return (to - from).norm() < 2 * kAway || on_the_way >= kFewestOnTheWay;
}

// Whether the cue ball sent another ball off: that one ran freely and fast from where it lay, and began when the cue
// ball came there. No hand does that, however badly the cue ball itself was followed.
bool sent_a_ball(const Found& cue, const Episode& episode, const std::vector<Found>& found) {
  constexpr double kFast = 0.30;   // m/s
  constexpr int kWellSeen = 8;     // sightings that its free motion explains
  constexpr double kReach = 0.13;  // m between the centres: a frame before or after the contact
  constexpr double kFrame = 0.05;  // s
  for (const Found& f : found) {
    if (f.chain.ball == "white" || f.trusted < kWellSeen || f.trusted < kLeastTrusted * f.moving) continue;
    const ChainLeg& first = f.chain.legs[0];
    if (first.leg.v.norm() < kFast) continue;
    if (first.touch.kind == Touch::Kind::ball && first.touch.ball == "white") return true;
    for (const BallTrack& b : episode.balls) {
      if (b.ball != cue.chain.ball) continue;
      for (const Sighting& s : b.seen)
        if (std::abs(s.time - first.leg.t) < kFrame && (s.at - first.leg.p).norm() < kReach &&
            (!b.before || (s.at - b.before->at).norm() > kAway))
          return true;
    }
  }
  return false;
}

// Whether a ball was on its way before the cue ball began, and so early and so far from it that neither sent the other:
// a hand had sent it, or a bump.
bool under_way_apart(const Found& other, const Found& cue, const Cloth& cloth) {
  constexpr double kEarlier = 0.5;  // s: what the cue ball itself sends off, its own start hidden, begins no earlier
  constexpr double kApart = 0.05;   // m between the surfaces
  constexpr double kAround = 0.1;   // s around the cue ball's start
  const Leg& start = cue.chain.legs[0].leg;
  if (other.chain.legs[0].leg.t > start.t - kEarlier) return false;
  for (double t = start.t - kAround; t <= start.t + kAround; t += 0.01)
    if ((other.chain.at(t, cloth) - start.p).norm() < other.chain.radius + cue.chain.radius + kApart) return false;
  return true;
}

// The balls that were on their way already: those followed and those that only left a trail.
void tell_under_way(EpisodePaths& out, const Episode& episode, const table::BallSet& balls,
                    const std::vector<Found>& found, const Problem& problem) {
  const auto cue = std::find_if(found.begin(), found.end(), [](const Found& f) { return f.chain.ball == "white"; });
  if (cue == found.end()) return;
  const double strike = out.strike_time;
  for (const Found& f : found)
    if (&f != &*cue && f.chain.legs[0].leg.v.norm() > kSlowestStrike && under_way_apart(f, *cue, problem.cloth) &&
        f.chain.legs.back().leg.rests(problem.cloth) > strike)
      out.under_way.push_back(f.chain.ball);
  constexpr double kBothSides = 0.1;  // s, seen for so long before the strike and after it
  for (const Passing& p : episode.passing) {
    if (p.from > strike - kBothSides || p.to < strike + kBothSides) continue;
    const std::string name = p.kind && *p.kind < balls.kinds.size() ? balls.kinds[*p.kind].name : "";
    if (std::find(out.under_way.begin(), out.under_way.end(), name) == out.under_way.end())
      out.under_way.push_back(name);
  }
}

}  // namespace

void judge(EpisodePaths& out, const Episode& episode, const table::BallSet& balls, const std::vector<Found>& found,
           const Problem& problem) {
  const Found* cue = nullptr;
  for (const Found& f : found)
    if (f.chain.ball == "white") cue = &f;
  double first_other = 1e18;
  for (const Found& f : found)
    if (cue && &f != cue && f.trusted >= kFewestSightings && f.chain.legs[0].touch.kind != Touch::Kind::ball &&
        f.chain.legs[0].leg.v.norm() > kSlowestStrike && !under_way_apart(f, *cue, problem.cloth))
      first_other = std::min(first_other, f.chain.legs[0].leg.t);
  if (!cue) {
    out.strike_time = episode.begin;
    int moved = 0;
    for (const BallTrack& b : episode.balls) moved += b.moved;
    out.why_not = moved > 0 ? "the cue ball was not played" : "nothing moved";
    return;
  }
  const Chain& chain = cue->chain;
  const ChainLeg& first = chain.legs[0];
  out.strike_time = first.leg.t;
  constexpr double kSameTime = 0.02;  // s
  double same_time = kSameTime;
  for (const BallTrack& b : episode.balls)
    if (b.ball == chain.ball && b.before && !b.before->seen())
      same_time += 2 * std::sqrt(b.before->covariance.trace()) / std::max(kSlowestStrike, first.leg.v.norm());
  double run = 0;
  for (std::size_t k = 0; k < chain.legs.size(); ++k) {
    const double end = k + 1 < chain.legs.size() ? chain.legs[k + 1].leg.t : chain.legs[k].leg.rests(problem.cloth);
    run += (chain.legs[k].leg.at(end, problem.cloth) - chain.legs[k].leg.p).norm();
  }
  // A path that could not be followed to its end is no ball that was taken: it was seen to lie somewhere afterwards,
  // and not where it had lain before, where a hand puts it.
  constexpr double kPutBack = 0.05;  // m
  const bool lies = std::any_of(episode.balls.begin(), episode.balls.end(), [&](const BallTrack& b) {
    return b.ball == "white" && b.after && (!b.before || (b.after->at - b.before->at).norm() > kPutBack);
  });
  const bool vanished = !chain.rest && !cue->pocket && !cue->went_under && !lies;
  if (!chain.start) {
    out.why_not = "the cue ball was not at rest before it moved";
  } else if (first.touch.kind == Touch::Kind::ball) {
    out.why_not = "the cue ball was moved by another ball";
  } else if (first_other < first.leg.t - same_time) {
    out.why_not = "another ball moved before the cue ball";
  } else if (const bool free = runs_freely(*cue, chain, episode, problem);
             !free && sent_a_ball(*cue, episode, found) &&
             !(slides_as_on_cloth(problem.cloth) && rolls_as_on_cloth(problem.cloth))) {
    out.why_not = "the cue ball sent another ball off, but its own way could not be followed";
  } else if (!free && !sent_a_ball(*cue, episode, found)) {
    // What was followed may have been a hand, or a cue, beside the ball.
    constexpr double kWhole = 0.7;  // of the outline
    int partly = 0, sightings = 0;
    for (const BallTrack& b : episode.balls)
      if (b.ball == cue->chain.ball)
        for (const Sighting& s : b.seen)
          if (s.time > first.leg.t) partly += s.visible < kWhole, ++sightings;
    out.why_not = 2 * partly > sightings
                      ? "the cue ball was hidden while it moved, so it cannot be told whether it was struck"
                      : kNoFreeRun;
  } else if ((first.leg.v.norm() < kSlowestStrike || run < kShortestRun) && !sent_a_ball(*cue, episode, found)) {
    out.why_not = "nudged";
  } else {
    out.struck = true;
  }
  out.ended_by_hand = out.struck && vanished && !episode.cut;
  if (out.struck) tell_under_way(out, episode, balls, found, problem);
}

void read_conditions(EpisodePaths& out, const Problem& problem, const Layout& layout, const FitSummary& summary) {
  (void)layout;
  if (!out.struck || summary.covariance.size() == 0) return;
  // What this episode tells by itself: the fit's answer with the prior taken out again.
  const auto alone = [&](int unknown, double log_ratio, double prior_sd, double prior_value) -> Reading {
    const double variance = summary.covariance(unknown, unknown) * std::pow(std::max(1.0, summary.scale), 2);
    const double information = 1 / std::max(variance, 1e-12) - 1 / (prior_sd * prior_sd);
    Reading r;
    constexpr double kTells = 4.0;  // 1 / (50 %)^2: less is nothing
    if (information < kTells) return r;
    const double shift = log_ratio / (variance * information);
    r.value = prior_value * std::exp(shift);
    r.u = r.value / std::sqrt(information);
    r.measured = true;
    for (const Chain& c : problem.chains) r.from += static_cast<int>(c.legs.size());
    return r;
  };
  const Reading roll =
      alone(1, std::log(problem.cloth.roll / problem.prior.roll), problem.roll_sd, problem.prior.roll / kGravity);
  if (roll.measured && rolls_as_on_cloth(problem.cloth)) out.rolls.push_back(roll);
  const Reading slide =
      alone(0, std::log(problem.cloth.slide / problem.prior.slide), problem.slide_sd, problem.prior.slide / kGravity);
  if (slide.measured && slides_as_on_cloth(problem.cloth)) out.slides.push_back(slide);
  for (const Chain& c : problem.chains) {
    for (std::size_t k = 1; k < c.legs.size(); ++k) {
      const Touch& touch = c.legs[k].touch;
      if (touch.kind != Touch::Kind::surface || touch.surface.kind != ContactKind::cushion) continue;
      const Leg& leg = c.legs[k].leg;
      const double in = -c.legs[k - 1].leg.velocity_at(leg.t, problem.cloth).dot(touch.surface.inward);
      const double back = leg.v.dot(touch.surface.inward);
      if (in < 0.15) continue;  // m/s: slower rebounds are read too poorly
      Reading r;
      r.value = back / in;
      constexpr double kPerContact = 0.03;  // rebound differs with speed and spin by about this
      r.u = kPerContact;
      r.measured = true;
      r.from = 1;
      out.rebounds.push_back(r);
    }
  }
}

Play read_play(const std::vector<EpisodePaths>& episodes, const Play& prior) {
  Play play = prior;
  const auto pool = [&](Reading& into, double least_u, auto readings_of) {
    double sum = into.measured ? into.value / (into.u * into.u) : 0, weight = into.measured ? 1 / (into.u * into.u) : 0;
    int from = into.measured ? into.from : 0;
    std::vector<Reading> all;
    for (const EpisodePaths& e : episodes)
      for (const Reading& r : readings_of(e)) all.push_back(r);
    if (all.empty()) return;
    for (const Reading& r : all) {
      sum += r.value / (r.u * r.u);
      weight += 1 / (r.u * r.u);
      from += r.from;
    }
    double scatter = 0;
    for (const Reading& r : all) scatter += std::pow((r.value - sum / weight) / r.u, 2);
    const double excess = all.size() > 1 ? std::max(1.0, scatter / static_cast<double>(all.size() - 1)) : 1.0;
    into.value = sum / weight;
    into.u = std::max(least_u, std::sqrt(excess / weight));
    into.measured = true;
    into.from = from;
  };
  // The pooled value is never known better than the model behind it.
  pool(play.rolling, 0.00005, [](const EpisodePaths& e) -> const std::vector<Reading>& { return e.rolls; });
  pool(play.sliding, 0.002, [](const EpisodePaths& e) -> const std::vector<Reading>& { return e.slides; });
  pool(play.cushion, 0.01, [](const EpisodePaths& e) -> const std::vector<Reading>& { return e.rebounds; });
  return play;
}

}  // namespace baizetrace::path
