#include "path/followed.hpp"

#include <algorithm>
#include <cmath>

#include "path/assignment.hpp"

namespace baizetrace::path {
namespace {

constexpr double kFastest = 10.0;     // m/s; a professional's break reaches 8-9 (common practice)
constexpr double kPlaceSlack = 0.003; // m: a sighting this far beyond its error may still be the ball at its place
constexpr double kStart = 7.0;        // price of a ball at rest having started
constexpr double kTurn = 6.0;         // price of a moving ball having met something since it was last seen

}  // namespace

bool at_place(const Followed& ball, const Sighting& s) {
  const double sd = std::max(ball.stay.sd(), std::sqrt(0.5 * s.covariance.trace()));
  return (s.at - ball.stay.mean()).norm() < kPlaceSlack + 3 * sd;
}

double cost_of(const Followed& ball, const Sighting& s) {
  const double colour = against(s, ball.kind);
  const double dt = std::max(1e-3, s.time - ball.seen_at);
  if (ball.state == Followed::State::resting && ball.off.empty()) {
    if (at_place(ball, s)) return 0.5 * colour;  // the place itself speaks for it
    const double d = (s.at - ball.stay.mean()).norm();
    if (d > kFastest * dt + 0.03) return kForbidden;
    return kStart + 0.5 * d / (kFastest * dt + 0.03) + colour;
  }
  if (ball.state == Followed::State::resting && at_place(ball, s)) return 1.0 + 0.5 * colour;
  // Moving, or just off its place.
  const Vec2 predicted = ball.at + ball.velocity * dt;
  const double speed = ball.velocity.norm();
  const double sd = std::sqrt(0.5 * s.covariance.trace());
  // Friction, a slide and the two sightings the velocity came from: m.
  const double spread = 0.004 + 2 * sd + (0.05 * speed + 1.5 * sd / std::max(dt, 0.015)) * dt + 1.5 * dt * dt;
  const double z = (s.at - predicted).norm() / spread;
  double motion = 0.5 * std::min(z * z, 100.0);
  const double reach = (1.4 * speed + 0.6) * dt + 0.03;
  const double d = (s.at - ball.at).norm();
  if (d < reach) motion = std::min(motion, kTurn + 1.0 * d / reach);
  // Long out of sight, or seen on the move once only: anywhere a ball can get to.
  const double far = ball.state == Followed::State::resting ? kFastest * dt + 0.03 : (3 * speed + 2.0) * dt + 0.03;
  if (d < far) motion = std::min(motion, kTurn + 3.0);
  if (motion > kNobody) return kForbidden;
  return motion + colour;
}

}  // namespace baizetrace::path
