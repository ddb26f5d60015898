#include "path/followed.hpp"

#include <algorithm>
#include <cmath>

#include "path/assignment.hpp"

namespace baizetrace::path {
namespace {

constexpr double kFastest = 10.0;      // m/s; a professional's break reaches 8-9 (common practice)
constexpr double kPlaceSlack = 0.003;  // m: a sighting this far beyond its error may still be the ball at its place
constexpr double kStart = 7.0;         // price of a ball at rest having started
constexpr double kBadly = 2.0;         // price of a ball at rest being seen beside its place
constexpr double kPartly = 3.0;        // price of a sighting of which nothing was a ball's outline
constexpr double kTurn = 6.0;          // price of a moving ball having met something since it was last seen
constexpr double kOthers = 6.0;        // against a kind: the colour is plainly another's
// The same of what is seen where a ball comes back from out of sight. Chosen: in the drawn clip that showed the need of
// it balls had 0 as they lay, and a dark green ball that came out under a board had 2 against the white.
constexpr double kRatherOthers = 1.5;

// Where a ball on the move drops, when it runs straight into a mouth just ahead of it: the middle of the fall, m.
std::optional<Vec2> runs_into(const Followed& b, const table::Table& table) {
  constexpr double kRuns = 0.3;          // m/s: slower, it may stop short
  constexpr double kJustAhead = 0.08;    // m
  constexpr double kOneFrame = 0.04;     // s
  constexpr double kWellInside = 0.005;  // m of the fall's edge: a course is known to less over so short a way
  const double speed = b.velocity.norm();
  if (b.steps < 2 || speed < kRuns) return std::nullopt;
  const double ahead = kJustAhead + kOneFrame * speed;
  for (const table::Pocket& k : table.pockets()) {
    const Vec2 to = k.fall_centre - b.at, along = b.velocity / speed;
    const double way = to.dot(along), beside = std::abs(cross(along, to));
    if (way <= 0 || beside > k.fall_radius - kWellInside) continue;
    if (way - std::sqrt(k.fall_radius * k.fall_radius - beside * beside) < ahead) return k.fall_centre;
  }
  return std::nullopt;
}

void comes_near(Followed& b, double time) {
  constexpr double kGoneBy = 0.2;  // s: what comes near after that comes anew
  if (!b.near || time - b.near->to > kGoneBy) b.near = Followed::Near{time, time};
  b.near->to = time;
}

// Whether a person is over a mouth, or a board. What drops there is no cloth either: so small a patch is the ball
// itself.
bool hidden_mouth(const CoverMap& cover, const table::Table& table, const Vec2& fall) {
  constexpr double kAround = 0.15;  // m
  constexpr int kSteps = 6;         // over twice that: half a cell each
  constexpr double kBalls = 0.7;    // of the bed around: a ball and its smear cover less
  int covered = 0, all = 0;
  for (int i = 0; i < kSteps; ++i)
    for (int k = 0; k < kSteps; ++k) {
      const Vec2 p = fall + kAround * Vec2((2 * i + 1.0) / kSteps - 1, (2 * k + 1.0) / kSteps - 1);
      if (!table.on_bed(p, 0, 0)) continue;
      ++all;
      covered += cover.covered(p);
    }
  return covered > kBalls * all;
}

// Whether a ball that ran into a mouth in sight can have come back as far as this: it would have been seen on its way.
bool out_of_the_mouth(const Followed& b, const Sighting& s) {
  constexpr double kUnseen = 0.1;   // s: three frames at 30 a second
  constexpr double kBeside = 0.15;  // m from the middle of the fall
  return (s.at - *b.into).norm() < kBeside + kUnseen * b.velocity.norm();
}

}  // namespace

double quality_of(const Sighting& s, std::size_t kind) { return s.visible - 0.1 * against(s, kind); }

bool never_was(const Followed& ball) {
  constexpr int kFleeting = 60, kFewInTheOpen = 10;  // sightings
  if (ball.state != Followed::State::gone) return false;
  // A head that moves is told as a ball that runs; cue and hand may well hide the white for as long as it lies there.
  if (ball.kind != 0 && ball.in_the_open == 0) return true;
  // A clip may begin two seconds before the strike: what lay in the open nearly all of them was there.
  constexpr double kNearlyAll = 0.8;
  const bool fleeting = ball.stay.count() < kFleeting && ball.in_the_open < kNearlyAll * ball.stay.count();
  return !ball.moved && ball.lies && (fleeting || ball.in_the_open < kFewInTheOpen);
}

bool at_place(const Followed& ball, const Sighting& s) {
  const double sd = std::max(ball.stay.sd(), std::sqrt(0.5 * s.covariance.trace()));
  // However badly it is seen: a ball's radius off it is somewhere else.
  return (s.at - ball.stay.mean()).norm() < kPlaceSlack + std::min(3 * sd, ball.radius);
}

bool badly_seen(const Followed& ball, const Sighting& s) {
  constexpr double kBeside = 0.5;  // radii
  return ball.state == Followed::State::resting && !ball.moved && ball.off.empty() && !ball.may_start &&
         (s.at - ball.stay.mean()).norm() < kBeside * ball.radius;
}

std::bitset<9> cover_around(const CoverMap& cover, const Vec2& place, double beside) {
  std::bitset<9> out;
  std::size_t i = 0;
  for (const double dx : {-beside, 0.0, beside})
    for (const double dy : {-beside, 0.0, beside}) out[i++] = cover.covered(place + Vec2(dx, dy));
  return out;
}

void seen_whole(Followed& ball, const std::bitset<9>& cover) {
  ball.cover_then = ball.whole++ == 0 ? cover : ball.cover_then & cover;
}

// What lay there in many looks that showed all of the ball does not hide it.
bool may_be_hidden(const Followed& ball, const std::bitset<9>& cover) {
  constexpr int kMany = 30;  // a second at 30 frames a second: an arm does not lie there so long without moving
  return (ball.whole < kMany ? cover : cover & ~ball.cover_then).any();
}

bool lay_beside(const Followed& ball, const Sighting& s, const std::vector<Candidate>& candidates) {
  constexpr int kOften = 5;         // sightings: it lies there
  constexpr double kUnseen = 0.15;  // s out of sight: until then it is told by where it runs
  if (ball.state != Followed::State::moving || s.time - ball.seen_at < kUnseen) return false;
  return std::any_of(candidates.begin(), candidates.end(), [&](const Candidate& c) {
    return c.stay.count() >= kOften && c.first < ball.seen_at - kUnseen && (c.stay.mean() - s.at).norm() < ball.radius;
  });
}

bool out_of_the_open(const Followed& ball, const Vec2& place, double time, const CoverMap& cover) {
  constexpr double kMissed = 0.15;     // s out of sight in the open: the eye misses a frame or two
  constexpr double kBeside = 0.15;     // m
  constexpr double kAgain = 0.1;       // s, of its run
  constexpr std::size_t kNothing = 1;  // of sixteen places around: what is covered may be the thing itself
  if (ball.kind != 0 || ball.state != Followed::State::moving || time - ball.seen_at < kMissed) return false;
  const double reach = kBeside + kAgain * ball.velocity.norm();
  if ((place - ball.at).norm() < reach) return false;
  // What it went under must be known: a lamp's frame as grey as the cloth is not.
  constexpr double kOneStep = 0.06;  // m: a cell of the cover
  if (cover_around(cover, ball.at + kAgain * ball.velocity, kOneStep).none()) return false;
  constexpr unsigned long long kItself = 0x10;
  const auto around = [&](double beside) {
    return (cover_around(cover, place, beside) & ~std::bitset<9>(kItself)).count();
  };
  return around(0.5 * reach) + around(reach) <= kNothing;
}

bool mouth_never_seen(const table::Table& table, const CoverMap& then, const CoverMap& now, const Vec2& place) {
  constexpr double kNear = 0.15;  // m before the fall line
  return std::any_of(table.pockets().begin(), table.pockets().end(), [&](const table::Pocket& k) {
    return k.to_fall(place) < kNear && hidden_mouth(then, table, k.fall_centre) &&
           hidden_mouth(now, table, k.fall_centre);
  });
}

void tell_causes(std::vector<Followed>& balls, const table::Table& table, double time, const CoverMap& cover) {
  constexpr double kNear = 0.04;    // m, beside touching
  constexpr double kUnseen = 0.03;  // s: out of sight for longer than a frame
  constexpr int kSettled = 2;       // sightings on the move until its velocity is trusted
  for (Followed& b : balls) {
    b.may_start = b.kind == 0;
    b.may_turn = b.steps < kSettled;
    if (b.state == Followed::State::resting) b.into.reset();
    if (b.state == Followed::State::gone) continue;
    const double run = 1.3 * b.velocity.norm() * std::max(0.0, time - b.seen_at);
    if (b.state == Followed::State::moving) {
      const double x = table.half_width() - std::abs(b.at.x()), y = table.half_length() - std::abs(b.at.y());
      if (std::min(x, y) < b.radius + run + kNear) b.may_turn = true;
      // Told in the first look after its last sighting: who leans over the pocket later did not hide the fall.
      constexpr double kNextLook = 0.06;  // s
      if (time - b.seen_at < kNextLook) b.into = runs_into(b, table);
      if (b.into && time - b.seen_at < kNextLook && hidden_mouth(cover, table, *b.into)) b.into.reset();
    }
    for (const Followed& o : balls) {
      if (&o == &b || o.state == Followed::State::gone) continue;
      const double unseen = std::max(0.0, time - o.seen_at);
      const double d = (o.at - b.at).norm() - b.radius - o.radius - kNear - run;
      if (o.state == Followed::State::moving) {
        const double reach = 1.3 * o.velocity.norm() * unseen;
        if (d < reach) b.may_start = b.may_turn = true, comes_near(b, time);
      } else if (d < 0) {
        b.may_turn = true;
      }
      // The cue ball: off its place once, or behind the hand that strikes it.
      if (o.kind == 0 && o.state == Followed::State::resting && (!o.off.empty() || unseen > kUnseen) &&
          d < kFastest * unseen + 1.3 * o.velocity.norm() * 0.05)
        b.may_start = true;
    }
  }
}

std::vector<Sighting> take_back_unlike(Followed& b, const Sighting& s) {
  b.unlike = against(s, b.kind) >= (b.back ? kRatherOthers : kOthers) ? b.unlike + 1 : 0;
  if (b.unlike != kUnlike || b.seen.size() < kUnlike + 2) return {};
  std::vector<Sighting> back(b.seen.end() - kUnlike, b.seen.end());
  b.seen.resize(b.seen.size() - kUnlike);
  const Sighting &last = b.seen.back(), &before = b.seen[b.seen.size() - 2];
  b.velocity = (last.at - before.at) / std::max(1e-3, last.time - before.time);
  b.at = last.at;
  b.seen_at = last.time;
  b.steps = std::max(0, b.steps - kUnlike);
  return back;
}

double cost_of(const Followed& ball, const Sighting& s) {
  if (ball.into && !out_of_the_mouth(ball, s)) return kForbidden;
  if (ball.back && ball.unlike >= kUnlike && against(s, ball.kind) >= kRatherOthers) return kForbidden;
  // In a pocket's dark, and where cloth and shadows have been taken for it already, only its colour tells a ball.
  const double colour = (ball.into || ball.unlike >= kUnlike ? 2 : 1) * against(s, ball.kind);
  const double dt = std::max(1e-3, s.time - ball.seen_at);
  if (ball.state == Followed::State::resting && ball.off.empty()) {
    if (at_place(ball, s)) return 0.5 * colour;  // the place itself speaks for it
    if (badly_seen(ball, s)) return kBadly + 0.5 * colour;
    const double d = (s.at - ball.stay.mean()).norm();
    if (!ball.may_start || d > kFastest * dt + 0.03) return kForbidden;
    return kStart + 0.5 * d / (kFastest * dt + 0.03) + colour;
  }
  if (ball.state == Followed::State::resting && at_place(ball, s)) return 1.0 + 0.5 * colour;
  // What is only partly a ball's outline is less likely the ball: hands, cues and their shadows look like that.
  const double partly = kPartly * (1 - s.visible);
  if (ball.state == Followed::State::resting && ball.off.size() == 1) {
    // Seen once off its place: its speed is not known yet, its direction roughly.
    const Vec2 went = ball.at - ball.stay.mean(), goes = s.at - ball.at;
    if (goes.norm() > kFastest * dt + 0.03) return kForbidden;
    double turned = 0;
    constexpr double kTellsDirection = 0.01;  // m
    if (went.norm() > kTellsDirection && goes.norm() > kTellsDirection)
      turned = std::abs(wrap_angle(heading_of(goes) - heading_of(went)));
    // Off by less than this it has gone on; a hit may have turned it.
    constexpr double kTurned = 0.35;  // rad
    return std::min(0.5 * std::pow(turned / kTurned, 2), kTurn) + partly + colour;
  }
  // Moving, or just off its place.
  const Vec2 predicted = ball.at + ball.velocity * dt;
  const double speed = ball.velocity.norm();
  const double sd = std::sqrt(0.5 * s.covariance.trace());
  // Friction, a slide and the two sightings the velocity came from: m.
  // A slide's deceleration, as far as a slide lasts: it takes no more than this share of the speed.
  constexpr double kSlide = 1.5, kSlideTakes = 0.4;  // m/s^2; of the speed
  const double slid = std::min(kSlide * dt * dt, 0.01 + kSlideTakes * speed * dt);
  const double spread = 0.004 + 2 * sd + (0.05 * speed + 1.5 * sd / std::max(dt, 0.015)) * dt + slid;
  const double z = (s.at - predicted).norm() / spread;
  double motion = 0.5 * std::min(z * z, 100.0);
  const double reach = (1.4 * speed + 0.6) * dt + 0.03;
  const double d = (s.at - ball.at).norm();
  if (d < reach && ball.may_turn) motion = std::min(motion, kTurn + 1.0 * d / reach);
  // Long out of sight, or seen on the move once only: anywhere a ball can get to. Nothing makes one faster but a faster
  // one; a speed that few sightings tell may be more.
  constexpr int kTellsSpeed = 4;  // sightings on the move
  // It has left its place by so little that its speed is anything: a nudge, or the frame in which it was struck.
  const bool just_left = ball.state == Followed::State::resting || ball.steps == 0;
  const double far = just_left                  ? kFastest * dt + 0.03
                     : ball.steps < kTellsSpeed ? (3 * speed + 2.0) * dt + 0.03
                                                : (1.2 * speed + 0.5) * dt + 0.03;
  constexpr double kLongUnseen = 0.3;  // s
  if (d < far && (ball.may_turn || dt > kLongUnseen)) motion = std::min(motion, kTurn + 3.0);
  if (motion > kNobody) return kForbidden;
  return motion + partly + colour;
}

}  // namespace baizetrace::path
