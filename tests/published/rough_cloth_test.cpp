// Mathavan, Jackson & Parkin 2014, Sports Engineering 17 (abstract): a ball-ball impact is three-dimensional; with the
// cloth's friction acting while it lasts, the error of predicted directions halves. What the model here leaves out of
// that is the cloth's friction during the impact itself: the pressed ball is held, not rubbed. This puts a number to
// it, beside the whole impact in small steps, and holds that the rest of the three dimensions is there.
#include <gtest/gtest.h>

#include <cmath>

#include "motion/ball_contact.hpp"
#include "support/small_step.hpp"

namespace baizetrace::motion {
namespace {

constexpr double kR = 0.02625;

struct After {
  double first, second;  // headings once rolling, rad
};
double heading_once_rolling(const Vec3& v, const Vec3& w) {
  return heading_of(Vec2(5 * v.x() + 2 * kR * w.y(), 5 * v.y() - 2 * kR * w.x()));
}

enum class Bed { none, holds, rubs };

// The impact in small steps of the impulse, friction between the balls in all directions, and the cloth beneath each:
// it answers what presses a ball down and, with `rubs`, rubs it while it does.
After whole(double cut, double speed, double roll, const Conditions& c, Bed bed) {
  constexpr int kParts = 20000;
  const Vec3 n(std::sin(cut), std::cos(cut), 0), up(0, 0, 1);
  Vec3 v[2] = {Vec3(0, speed, 0), Vec3::Zero()}, w[2] = {Vec3(-roll * speed / kR, 0, 0), Vec3::Zero()};
  const double closing = v[0].dot(n), dj = 0.5 * (1 + c.ball_restitution) * closing / kParts;  // over a ball's mass
  for (int i = 0; i < kParts; ++i) {
    Vec3 u = v[0] + w[0].cross(Vec3(kR * n)) - v[1] - w[1].cross(Vec3(-kR * n));
    u -= n * u.dot(n);
    const double size = u.norm();
    const double mu = c.ball_friction_at(size);
    const Vec3 rub = size > 0 ? Vec3(-std::min(mu * dj, size / 7) * u / size) : Vec3(Vec3::Zero());  // on the first
    for (int k = 0; k < 2; ++k) {
      const double side = k == 0 ? 1 : -1;
      v[k] += side * (rub - dj * n);
      w[k] += Vec3(side * kR * n).cross(Vec3(side * rub)) / (0.4 * kR * kR);
      if (v[k].z() < 0 && bed != Bed::none) {
        const double press = -v[k].z();
        v[k].z() = 0;
        Vec3 slip = v[k] + w[k].cross(Vec3(-kR * up));
        slip.z() = 0;
        if (bed == Bed::rubs && slip.norm() > 0) {
          const Vec3 f = -std::min(c.sliding * press, slip.norm() / 3.5) * slip.normalized();
          v[k] += f;
          w[k] += Vec3(-kR * up).cross(f) / (0.4 * kR * kR);
        }
      }
    }
  }
  return {heading_once_rolling(v[0], w[0]), heading_once_rolling(v[1], w[1])};
}

After ours(double cut, double speed, double roll, const Conditions& c) {
  State a{Vec2::Zero(), Vec2(0, speed), Vec3(-roll * speed / kR, 0, 0)}, b;
  b.place = 2 * kR * Vec2(std::sin(cut), std::cos(cut));
  collide(a, {kR, 0.142}, b, {kR, 0.142}, c);
  return {heading_once_rolling(Vec3(a.velocity.x(), a.velocity.y(), 0), a.spin),
          heading_once_rolling(Vec3(b.velocity.x(), b.velocity.y(), 0), b.spin)};
}

TEST(RoughCloth, ThreeDimensionalImpact) {
  const Conditions c;
  double worst_same = 0, worst_held = 0, worst_rubbed = 0, worst_flat = 0;
  Conditions none = c;
  none.ball_friction = {0, 0, 0};
  for (double cut = 0.1; cut < 1.2; cut += 0.1)
    for (const double speed : {1.0, 2.5, 5.0})
      for (const double roll : {-0.5, 0.0, 0.5, 1.0}) {
        const After mine = ours(cut, speed, roll, c), same = whole(cut, speed, roll, c, Bed::none),
                    held = whole(cut, speed, roll, c, Bed::holds), rubbed = whole(cut, speed, roll, c, Bed::rubs),
                    flat = ours(cut, speed, roll, none);
        const auto off = [](const After& x, const After& y) {
          return degrees(std::max(std::abs(wrap_angle(x.first - y.first)), std::abs(wrap_angle(x.second - y.second))));
        };
        worst_same = std::max(worst_same, off(mine, same));
        worst_held = std::max(worst_held, off(mine, held));
        worst_rubbed = std::max(worst_rubbed, off(mine, rubbed));
        worst_flat = std::max(worst_flat, off(flat, rubbed));
      }
  std::printf(
      "impact in three dimensions: %.4f degrees from the same in small steps; the bed's hold during it turns a "
      "ball by up to %.2f degrees, hold and rub by %.2f, leaving all friction out by %.2f\n",
      worst_same, worst_held, worst_rubbed, worst_flat);
  EXPECT_LT(worst_same, 0.02);                         // a step of the impulse in 20000
  EXPECT_LT(std::max(worst_held, worst_rubbed), 0.4);  // what is left out
  EXPECT_LT(2 * worst_rubbed, worst_flat);             // and it is less than half of the error of a smooth impact
}

}  // namespace
}  // namespace baizetrace::motion
