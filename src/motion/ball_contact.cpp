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
// Friction that goes with a normal impulse: changes both states. `shared`: how many contacts work on the same slip.
// With k = 7/2 (1/m_a + 1/m_b) the slip falls by ds = -k (a + b exp(-c s)) dj, so that with q = exp(c (s - s0))
//   q(j) = (1 + b/a z) exp(-k c a j) - b/a z,   z = exp(-c s0);
// it is used up once q falls to z. Its direction stays.
void rub(State& a, const Body& ba, State& b, const Body& bb, const Vec2& n, double slip_across, double slip_up,
         double normal, const std::array<double, 3>& friction, double shared) {
  const double slip = std::hypot(slip_across, slip_up);
  if (slip == 0) return;
  const auto [level, more, fall] = friction;
  const double k = 3.5 * (1 / ba.mass + 1 / bb.mass) * shared;
  double left = 0;  // slip afterwards
  if (fall * slip < 1e-9 || more == 0) {
    left = slip - k * (level + more) * normal;
  } else {
    const double z = std::exp(-fall * slip), x = k * fall * level * normal;
    const double lost = x < 1e-9 ? k * fall * normal * (level + more * z) : -std::expm1(-x) * (1 + more / level * z);
    left = 1 - lost <= z ? 0.0 : slip + std::log1p(-lost) / fall;
  }
  const double j = (slip - std::max(0.0, left)) / k;
  const double across = -j * slip_across / slip, up = -j * slip_up / slip;  // impulse on a
  const Vec2 t = left_of(n);
  a.velocity += (across / ba.mass) * t;
  b.velocity -= (across / bb.mass) * t;
  // R n x (across t + up z) = R (across z - up t); the same turning for both balls.
  const double ka = 2.5 / (ba.mass * ba.radius), kb = 2.5 / (bb.mass * bb.radius);
  // Lifted, it leaves the cloth; pressed, the cloth holds it.
  a.lift = std::max(0.0, a.lift + up / ba.mass);
  b.lift = std::max(0.0, b.lift - up / bb.mass);
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
  rub(a, ba, b, bb, n, s.across, s.up, j, c.ball_friction, 1);
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
    rub(states[i], bodies[i], states[j], bodies[j], n[k], slip[k].across, slip[k].up, impulse[k], c.ball_friction,
        most);
  }
  for (std::size_t i = 0; i < states.size(); ++i) {
    before += energy(smooth[i], bodies[i]);
    after += energy(states[i], bodies[i]);
  }
  if (after > before) std::copy(smooth.begin(), smooth.end(), states.begin());
}

}  // namespace baizetrace::motion
