// The whole solver against a small-step integration of the same equations, written separately.
#include "support/small_step.hpp"

#include <gtest/gtest.h>

#include <random>

#include "base/files.hpp"
#include "motion/cushion_contact.hpp"
#include "motion/motion.hpp"
#include "motion/simulator.hpp"

namespace baizetrace::motion {
namespace {

constexpr double kR = 0.02625;

TEST(SmallStep, CushionImpulse) {
  std::mt19937 random(7);
  std::uniform_real_distribution<double> u(-1, 1);
  double worst = 0, worst_coulomb = 0;
  for (int i = 0; i < 60; ++i) {
    const double speed = 0.05 + 3 * std::abs(u(random)), angle = 1.5 * u(random);
    State s;
    s.velocity = speed * along_heading(angle);
    if (i % 3 == 0)
      s.spin = Vec3(-s.velocity.y(), s.velocity.x(), 0.8 * speed * u(random)) / kR;
    else
      s.spin = Vec3(u(random), u(random), u(random)) * 1.2 * speed / kR;
    if (i % 7 == 0) {
      s.velocity = Vec2(0, speed);
      s.spin = Vec3(-speed / kR, 0, 0);
    }
    Conditions c;
    c.cushion_friction = 0.15 + 0.08 * u(random);
    c.sliding = 0.2 + 0.08 * u(random);
    State mine = s;
    hit_cushion(mine, kR, 1.4 * kR, Vec2(0, 1), c);
    const auto off = [&](double smoothing) {
      small_step::Sphere other;
      other.v = Vec3(s.velocity.x(), s.velocity.y(), 0);
      other.w = s.spin;
      small_step::cushion(other, Vec3(0, 1, 0), 1.4 * kR, c, 20000, smoothing);
      return std::max((mine.velocity - other.v.head<2>()).norm(), kR * (mine.spin - other.w).norm()) /
             std::max({speed, kR * s.spin.norm()});
    };
    worst = std::max(worst, off(kSmoothing));
    worst_coulomb = std::max(worst_coulomb, off(0));
  }
  RecordProperty("worst", std::to_string(worst));
  std::printf("cushion impulse: worst %.1e with the same smoothing (bound %.0e), %.1e without (bound %.0e)\n", worst,
              kCushionError, worst_coulomb, kCoulombError);
  EXPECT_LT(worst, kCushionError);
  EXPECT_LT(worst_coulomb, kCoulombError);
}

// Event times and places to 1e-6 relative up to the second ball-ball contact, without cushions between.
TEST(SmallStep, WholeShotUpToTheSecondBall) {
  set_data_folder(BAIZETRACE_SOURCE);
  const table::Table table(*table::read_spec("full-size"));
  const Conditions c;
  struct Shot {
    Strike strike;
    Vec2 white, first, second;
  };
  const std::vector<Shot> shots{{{.speed = 2.5, .heading = 0.02, .right = 0.3, .height = -0.2, .elevation = 0.1},
                                 {0, -0.8},
                                 {0.03, 0.1},
                                 {-0.25, 0.55}},
                                {{.speed = 1.6, .heading = 0.9, .right = -0.2, .height = 0.35, .elevation = 0.05},
                                 {-0.4, -0.5},
                                 {0.1, -0.12},
                                 {0.35, 0.4}},
                                {{.speed = 4.0, .heading = -2.0, .right = 0, .height = 0, .elevation = 0.05},
                                 {0.5, 0.6},
                                 {-0.02, 0.38},
                                 {-0.5, 0.2}}};
  // Each ball-ball contact multiplies an error by about 2 d / R (d: the run to it), some 50 here.
  constexpr double kBound = 1e-6;  // relative in time, and in place over a run of two metres
  // At 10 us the small steps' own error at the second contact is 6e-6 m; it falls in proportion to the step.
  constexpr double kStep = 2e-6;  // s
  double worst = 0;
  int compared = 0;
  for (const Shot& shot : shots) {
    Ball w, a, b;
    w.name = "white";
    w.place = shot.white;
    a.name = "red-1";
    a.place = shot.first;
    b.name = "red-2";
    b.place = shot.second;
    const std::vector<Ball> balls{w, a, b};
    const auto p = simulate(table, c, balls, shot.strike);
    ASSERT_TRUE(p) << p.error().what;
    small_step::World world(table, c);
    for (const Ball& q : balls) {
      small_step::Sphere s;
      s.x = small_step::V3(q.place.x(), q.place.y(), 0);
      world.spheres.push_back(s);
    }
    const State start = struck(shot.strike, shot.white, kR);
    world.spheres[0].v = small_step::V3(start.velocity.x(), start.velocity.y(), 0);
    world.spheres[0].w = start.spin;
    world.start();
    int hits = 0;
    world.run(kStep, 5, [&](const small_step::World& now) {
      hits += now.log.back().kind == 'b';
      return now.log.back().kind != 'b' || hits == 2;
    });
    ASSERT_FALSE(world.log.empty());
    std::vector<std::size_t> seen(3, 0);
    for (const auto& h : world.log) {
      const BallPath& path = p->balls[h.ball];
      ASSERT_LT(seen[h.ball], path.contacts.size());
      const Contact& mine = path.contacts[seen[h.ball]++];
      if (h.kind == 'b') seen[h.other]++;
      EXPECT_NEAR(mine.time, h.time, kBound * h.time);
      EXPECT_LT((mine.at - h.x.head<2>()).norm(), 2 * kBound);
      worst = std::max({worst, std::abs(mine.time - h.time) / h.time, (mine.at - h.x.head<2>()).norm()});
      ++compared;
    }
  }
  std::printf("small steps: %d contacts, worst relative time or place (m) %.1e\n", compared, worst);
  EXPECT_GE(compared, 3);
}

}  // namespace
}  // namespace baizetrace::motion
