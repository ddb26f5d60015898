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

Slips moved(const Slips& s, const Slips& d, double h) {
  return {s.nose_x + h * d.nose_x, s.nose_y + h * d.nose_y, s.cloth_x + h * d.cloth_x, s.cloth_y + h * d.cloth_y,
          s.into + h * d.into,     s.along + h * d.along,   s.work + h * d.work};
}

struct Nose {
  double sine, cosine;  // of the height angle of the nose seen from the centre: sine = (h - R) / R
  double nose_friction, cloth_friction;
  double scale;  // m/s: the contact's own speed, to tell small from large

  // Below this a slip counts as zero.
  [[nodiscard]] double zero() const { return 1e-7 * scale; }

  // d/dp. Friction forces over the normal force: f at the nose (f1 along, f2 across), g at the cloth.
  [[nodiscard]] Slips rate(const Slips& s) const {
    const double a = 2.5 * sine - 1, b = 2.5 - sine, d = 2.5 + sine * sine;
    const double mu = nose_friction;
    const double slip = std::hypot(s.nose_x, s.nose_y), rub = std::hypot(s.cloth_x, s.cloth_y);
    double f1 = 0, f2 = 0, g1 = 0, g2 = 0;
    const bool nose_still = slip <= zero(), cloth_still = rub <= zero();
    if (!nose_still) {
      f1 = mu * s.nose_x / slip;
      f2 = mu * s.nose_y / slip;
      const double press = cloth_friction * std::max(0.0, sine + cosine * f2);
      if (!cloth_still) {
        g1 = press * s.cloth_x / rub;
        g2 = press * s.cloth_y / rub;
      } else {
        hold(g1, g2, a * f1, -cosine - b * f2, 3.5, press);
      }
    } else if (!cloth_still) {
      // Held at the nose? f that keeps it still, the cloth's press following it.
      const double c1 = cloth_friction * s.cloth_x / rub, c2 = cloth_friction * s.cloth_y / rub;
      f2 = (sine * cosine - b * sine * c2) / (d + b * cosine * c2);
      f1 = a * (sine + cosine * f2) * c1 / 3.5;
      limit(f1, f2, mu);
      const double press = std::max(0.0, sine + cosine * f2);
      g1 = press * c1;
      g2 = press * c2;
    } else {
      // Both still: hold both if friction can, else what it can.
      const double det = 3.5 * d - b * b;
      f2 = (3.5 * sine * cosine + b * cosine) / det;
      limit(f1, f2, mu);
      hold(g1, g2, a * f1, -cosine - b * f2, 3.5, cloth_friction * std::max(0.0, sine + cosine * f2));
    }
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

  // Friction (x, y) of at most `most` against a push (px, py) that it meets with stiffness k: holds, or slips that way.
  static void hold(double& x, double& y, double px, double py, double k, double most) {
    x = px / k;
    y = py / k;
    limit(x, y, most);
  }
  static void limit(double& x, double& y, double most) {
    const double size = std::hypot(x, y);
    if (size > most) {
      x *= most / size;
      y *= most / size;
    }
  }

  [[nodiscard]] Slips step(const Slips& s, const Slips& k1, double h) const {
    const Slips k2 = rate(moved(s, k1, h / 2)), k3 = rate(moved(s, k2, h / 2)), k4 = rate(moved(s, k3, h));
    const auto mix = [&](double Slips::*m) { return s.*m + h / 6 * (k1.*m + 2 * (k2.*m) + 2 * (k3.*m) + k4.*m); };
    return {mix(&Slips::nose_x), mix(&Slips::nose_y), mix(&Slips::cloth_x), mix(&Slips::cloth_y),
            mix(&Slips::into),   mix(&Slips::along),  mix(&Slips::work)};
  }
};

constexpr int kStepsEach = 5;   // even steps for compression and for restitution, where slips turn slowly
constexpr int kMostSteps = 60;  // then steps are taken as they come; reached by no case of the tests

// How far to go at most so that a slip does not change by more than a share of itself; the smaller it is beside the
// contact's own speed, the less its error weighs and the larger the share. A slip that heads for zero and would pass it
// by less than `zero` is taken exactly to it.
double careful(double x, double y, double dx, double dy, double zero, double scale) {
  constexpr double kFree = 1e9;
  const double slip = std::hypot(x, y), rate = std::hypot(dx, dy);
  if (slip <= zero || rate == 0) return kFree;
  const double closing = -(x * dx + y * dy);
  const double passing = std::abs(x * dy - y * dx) / rate;  // least distance from zero on a straight course
  if (passing <= zero) return closing > 0 ? slip / rate : kFree;
  const double share = slip > 0.1 * scale ? 0.4 : slip > 0.01 * scale ? 0.6 : 0.8;
  return share * slip / rate;
}

void settle(double& x, double& y, double zero) {
  if (std::hypot(x, y) <= zero) x = y = 0;
}
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
  const Nose nose{sine, cosine, c.cushion_friction, c.sliding,
                  std::max({vy, std::abs(vx), std::abs(wx), std::abs(wy), std::abs(wz)})};
  const double e = quiet_restitution(c.cushion_restitution_at(vy), vy);
  // A rolling ball's slip at the cloth is zero but for rounding.
  settle(s.cloth_x, s.cloth_y, nose.zero());
  settle(s.nose_x, s.nose_y, nose.zero());

  // Compression: until the ball no longer moves into the cushion. Then restitution: until e^2 of the work is back.
  const double about = vy / cosine;  // impulse of each half, roughly
  double given = 0;
  for (const bool back : {false, true}) {
    const double goal_work = back ? given * (1 - e * e) : 0;
    for (; report.steps < 4 * kMostSteps; ++report.steps) {
      const Slips k = nose.rate(s);
      double h = about / kStepsEach;
      if (report.steps < kMostSteps) {
        h = std::min({h, careful(s.nose_x, s.nose_y, k.nose_x, k.nose_y, nose.zero(), nose.scale),
                      careful(s.cloth_x, s.cloth_y, k.cloth_x, k.cloth_y, nose.zero(), nose.scale)});
      }
      Slips next = nose.step(s, k, h);
      const bool over = back ? next.work <= goal_work : next.into <= 0;
      if (over) {
        // The end lies inside this step: find its length (secant on the end's own condition).
        double low = 0, high = h, h_end = h;
        double f_low = back ? s.work - goal_work : s.into, f_high = back ? next.work - goal_work : next.into;
        for (int i = 0; i < 40 && std::abs(f_high) > 1e-13 * nose.scale; ++i) {
          h_end = low + (high - low) * f_low / (f_low - f_high);
          next = nose.step(s, k, h_end);
          const double f = back ? next.work - goal_work : next.into;
          if (std::abs(f) <= 1e-13 * nose.scale) break;
          if (f > 0) {
            low = h_end;
            f_low = f;
            f_high *= 0.5;
          } else {
            high = h_end;
            f_high = f;
            f_low *= 0.5;
          }
        }
        s = next;
        ++report.steps;
        break;
      }
      s = next;
      settle(s.nose_x, s.nose_y, nose.zero());
      settle(s.cloth_x, s.cloth_y, nose.zero());
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
