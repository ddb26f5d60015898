#include "motion/cushion_contact.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace baizetrace::motion {

namespace {
// Velocities during the contact, m/s, in a frame along the cushion (x), into it (y), up (z). The independent variable
// is the normal impulse over the mass, p. The five velocities below decide everything; along = integral of the nose's
// friction coefficient along x, from which the spins are put together afterwards.
struct Slips {
  double nose_x = 0, nose_y = 0;    // slip at the nose: along it, and across it (down the cushion's face)
  double cloth_x = 0, cloth_y = 0;  // slip at the cloth
  double into = 0;                  // velocity into the cushion
  double along = 0;
  double work = 0;  // integral of the nose's normal velocity over p
};

double size_of(double x, double y) { return std::sqrt(x * x + y * y); }

Slips moved(const Slips& s, const Slips& d, double h) {
  return {s.nose_x + h * d.nose_x, s.nose_y + h * d.nose_y, s.cloth_x + h * d.cloth_x, s.cloth_y + h * d.cloth_y,
          s.into + h * d.into,     s.along + h * d.along,   s.work + h * d.work};
}

constexpr int kStepsEach = 4;        // even steps for compression and for restitution, where slips turn slowly
constexpr double kTurnShare = 0.5;   // of a slip that one step may use up
constexpr double kGrowShare = 2.0;   // of a slip that grows, which hardly turns
constexpr double kStable = 2.0;      // of 2.8, the classical Runge-Kutta method's limit
constexpr int kMostSteps = 1500;     // a slip that stays at zero all along takes some 300
constexpr double kEndError = 1e-11;  // of the contact's speed (or its square): where compression and restitution end

struct Nose {
  double sine, cosine;  // of the height angle of the nose seen from the centre: sine = (h - R) / R
  double nose_friction, cloth_friction;
  double scale;  // m/s: the contact's own speed
  double still;  // m/s: kSmoothing of it

  // d/dp. Friction over the normal force: f at the nose (f1 along, f2 across), g at the cloth.
  [[nodiscard]] Slips rate(const Slips& s) const {
    const double a = 2.5 * sine - 1, b = 2.5 - sine, d = 2.5 + sine * sine;
    const double nose = nose_friction / std::max(still, size_of(s.nose_x, s.nose_y));
    const double f1 = nose * s.nose_x, f2 = nose * s.nose_y;
    const double cloth =
        cloth_friction * std::max(0.0, sine + cosine * f2) / std::max(still, size_of(s.cloth_x, s.cloth_y));
    const double g1 = cloth * s.cloth_x, g2 = cloth * s.cloth_y;
    Slips r;
    r.nose_x = -3.5 * f1 + a * g1;
    r.nose_y = sine * cosine - d * f2 - b * g2;
    r.cloth_x = a * f1 - 3.5 * g1;
    r.cloth_y = -cosine - b * f2 - 3.5 * g2;
    r.into = -cosine + sine * f2 - g2;
    r.along = f1;
    r.work = cosine * s.into;
    return r;
  }

  // How far to go at most: a share of each slip over the fastest that friction and push together can change it, a
  // longer way while it grows; in the smoothed part as far as Runge-Kutta steps stay stable (kStable over friction's
  // rate).
  [[nodiscard]] double careful(const Slips& s, const Slips& k) const {
    const double nose_rate = 3.5 * nose_friction, cloth_rate = 3.5 * cloth_friction * (sine + nose_friction);
    return std::min(careful(s.nose_x, s.nose_y, k.nose_x, k.nose_y, nose_rate, sine * cosine),
                    careful(s.cloth_x, s.cloth_y, k.cloth_x, k.cloth_y, cloth_rate, cosine));
  }
  [[nodiscard]] double careful(double x, double y, double dx, double dy, double friction_rate, double push) const {
    constexpr double kNone = 1e-9;  // keeps the division finite
    const double stable = kStable * still / (friction_rate + kNone);
    const double size = size_of(x, y);
    if (size <= still) return stable;
    const bool grows = x * dx + y * dy > 0;
    return std::max(stable, (grows ? kGrowShare : kTurnShare) * size / (friction_rate + push));
  }

