#include "practice/attempts.hpp"

#include <algorithm>
#include <cmath>

#include "base/units.hpp"
#include "practice/wording.hpp"

namespace baizetrace::practice {
namespace {

Place place_of(const path::Stay& stay, const AttemptOptions& options) {
  Mat2 covariance = stay.place_covariance();
  if (options.rig_covariance) covariance += options.rig_covariance(stay.at);
  return {stay.at, covariance.diagonal().cwiseMax(0.0).cwiseSqrt()};
}

// s: to its first contact, or to where it turned by what nobody saw.
double end_of_first_run(const BallPath& white) {
  const double until = white.contacts.empty() ? white.pieces.back().to : white.contacts.front().time;
  return std::min(until, white.told_until.value_or(until));
}

// Whether its first run was seen, or ends at a ball whose own run tells how hard it was hit.
bool first_run_shows(const BallPath& white, const std::vector<BallPath>& all) {
  const double until = end_of_first_run(white);
  constexpr int kFewest = 2;
  const auto seen = std::count_if(white.rows.begin(), white.rows.end(), [&](const PathRow& row) {
    return row.seen && row.time > white.pieces.front().from && row.time < until;
  });
  if (seen >= kFewest) return true;
  if (white.contacts.empty() || white.contacts.front().time > until) return false;
  const Contact& c = white.contacts.front();
  if (c.kind != ContactKind::ball) return true;
  return std::any_of(all.begin(), all.end(), [&](const BallPath& p) { return p.ball == c.with && p.followed(); });
}

// Hands and cue hide the start: the instant of the strike is known to half a frame, and with it the pace over the run
// to the first contact. Share of the speed, standard uncertainty.
double unsureness_of_first_run(const path::Episode& episode, const BallPath& white) {
  if (episode.frame_times.size() < 2) return 1;
  const double frame =
      (episode.frame_times.back() - episode.frame_times.front()) / static_cast<double>(episode.frame_times.size() - 1);
  constexpr double kAtBest = 0.01;  // of the speed, what the slide's own friction leaves open
  const Piece& first = white.pieces.front();
  // A ball that is not struck to roll loses up to 2/7 of its speed in its slide, whose length tells how much: that
  // shows no better than the few sightings of it do.
  constexpr double kLost = 2.0 / 7, kSlide = 0.2;  // the friction: from memory, see PHYSICS
  const double speed = std::max(first.velocity.norm(), 1e-3), slide = kLost * speed / (kSlide * kGravity);
  const double lag = 0.5 * kLost * speed * slide, seen = white.rms / std::sqrt(std::max(1.0, slide / frame));
  return std::hypot(kAtBest, 0.5 * frame / std::max(end_of_first_run(white) - first.from, frame),
                    kLost * std::min(1.0, seen / lag));
}

// What nobody saw: the cue ball came out from under what hides the bed.
bool lay_out_of_sight(const path::Episode& episode, const std::string& ball) {
  return std::any_of(episode.balls.begin(), episode.balls.end(),
                     [&](const path::BallTrack& t) { return t.ball == ball && t.before && !t.before->seen(); });
}

bool was_under_way(const path::EpisodePaths& paths, const std::string& ball) {
  return std::find(paths.under_way.begin(), paths.under_way.end(), ball) != paths.under_way.end();
}

// Whether a ball met another from a time on.
bool met_a_ball(const BallPath& path, double from) {
  return std::any_of(path.contacts.begin(), path.contacts.end(),
                     [&](const Contact& c) { return c.kind == ContactKind::ball && c.time >= from; });
}

// Whether it was seen for a while after a cushion or a jaw.
bool came_back(const BallPath& path) {
  constexpr double kAWhile = 0.2;  // s
  if (!path.told_until) return true;
  return std::any_of(path.contacts.begin(), path.contacts.end(), [&](const Contact& c) {
    return (c.kind == ContactKind::cushion || c.kind == ContactKind::jaw) && c.time < *path.told_until - kAWhile;
  });
}

}  // namespace

std::string under_way_note(const path::EpisodePaths& paths) {
  if (paths.under_way.empty()) return {};
  std::string who;
  bool one = paths.under_way.size() == 1;
  for (const std::string& ball : paths.under_way)
    who += (who.empty() ? "" : " and ") + (ball.empty() ? "a ball" : "the " + ball_name(ball));
  return fmt::format("{} {} on the way already when the white was struck: not sent by this attempt", who,
                     one ? "was" : "were");
}

std::string unseen_start_note(const path::Episode& episode, const table::BallSet& balls) {
  if (!lay_out_of_sight(episode, balls.kinds[0].name)) return {};
  return fmt::format(
      "the {} lay out of sight and is told from where it came out: when it was struck is told as if it "
      "had run straight until then, its place and its pace are not",
      ball_name(balls.kinds[0].name));
}

bool runs_on(const Attempt& before, const Attempt& now, const std::string& white) {
  constexpr double kSooner = 5;  // s: nobody plays again sooner (common practice, no source)
  const auto path = before.balls.find(white);
  if (path == before.balls.end() || before.clip != now.clip || before.ended == Ended::hand) return false;
  const BallPath& p = path->second;
  return p.told_until && !p.goes_on() && !p.rest && !p.pocket && now.strike_time - *p.told_until < kSooner;
}

std::optional<Attempt> attempt_from(const path::Episode& episode, const path::EpisodePaths& paths,
                                    const table::BallSet& balls, const AttemptOptions& options) {
  if (!paths.struck) return std::nullopt;
  Attempt a;
  a.strike_time = paths.strike_time;
  a.ended = episode.cut ? Ended::clip : paths.ended_by_hand ? Ended::hand : Ended::rest;

  for (const path::BallTrack& t : episode.balls) {
    if (t.before && t.before->seen() && !was_under_way(paths, t.ball)) a.before[t.ball] = place_of(*t.before, options);
    if (t.after) a.after[t.ball] = place_of(*t.after, options);
  }
  if (a.ended == Ended::hand) a.after.erase(balls.kinds[0].name);  // where a hand has put it since is no rest
  double last = paths.strike_time;
  bool all_known = a.ended == Ended::rest;
  for (const BallPath& p : paths.balls) {
    a.balls[p.ball] = p;
    // Until a hand took it all is known; of another ball than the white only once it has come back from where it ran,
    // or it may have fallen.
    if (a.ended == Ended::hand && !p.goes_on() && (p.ball == balls.kinds[0].name || came_back(p)))
      a.balls[p.ball].told_until.reset();
    // Where a path that nothing follows would end is not where the ball lies. The white is taken for another thing
    // least of all: of it, what was seen at rest counts; of others not even that.
    if (p.rest && !p.followed()) {
      if (p.ball != balls.kinds[0].name) a.after.erase(p.ball);
      const auto lies = a.after.find(p.ball);
      a.balls[p.ball].rest = lies == a.after.end() ? std::nullopt : std::optional(lies->second);
    }
    if (p.pocket && was_under_way(paths, p.ball) && !met_a_ball(p, paths.strike_time)) {
      a.after.erase(p.ball);
    } else if (p.pocket) {
      a.after.erase(p.ball);
      const Potted potted{p.ball, *p.pocket, p.pocket_time};
      if (p.ball == balls.kinds[0].name)
        a.in_off = potted;
      else
        a.potted.push_back(potted);
      last = std::max(last, p.pocket_time);
    } else if (const auto& rest = a.balls[p.ball].rest) {
      a.after[p.ball] = *rest;
      last = std::max(last, p.rest_time);
    } else {
      all_known = false;
    }
  }
  std::sort(a.potted.begin(), a.potted.end(), [](const Potted& x, const Potted& y) { return x.time < y.time; });
  if (all_known) a.rest_time = last;

  if (const auto white = a.balls.find(balls.kinds[0].name); white != a.balls.end() && !white->second.pieces.empty() &&
                                                            !lay_out_of_sight(episode, white->first) &&
                                                            first_run_shows(white->second, paths.balls)) {
    const Piece& first = white->second.pieces.front();
    a.strike = Strike{first.velocity.norm(), heading_of(first.velocity), std::nullopt, std::nullopt, {}};
    a.strike->u["speed"] = a.strike->speed * unsureness_of_first_run(episode, white->second);
  }
  return a;
}

}  // namespace baizetrace::practice
