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

}  // namespace

double quality_of(const Sighting& s, std::size_t kind) { return s.visible - 0.1 * against(s, kind); }

bool at_place(const Followed& ball, const Sighting& s) {
  const double sd = std::max(ball.stay.sd(), std::sqrt(0.5 * s.covariance.trace()));
  return (s.at - ball.stay.mean()).norm() < kPlaceSlack + 3 * sd;
}

bool badly_seen(const Followed& ball, const Sighting& s) {
  constexpr double kBeside = 0.5;  // radii
  return ball.state == Followed::State::resting && !ball.moved && ball.off.empty() && !ball.may_start &&
         (s.at - ball.stay.mean()).norm() < kBeside * ball.radius;
}

void tell_causes(std::vector<Followed>& balls, const table::Table& table, double time) {
  constexpr double kNear = 0.04;    // m, beside touching
  constexpr double kUnseen = 0.03;  // s: out of sight for longer than a frame
  constexpr int kSettled = 2;       // sightings on the move until its velocity is trusted
  for (Followed& b : balls) {
    b.may_start = b.kind == 0;
    b.may_turn = b.steps < kSettled;
    if (b.state == Followed::State::gone) continue;
    const double run = 1.3 * b.velocity.norm() * std::max(0.0, time - b.seen_at);
    if (b.state == Followed::State::moving) {
      const double x = table.half_width() - std::abs(b.at.x()), y = table.half_length() - std::abs(b.at.y());
      if (std::min(x, y) < b.radius + run + kNear) b.may_turn = true;
    }
    for (const Followed& o : balls) {
      if (&o == &b || o.state == Followed::State::gone) continue;
      const double unseen = std::max(0.0, time - o.seen_at);
      const double d = (o.at - b.at).norm() - b.radius - o.radius - kNear - run;
      if (o.state == Followed::State::moving) {
        const double reach = 1.3 * o.velocity.norm() * unseen;
        if (d < reach) b.may_start = b.may_turn = true;
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

double cost_of(const Followed& ball, const Sighting& s) {
  const double colour = against(s, ball.kind);
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
  const double far = ball.state == Followed::State::resting ? kFastest * dt + 0.03
                     : ball.steps < kTellsSpeed             ? (3 * speed + 2.0) * dt + 0.03
                                                            : (1.2 * speed + 0.5) * dt + 0.03;
  constexpr double kLongUnseen = 0.3;  // s
  if (d < far && (ball.may_turn || dt > kLongUnseen)) motion = std::min(motion, kTurn + 3.0);
  if (motion > kNobody) return kForbidden;
  return motion + partly + colour;
}

}  // namespace baizetrace::path