  [[nodiscard]] Slips step(const Slips& s, const Slips& k1, double h) const {
    const Slips k2 = rate(moved(s, k1, h / 2)), k3 = rate(moved(s, k2, h / 2)), k4 = rate(moved(s, k3, h));
    const auto mix = [&](double Slips::*m) { return s.*m + h / 6 * (k1.*m + 2 * (k2.*m) + 2 * (k3.*m) + k4.*m); };
    return {mix(&Slips::nose_x), mix(&Slips::nose_y), mix(&Slips::cloth_x), mix(&Slips::cloth_y),
            mix(&Slips::into),   mix(&Slips::along),  mix(&Slips::work)};
  }
};
}  // namespace

CushionReport hit_cushion(State& ball, double radius, double nose_height, const Vec2& outward, const Conditions& c) {
  CushionReport report;
  const Vec2 x_axis(outward.y(), -outward.x());
  const double sine = std::clamp((nose_height - radius) / radius, -0.99, 0.99);
  const double cosine = std::sqrt(1 - sine * sine);
  const double vx = ball.velocity.dot(x_axis), vy = ball.velocity.dot(outward);
  report.normal_in = vy;
  if (vy <= 0) return report;
  const double wx = radius * ball.spin.head<2>().dot(x_axis), wy = radius * ball.spin.head<2>().dot(outward),
               wz = radius * ball.spin.z();
  Slips s{vx + sine * wy - cosine * wz, -sine * vy + wx, vx - wy, vy + wx, vy, 0, 0};
  const double scale = std::max({vy, std::abs(vx), std::abs(wx), std::abs(wy), std::abs(wz)});
  const Nose nose{sine, cosine, c.cushion_friction, c.sliding, scale, kSmoothing * scale};
  const double e = quiet_restitution(c.cushion_restitution_at(vy), vy);

  // Compression: until the ball no longer moves into the cushion. Then restitution: until e^2 of the work is back.
  const double about = vy / cosine;  // impulse of each half, roughly
  double given = 0;
  for (const bool back : {false, true}) {
    const double goal_work = back ? given * (1 - e * e) : 0;
    for (; report.steps < 2 * kMostSteps; ++report.steps) {
      const Slips k = nose.rate(s);
      const double even = about / kStepsEach;
      const double h = report.steps < kMostSteps ? std::min(even, nose.careful(s, k)) : even;
      Slips next = nose.step(s, k, h);
      const bool over = back ? next.work <= goal_work : next.into <= 0;
      if (over) {
        // The end lies inside this step: Newton on its length, kept inside it.
        double low = 0, high = h;
        double length = back ? h * (s.work - goal_work) / (s.work - next.work) : h * s.into / (s.into - next.into);
        for (int i = 0; i < 30; ++i) {
          next = nose.step(s, k, length);
          const double off = back ? next.work - goal_work : next.into;
          if (std::abs(off) <= kEndError * nose.scale) break;
          (off > 0 ? low : high) = length;
          const double rate = back ? cosine * next.into : k.into;
          length -= off / rate;
          if (!(length > low && length < high)) length = 0.5 * (low + high);
        }
        s = next;
        ++report.steps;
        break;
      }
      s = next;
    }
    if (!back) {
      s.into = std::min(s.into, 0.0);
      given = s.work;
    }
  }

  // Back to velocities and spins.
  const double spin_z = wz + 2.5 * cosine * s.along;
  const double out_x = (s.nose_x + cosine * spin_z + sine * s.cloth_x) / (1 + sine);
  const double spin_y = out_x - s.cloth_x;
  const double spin_x = s.cloth_y - s.into;
  ball.velocity = out_x * x_axis + s.into * outward;
  const Vec2 flat = (spin_x * x_axis + spin_y * outward) / radius;
  ball.spin = Vec3(flat.x(), flat.y(), spin_z / radius);
  report.normal_out = -s.into;
  return report;
}

}  // namespace baizetrace::motion
