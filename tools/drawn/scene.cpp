#include "drawn/scene.hpp"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <random>

namespace baizetrace::drawn {

namespace {
constexpr double kFloor = -0.86;    // m
constexpr double kFallTime = 0.25;  // s from the fall line until nothing is seen

double ease(double x) {
  x = std::clamp(x, 0.0, 1.0);
  return x * x * (3 - 2 * x);
}

void arm(std::vector<Limb>& out, const Vec3& shoulder, const Vec3& hand, const Person& p) {
  const Vec3 elbow = 0.5 * (shoulder + hand) + Vec3(0, 0, 0.06);
  out.push_back({shoulder, elbow, 0.060, 0.048, p.shirt});
  out.push_back({elbow, hand, 0.045, 0.032, p.shirt});
  const Vec3 on = (hand - elbow).normalized();
  out.push_back({hand, hand + 0.05 * on, 0.036, 0.040, p.skin});
  const Vec3 across = on.cross(Vec3(0, 0, 1)).normalized();
  for (int finger = -1; finger <= 2; ++finger)
    out.push_back({hand + 0.06 * on + 0.018 * finger * across,
                   hand + 0.13 * on + 0.030 * finger * across - Vec3(0, 0, 0.02), 0.011, 0.008, p.skin});
}

// Someone bent over the table to strike: head over the cue, bridge hand before him, the cue's tip at the ball.
void leaning(std::vector<Limb>& out, const Person& p, double time) {
  const Vec2 f = p.ahead, side = left_of(f) * (p.left_handed ? 1 : -1);
  // Comes up from where he stands, stays, goes.
  const double in = ease((time - p.from) / 0.8) * ease((p.to - time) / 0.8);
  const Vec2 back = -f * (0.9 * (1 - in));
  const auto at = [&](double ahead, double aside, double z) {
    const Vec2 q = p.bridge + back + ahead * f + aside * side;
    return Vec3(q.x(), q.y(), z + 0.5 * (1 - in));
  };
  const Vec3 hips = at(-1.05, 0.16, 0.10), chest = at(-0.55, 0.13, 0.28), head = at(-0.38, 0.02, 0.36);
  out.push_back({Vec3(hips.x(), hips.y(), kFloor + 0.1), hips, 0.10, 0.15, Colour(0.02, 0.02, 0.03)});
  out.push_back({hips, chest, 0.16, 0.18, p.shirt});
  out.push_back(
      {chest + 0.17 * Vec3(side.x(), side.y(), 0), chest - 0.17 * Vec3(side.x(), side.y(), 0), 0.085, 0.085, p.shirt});
  arm(out, chest - 0.2 * Vec3(side.x(), side.y(), 0), at(-0.14, 0, 0.05), p);
  arm(out, chest + 0.2 * Vec3(side.x(), side.y(), 0), at(-0.78, 0.02, 0.16), p);
  out.push_back({head, head + 0.03 * Vec3(f.x(), f.y(), 0), 0.095, 0.09, p.skin});
  out.push_back(
      {head + Vec3(0, 0, 0.03) - 0.03 * Vec3(f.x(), f.y(), 0), head + Vec3(0, 0, 0.03), 0.098, 0.098, p.hair});
  // The cue: feathered before the strike, run through by it.
  const double to_go = p.strike - time;
  double gap = 0.012;
  if (to_go > 0.25)
    gap += 0.06 * (0.5 - 0.5 * std::cos(2 * kPi * to_go / 0.8));
  else if (to_go > 0)
    gap += 0.10 * to_go / 0.25;
  else
    gap -= 0.12 * ease(-to_go / 0.15);
  const Vec2 tip = p.ball - (0.02625 + gap) * f + back, butt = tip - 1.42 * f;
  out.push_back(
      {Vec3(tip.x(), tip.y(), 0.030), Vec3(butt.x(), butt.y(), 0.11), 0.005, 0.014, Colour(0.35, 0.22, 0.10)});
  out.push_back({Vec3(tip.x(), tip.y(), 0.030), Vec3(tip.x() - 0.012 * f.x(), tip.y() - 0.012 * f.y(), 0.031), 0.005,
                 0.005, Colour(0.1, 0.2, 0.4)});
}

void walking(std::vector<Limb>& out, const Person& p, double time) {
  const double share = (time - p.from) / std::max(0.1, p.to - p.from);
  const Vec2 at = p.start + (p.end - p.start) * share, f = (p.end - p.start).normalized(), side = left_of(f);
  const double swing = 0.25 * std::sin(2 * kPi * 0.9 * time);
  const auto put = [&](double ahead, double aside, double z) {
    return Vec3(at.x() + ahead * f.x() + aside * side.x(), at.y() + ahead * f.y() + aside * side.y(), z);
  };
  out.push_back({put(swing, 0.1, kFloor), put(0, 0.08, -0.05), 0.06, 0.10, Colour(0.02, 0.02, 0.03)});
  out.push_back({put(-swing, -0.1, kFloor), put(0, -0.08, -0.05), 0.06, 0.10, Colour(0.02, 0.02, 0.03)});
  out.push_back({put(0, 0.16, 0.45), put(0, -0.16, 0.45), 0.11, 0.11, p.shirt});
  out.push_back({put(0, 0, 0.0), put(0, 0, 0.42), 0.15, 0.17, p.shirt});
  out.push_back({put(0.0, 0.24, 0.42), put(-swing, 0.26, -0.05), 0.055, 0.04, p.shirt});
  out.push_back({put(0.0, -0.24, 0.42), put(swing, -0.26, -0.05), 0.055, 0.04, p.shirt});
  out.push_back({put(0.02, 0, 0.72), put(0.04, 0, 0.72), 0.10, 0.10, p.skin});
  out.push_back({put(-0.02, 0, 0.76), put(0, 0, 0.77), 0.10, 0.10, p.hair});
}

// A hand reaches in from outside, does something at `end`, and goes.
void reaching(std::vector<Limb>& out, const Person& p, double time) {
  const double length = p.to - p.from, share = (time - p.from) / length;
  const double in = ease(share / 0.3) * ease((1 - share) / 0.3);
  const Vec2 from = p.start, hand = from + (p.end - from) * in;
  const Vec2 f = (p.end - from).normalized();
  arm(out, Vec3(from.x() - 0.2 * f.x(), from.y() - 0.2 * f.y(), 0.35),
      Vec3(hand.x() - 0.10 * f.x(), hand.y() - 0.10 * f.y(), 0.09), p);
  const Vec2 body = from - 0.35 * f;
  out.push_back({Vec3(body.x(), body.y(), 0.0), Vec3(body.x(), body.y(), 0.45), 0.16, 0.17, p.shirt});
  out.push_back({Vec3(body.x(), body.y(), 0.70), Vec3(body.x() + 0.03, body.y(), 0.70), 0.10, 0.10, p.hair});
}
}  // namespace

BallNow Ball::now(double time) const {
  BallNow out;
  out.at = Vec3(0, 0, radius);
  if (spans.empty()) {
    out.state = 2;
    return out;
  }
  std::size_t i = 0;
  while (i + 1 < spans.size() && spans[i + 1].from <= time) ++i;
  const BallSpan& s = spans[i];
  const auto put = [&](const Vec2& p, double z) { out.at = Vec3(p.x(), p.y(), z); };
  switch (s.kind) {
    case BallSpan::Kind::rest:
      put(s.place, radius);
      break;
    case BallSpan::Kind::roll: {
      const double t = time - s.clock;
      const Piece* piece = nullptr;
      for (const Piece& p : s.pieces)
        if (t >= p.from) piece = &p;
      if (!piece) {
        put(s.pieces.front().place, radius);
        break;
      }
      const double held = std::min(t, piece->to);
      put(piece->at(held), radius);
      out.moving = piece->phase != Piece::Phase::rest && t <= piece->to && piece->velocity_at(held).norm() > 1e-6;
      break;
    }
    case BallSpan::Kind::fall: {
      const double dt = std::max(0.0, time - s.from);
      put(s.place + s.velocity * std::min(dt, 0.03), radius - 0.5 * kGravity * dt * dt);
      out.state = dt > kFallTime ? 2 : 1;
      out.moving = true;
      break;
    }
    case BallSpan::Kind::gone:
      out.state = 2;
      break;
    case BallSpan::Kind::hand: {
      const double share = ease((time - s.from) / std::max(0.05, s.until - s.from));
      put(s.place + (s.to - s.place) * share, radius + 0.10 * std::sin(kPi * share));
      out.state = 3;
      out.moving = true;
      break;
    }
  }
  return out;
}

std::vector<double> frame_times(const Recording& r, double duration) {
  std::mt19937 random(r.seed * 7919U + 5U);
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> uniform;
  std::vector<double> out;
  for (int i = 0; i / r.rate < duration; ++i) {
    const double t = i / r.rate + (i > 0 ? std::clamp(r.jitter * normal(random), -0.3 / r.rate, 0.3 / r.rate) : 0);
    if (i > 0 && uniform(random) < r.drop) continue;
    out.push_back(std::round(t * 90000) / 90000);  // the file's own ticks
  }
  return out;
}

Optics optics_at(const Scene& scene, double time) {
  Optics o = scene.optics;
  const Knock& k = scene.knock;
  if (k.time < 0 || time < k.time) return o;
  const double since = time - k.time;
  double swing = std::exp(-k.decay * since) * std::cos(2 * kPi * k.ring * since);
  if (since > 1.2) swing = 0;
  o.turn = Eigen::AngleAxisd(k.angle * (1 - swing), k.axis.normalized()).toRotationMatrix() * o.turn;
  return o;
}

std::vector<Limb> limbs_at(const std::vector<Person>& people, double time) {
  std::vector<Limb> out;
  for (const Person& p : people) {
    if (time < p.from || time > p.to) continue;
    if (p.kind == Person::Kind::walks) walking(out, p, time);
    if (p.kind == Person::Kind::leans) leaning(out, p, time);
    if (p.kind == Person::Kind::hand) reaching(out, p, time);
  }
  return out;
}

}  // namespace baizetrace::drawn
