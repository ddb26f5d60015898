#include "path/impact.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::path {
namespace {

void cushion(const ImpactPair& pair, const ImpactPrior& prior, std::vector<double>& r) {
  const ImpactState& s = pair.state[0];
  const Surface& surface = pair.touch->surface;
  const Vec2 n = surface.normal(s.at), t = left_of(n);
  const double in = std::abs(s.v_in.dot(n));
  const double wide = surface.kind == ContactKind::jaw ? 2.0 : 1.0;  // jaws are less known
  r.push_back(surface.gap(s.at) / prior.nose_sd);
  r.push_back((s.v_out.dot(n) - prior.rebound * in) / (wide * prior.rebound_sd * in + prior.floor));
  r.push_back((s.v_out.dot(t) - s.v_in.dot(t)) / (wide * prior.across_sd * in + 0.05 * s.v_in.norm() + prior.floor));
  r.push_back((s.w_out.dot(n) - prior.roll_back * in) / (wide * prior.roll_back_sd * in + prior.floor));
  r.push_back(s.w_out.dot(t) / (0.10 * wide * s.v_in.norm() + prior.floor));
}

void balls(const ImpactPair& pair, const ImpactPrior& prior, std::vector<double>& r) {
  const ImpactState &a = pair.state[0], &b = pair.state[1];
  const double apart = pair.radius[0] + pair.radius[1];
  const double pulled = std::sqrt(std::max(0.0, pair.pulled * pair.pulled - prior.pulled * prior.pulled));
  r.push_back(((b.at - a.at).norm() - apart) / std::hypot(prior.centres_sd, pulled));
  const double line_sd = std::hypot(prior.line_sd, pulled / apart);
  const Vec2 line = (b.at - a.at).normalized();
  // They meet on the sides that face each other: of the two places at the touch distance the one is behind the ball.
  const Vec2 closing = a.v_in - b.v_in;
  r.push_back(std::max(0.0, -closing.dot(line)) / (prior.line_sd * closing.norm() + prior.floor));
  for (int i = 0; i < (pair.together ? 2 : 1); ++i) {
    const ImpactState& s = pair.state[i];
    const Vec2 change = s.v_out - s.v_in;
    const Vec2 slip = s.w_out - s.w_in - kSlipShare * change;
    const double sd = prior.ball_slip_sd * change.norm() + prior.floor;
    r.push_back(slip.x() / sd);
    r.push_back(slip.y() / sd);
    r.push_back(cross(line, change) / (line_sd * change.norm() + prior.floor));
  }
  if (pair.together) {
    const Vec2 change = a.v_out - a.v_in;
    const Vec2 lost = change + (pair.mass[1] / pair.mass[0]) * (b.v_out - b.v_in);
    const double sd = prior.momentum_sd * change.norm() + prior.floor;
    r.push_back(lost.x() / sd);
    r.push_back(lost.y() / sd);
  }
}

void strike(const ImpactPair& pair, const ImpactPrior& prior, std::vector<double>& r) {
  const ImpactState& s = pair.state[0];
  const double speed = std::max(s.v_out.norm(), 1e-6);
  const Vec2 along = s.v_out / speed;
  r.push_back((s.w_out.dot(along) - prior.strike_slip * speed) / (prior.strike_slip_sd * speed + prior.floor));
  r.push_back(cross(along, s.w_out) / (prior.strike_across_sd * speed + prior.floor));
}

}  // namespace

std::vector<double> impact_residuals(const ImpactPair& pair, const ImpactPrior& prior) {
  std::vector<double> r;
  switch (pair.touch->kind) {
    case Touch::Kind::start:
      strike(pair, prior, r);
      break;
    case Touch::Kind::surface:
      cushion(pair, prior, r);
      break;
    case Touch::Kind::ball:
      balls(pair, prior, r);
      break;
    case Touch::Kind::unknown:
      break;
  }
  if (r.empty()) {
    // Nothing is known of it: the slide is kept small beside the speed, so that it stays determined.
    const ImpactState& s = pair.state[0];
    const double sd = 0.3 * s.v_out.norm() + 0.05;
    r.push_back(s.w_out.x() / sd);
    r.push_back(s.w_out.y() / sd);
  }
  for (int i = 0; i < (pair.together ? 2 : 1); ++i)
    for (int d = 0; d < 2; ++d) r.push_back(pair.state[i].v_out[d] / prior.fastest);
  return r;
}

void expect_after_surface(const Touch& touch, const ImpactPrior& prior, const ImpactState& in, Vec2& v, Vec2& w) {
  const Vec2 n = touch.surface.normal(in.at), t = left_of(n);
  const double normal = std::abs(in.v_in.dot(n));
  v = prior.rebound * normal * n + in.v_in.dot(t) * t;
  w = prior.roll_back * normal * n;
}

}  // namespace baizetrace::path
