#include "motion/ball_contact.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace baizetrace::motion {

double quiet_restitution(double e, double speed) {
  if (speed >= 2 * kQuiet) return e;
  return std::min(1.0, e + (1 - e) * (2 * kQuiet - speed) / kQuiet);
}

double touching_distance(double ra, double rb) { return ra == rb ? 2 * ra : 2 * std::sqrt(ra * rb); }

namespace {
// Friction for a given normal impulse: changes both states.
void rub(State& a, const Body& ba, State& b, const Body& bb, const Vec2& n, double slip_across, double slip_up,
         double most) {
  const double slip = std::hypot(slip_across, slip_up);
  if (slip == 0) return;
  // What would stop the slip: 1/m_a + 1/m_b, times 7/2 for solid spheres.
  const double stop = slip / (3.5 * (1 / ba.mass + 1 / bb.mass));
  const double j = std::min(most, stop);
  const double across = -j * slip_across / slip, up = -j * slip_up / slip;  // impulse on a
  const Vec2 t = left_of(n);
  a.velocity += (across / ba.mass) * t;
  b.velocity -= (across / bb.mass) * t;
  // R n x (across t + up z) = R (across z - up t); the same turning for both balls.
  const double ka = 2.5 / (ba.mass * ba.radius), kb = 2.5 / (bb.mass * bb.radius);
  a.spin += ka * Vec3(-up * t.x(), -up * t.y(), across);
  b.spin += kb * Vec3(-up * t.x(), -up * t.y(), across);
}

struct Slip {
  double across, up;
};
Slip slip_of(const State& a, const Body& ba, const State& b, const Body& bb, const Vec2& n) {
  const Vec3 w = ba.radius * a.spin + bb.radius * b.spin;
  const Vec2 g = a.velocity - b.velocity;
  return {g.dot(left_of(n)) + w.z(), w.x() * n.y() - w.y() * n.x()};
}

double energy(const State& s, const Body& b) { return b.mass * energy_over_mass(s, b.radius); }
}  // namespace

void collide(State& a, const Body& ba, State& b, const Body& bb, const Conditions& c) {
  const Vec2 n = (b.place - a.place).normalized();
  const double closing = (a.velocity - b.velocity).dot(n);
  if (closing <= 0) return;
  const Slip s = slip_of(a, ba, b, bb, n);
  const double reduced = 1.0 / (1 / ba.mass + 1 / bb.mass);
  const double j = (1 + quiet_restitution(c.ball_restitution, closing)) * reduced * closing;
  a.velocity -= (j / ba.mass) * n;
  b.velocity += (j / bb.mass) * n;
  rub(a, ba, b, bb, n, s.across, s.up, c.ball_friction_at(std::hypot(s.across, s.up)) * j);
}

void collide_together(std::span<State> states, std::span<const Body> bodies, std::span<const Touch> touches,
                      const Conditions& c) {
  if (touches.size() == 1) {
    collide(states[touches[0].a], bodies[touches[0].a], states[touches[0].b], bodies[touches[0].b], c);
    return;
  }
  // Normal impulses with every contact opening at least at e times its closing speed and no pull: averaged (Jacobi)
  // sweeps treat all alike.
  const std::size_t m = touches.size();
  std::vector<Vec2> n(m);
  std::vector<Slip> slip(m);
  std::vector<double> target(m), impulse(m, 0.0), reduced(m);
  std::vector<int> degree(states.size(), 0);
  for (std::size_t k = 0; k < m; ++k) {
    const auto [i, j] = touches[k];
    n[k] = (states[j].place - states[i].place).normalized();
    const double closing = (states[i].velocity - states[j].velocity).dot(n[k]);
    target[k] = -quiet_restitution(c.ball_restitution, closing) * closing;
    slip[k] = slip_of(states[i], bodies[i], states[j], bodies[j], n[k]);
    reduced[k] = 1.0 / (1 / bodies[i].mass + 1 / bodies[j].mass);
    ++degree[i];
    ++degree[j];
  }
  const int most = *std::max_element(degree.begin(), degree.end());
  constexpr int kSweeps = 400;
  std::vector<double> step(m);
  for (int sweep = 0; sweep < kSweeps; ++sweep) {
    double change = 0;
    for (std::size_t k = 0; k < m; ++k) {
      const auto [i, j] = touches[k];
      const double closing = (states[i].velocity - states[j].velocity).dot(n[k]);
      const double wanted = std::max(0.0, impulse[k] + reduced[k] * (closing - target[k]) / most);
      step[k] = wanted - impulse[k];
      change = std::max(change, std::abs(step[k]) / reduced[k]);
    }
    for (std::size_t k = 0; k < m; ++k) {
      const auto [i, j] = touches[k];
      impulse[k] += step[k];
      states[i].velocity -= (step[k] / bodies[i].mass) * n[k];
      states[j].velocity += (step[k] / bodies[j].mass) * n[k];
    }
    if (change < kStill) break;
  }
  // Friction with those impulses; kept only if it takes energy out, as it must.
  double before = 0, after = 0;
  std::vector<State> smooth(states.begin(), states.end());
  for (std::size_t k = 0; k < m; ++k) {
    const auto [i, j] = touches[k];
    const double mu = c.ball_friction_at(std::hypot(slip[k].across, slip[k].up));
    const double stop = std::hypot(slip[k].across, slip[k].up) * reduced[k] / 3.5 / most;
    rub(states[i], bodies[i], states[j], bodies[j], n[k], slip[k].across, slip[k].up, std::min(mu * impulse[k], stop));
  }
  for (std::size_t i = 0; i < states.size(); ++i) {
    before += energy(smooth[i], bodies[i]);
    after += energy(states[i], bodies[i]);
  }
  if (after > before) std::copy(smooth.begin(), smooth.end(), states.begin());
}

}  // namespace baizetrace::motion
