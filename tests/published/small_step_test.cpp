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

// The impulse against small steps of Coulomb's law: rolling in, with side, sliding, square, and on odd tables.
TEST(SmallStep, CushionImpulse) {
  std::mt19937 random(7);
  std::uniform_real_distribution<double> u(-1, 1);
  const char* kinds[] = {"rolling", "rolling with side", "sliding", "nearly square", "odd tables", "square"};
  for (int kind = 0; kind < 6; ++kind) {
    constexpr int kMany = 100;
    std::vector<double> off;
    std::vector<int> taken;
    double steps = 0;
    for (int i = 0; i < kMany; ++i) {
      const double speed = 0.05 + 3 * std::abs(u(random)), angle = (kind == 3 ? 0.05 : 1.4) * u(random);
      Conditions c;
      double nose = 1.4 * kR;
      State s;
      s.velocity = speed * along_heading(angle);
      s.spin = Vec3(-s.velocity.y(), s.velocity.x(), 0) / kR;
      if (kind == 1) s.spin.z() = 0.9 * speed * u(random) / kR;
      if (kind == 3) s.spin.z() = 0.05 * speed * u(random) / kR;
      if (kind == 2 || kind == 4) s.spin = Vec3(u(random), u(random), u(random)) * 1.2 * speed / kR;
      if (kind == 5) {  // any roll or screw: slips cross zero exactly, in either half
        s.velocity = Vec2(0, speed);
        s.spin = Vec3(1.5 * speed * u(random) / kR, 0, 0);
      }
      if (kind == 4) {
        c.cushion_friction = 0.2 + 0.2 * u(random);
        c.sliding = 0.26 + 0.24 * u(random);
        c.cushion_restitution = {{0.5, 0.6 + 0.4 * u(random)}};
        nose = (1.3 + 0.25 * u(random)) * kR;
      }
      State mine = s;
      const CushionReport report = hit_cushion(mine, kR, nose, Vec2(0, 1), c);
      small_step::Sphere other;
      other.v = Vec3(s.velocity.x(), s.velocity.y(), 0);
      other.w = s.spin;
      small_step::cushion(other, Vec3(0, 1, 0), nose, c, 10000);
      off.push_back(std::max((mine.velocity - other.v.head<2>()).norm(), kR * (mine.spin - other.w).norm()) /
                    std::max({speed, kR * s.spin.norm()}));
      taken.push_back(report.steps);
      steps += report.steps;
      EXPECT_LE(energy_over_mass(mine, kR), energy_over_mass(s, kR) * (1 + 1e-12));
    }
    std::sort(off.begin(), off.end());
    std::sort(taken.begin(), taken.end());
    std::printf("cushion, %-18s %4.1f steps (most %d); off by %.1e median, %.1e nine in ten, %.1e worst\n", kinds[kind],
                steps / kMany, taken.back(), off[kMany / 2], off[9 * kMany / 10], off.back());
    const double most = kind == 2 || kind == 4 ? kCushionSpinError : kCushionError;
    EXPECT_LE(taken.back(), kMostCushionSteps) << kinds[kind];
    EXPECT_LT(off[kMany / 2], kCushionTypicalError) << kinds[kind];
    EXPECT_LT(off.back(), most) << kinds[kind];
  }
}

// The number of steps over many more contacts, most of them where slips come to zero, pass near it or leave it slowly.
TEST(SmallStep, CushionStepsAreBounded) {
  std::mt19937 random(11);
  std::uniform_real_distribution<double> u(-1, 1);
  constexpr int kMany = 60000;
  int most = 0;
  double sum = 0;
  for (int i = 0; i < kMany; ++i) {
    const int kind = i % 3;  // any spin; almost square with little side; any spin on an odd table
    Conditions c;
    double nose = 1.4 * kR;
    State s;
    const double speed = 0.01 + 5 * std::abs(u(random));
    s.velocity = speed * along_heading((kind == 1 ? 0.05 : 1.4) * u(random));
    if (kind == 1)
      s.spin = Vec3(-s.velocity.y(), s.velocity.x(), 0.05 * speed * u(random)) / kR;
    else
      s.spin = Vec3(u(random), u(random), u(random)) * 1.5 * speed / kR;
    if (kind == 2) {
      c.cushion_friction = 0.2 + 0.2 * u(random);
      c.sliding = 0.26 + 0.24 * u(random);
      nose = (1.3 + 0.25 * u(random)) * kR;
    }
    State out = s;
    const int steps = hit_cushion(out, kR, nose, Vec2(0, 1), c).steps;
    most = std::max(most, steps);
    sum += steps;
    EXPECT_LE(energy_over_mass(out, kR), energy_over_mass(s, kR) * (1 + 1e-12));
  }
  std::printf("cushion, %d contacts: %.1f steps, most %d (bound %d)\n", kMany, sum / kMany, most, kMostCushionSteps);
  EXPECT_LE(most, kMostCushionSteps);
}

// The laws hold to the edges of what conditions may be: nothing without friction, hardly any, the most; exactly square,
// a hair beside it, along the cushion; no spin, rolling, three times that.
TEST(SmallStep, CushionLawsAtTheEdges) {
  std::mt19937 random(5);
  std::uniform_real_distribution<double> u(-1, 1);
  const auto one_of = [&](std::initializer_list<double> all) {
    return *(all.begin() + static_cast<int>(0.49999 * (u(random) + 1) * static_cast<double>(all.size())));
  };
  constexpr int kMany = 240000;
  constexpr double kGain = 1e-6;  // of the energy, where nothing takes any: the series' error
  int most = 0;
  for (int i = 0; i < kMany; ++i) {
    Conditions c;
    c.cushion_friction = one_of({0, 1e-9, 0.05, 0.14, 0.3, 0.4});
    c.sliding = one_of({0.02, 0.05, 0.2, 0.5});
    c.cushion_restitution = {{0.5, one_of({0, 0.3, 0.85, 1.0})}};
    const double nose = one_of({1.05, 1.2, 1.27, 1.4, 1.55}) * kR, speed = std::pow(10, 3 * u(random) - 1.5);
    State in;
    in.velocity = speed * along_heading(one_of({0, 0, 1e-9, 1e-4, 0.3, 1.5}) * (u(random) > 0 ? 1 : -1));
    in.spin = one_of({0, 1e-9, 1e-4, 0.3, 1, 3}) * speed / kR * Vec3(u(random), u(random), u(random));
    if (u(random) > 0.3) in.spin = Vec3(-in.velocity.y(), in.velocity.x(), one_of({0, 0, 1e-6, 0.5}) * speed) / kR;
    State out = in, mirrored = in;
    most = std::max(most, hit_cushion(out, kR, nose, Vec2(0, 1), c).steps);
    mirrored.velocity.x() *= -1;
    mirrored.spin.y() *= -1;
    mirrored.spin.z() *= -1;
    hit_cushion(mirrored, kR, nose, Vec2(0, 1), c);
    ASSERT_TRUE(out.velocity.allFinite() && out.spin.allFinite()) << i;
    EXPECT_LE(energy_over_mass(out, kR), energy_over_mass(in, kR) * (1 + kGain)) << i;
    EXPECT_LE(out.velocity.y(), 1e-9 * speed) << i;
    EXPECT_EQ(mirrored.velocity.x(), -out.velocity.x()) << i;
    EXPECT_EQ(mirrored.velocity.y(), out.velocity.y()) << i;
  }
  EXPECT_LE(most, kMostCushionSteps);
}

// PHYSICS.md: event times and places to 1e-6 relative of RK4 at 10 us, up to the second ball-ball contact.
struct Shot {
  Strike strike;
  std::vector<Vec2> places;  // the white's first
};

struct Agreement {
  int contacts = 0, cushions = 0;
  double worst = 0;        // relative in time, or m over a run of about a metre
  double worst_early = 0;  // the same before any cushion
};

Agreement beside_small_steps(const table::Table& table, const Conditions& c, const std::vector<Shot>& shots,
                             double step, double seconds, bool through_cushions) {
  Agreement out;
  for (const Shot& shot : shots) {
    std::vector<Ball> balls;
    for (const Vec2& at : shot.places) {
      Ball b;
      b.name = balls.empty() ? "white" : "red-" + std::to_string(balls.size());
      b.place = at;
      balls.push_back(b);
    }
    const auto p = simulate(table, c, balls, shot.strike);
    EXPECT_TRUE(p) << p.error().what;
    if (!p) continue;
    small_step::World world(table, c);
    for (const Ball& q : balls) {
      small_step::Sphere s;
      s.x = small_step::V3(q.place.x(), q.place.y(), 0);
      world.spheres.push_back(s);
    }
    const State start = struck(shot.strike, shot.places[0], kR);
    world.spheres[0].v = small_step::V3(start.velocity.x(), start.velocity.y(), 0);
    world.spheres[0].w = start.spin;
    world.start();
    int hits = 0;
    world.run(step, seconds, [&](const small_step::World& now) {
      hits += now.log.back().kind == 'b';
      return hits == 2 || (!through_cushions && now.log.back().kind != 'b');
    });
    EXPECT_FALSE(world.log.empty());
    std::vector<std::size_t> seen(balls.size(), 0);
    bool cushioned = false;
    for (const auto& h : world.log) {
      const BallPath& path = p->balls[h.ball];
      if (seen[h.ball] >= path.contacts.size()) {
        ADD_FAILURE() << "the small steps have a contact more of " << path.ball;
        break;
      }
      const Contact& mine = path.contacts[seen[h.ball]++];
      if (h.kind == 'b') seen[h.other]++;
      const double off = std::max(std::abs(mine.time - h.time) / h.time, (mine.at - h.x.head<2>()).norm());
      std::printf("    %c %s at %.4f s: %.1e\n", h.kind, path.ball.c_str(), h.time, off);
      out.worst = std::max(out.worst, off);
      if (!cushioned) out.worst_early = std::max(out.worst_early, off);
      cushioned = cushioned || h.kind == 'c' || h.kind == 'j';
      out.cushions += h.kind == 'c';
      ++out.contacts;
    }
  }
  return out;
}

constexpr double kStep = 1e-5;  // s

TEST(SmallStep, WholeShotUpToTheSecondBall) {
  set_data_folder(BAIZETRACE_SOURCE);
  const table::Table table(*table::read_spec("full-size"));
  std::vector<Shot> shots{
      {{.speed = 2.5, .heading = 0.02, .right = 0.3, .height = -0.2, .elevation = 0.1}, {{0, -0.8}, {0.03, 0.1}}},
      {{.speed = 1.6, .heading = 0.9, .right = -0.2, .height = 0.35, .elevation = 0.05}, {{-0.4, -0.5}, {0.1, -0.12}}},
      {{.speed = 4.0, .heading = -2.0, .right = 0, .height = 0, .elevation = 0.05}, {{0.5, 0.6}, {-0.02, 0.38}}}};
  // A second red near where the first would be a while after it was hit: met off its middle.
  for (Shot& shot : shots) {
    std::vector<Ball> balls(2);
    balls[0].name = "white";
    balls[0].place = shot.places[0];
    balls[1].name = "red-1";
    balls[1].place = shot.places[1];
    const auto p = simulate(table, {}, balls, shot.strike);
    ASSERT_TRUE(p) << p.error().what;
    const BallPath& red = *p->ball("red-1");
    const double there = red.contacts.at(0).time + 0.2;
    ASSERT_TRUE(red.at(there));
    shot.places.push_back(*red.at(there) + Vec2(0.012, 0));
  }
  constexpr double kBound = 1e-6;
  const Agreement a = beside_small_steps(table, {}, shots, kStep, 5, false);
  std::printf("small steps: %d contacts, worst relative time or place (m) %.1e (bound %.0e)\n", a.contacts, a.worst,
              kBound);
  EXPECT_EQ(a.contacts, 6);  // two each
  EXPECT_LT(a.worst, kBound);
}

// With cushions on the way, and what they leave of the shot behind them.
TEST(SmallStep, CushionsOnTheWay) {
  set_data_folder(BAIZETRACE_SOURCE);
  const table::Table table(*table::read_spec("full-size"));
  const std::vector<Shot> shots{
      {{.speed = 2.5, .heading = radians(39), .right = 0.3, .height = 0.1, .elevation = 0.05}, {{-0.292, -1.0475}}},
      {{.speed = 2.5, .heading = radians(39), .right = -0.3, .height = 0.1, .elevation = 0.05}, {{-0.292, -1.0475}}},
      {{.speed = 3.0, .heading = radians(70), .right = 0.1, .height = -0.2, .elevation = 0.05}, {{-0.3, 0.3}}},
      {{.speed = 2.0, .heading = 0.002, .right = 0.0, .height = 0.4, .elevation = 0.0}, {{0.1, -0.3}}}};
  constexpr double kBound = 1e-6;
  const Agreement a = beside_small_steps(table, {}, shots, kStep, 4, true);
  std::printf("small steps with cushions: %d contacts, %d cushions, worst %.1e (bound %.0e), before a cushion %.1e\n",
              a.contacts, a.cushions, a.worst, kBound, a.worst_early);
  EXPECT_GE(a.cushions, 8);
  EXPECT_LT(a.worst_early, 1e-6);
  EXPECT_LT(a.worst, kBound);
}

// A bed that slopes by 0.4 mm a metre, slid and rolled over for metres.
TEST(SmallStep, Slope) {
  set_data_folder(BAIZETRACE_SOURCE);
  const table::Table table(*table::read_spec("full-size"));
  Conditions c;
  c.slope = Vec2(0.0004, -0.0003);
  const std::vector<Shot> shots{
      {{.speed = 1.0, .heading = 0, .right = 0, .height = 0, .elevation = 0}, {{0.3, -1.3}}},
      {{.speed = 3.0, .heading = 0.5, .right = 0.3, .height = -0.3, .elevation = 0.2}, {{-0.6, -1.2}, {0.14, 0.1}}}};
  constexpr double kBound = 1e-5;  // the pieces of 20 ms
  const Agreement a = beside_small_steps(table, c, shots, kStep, 9, true);
  std::printf("small steps on a slope: %d contacts, worst before a cushion %.1e (bound %.0e)\n", a.contacts,
              a.worst_early, kBound);
  EXPECT_GE(a.contacts, 2);
  EXPECT_LT(a.worst_early, kBound);
}

// A nap that runs towards the top cushion, along, across and against it, with side of either hand that runs out on the
// way.
TEST(SmallStep, Nap) {
  set_data_folder(BAIZETRACE_SOURCE);
  const table::Table table(*table::read_spec("full-size"));
  Conditions c;
  c.nap = {.drift = 0.0004, .side = 0.0006};
  const std::vector<Shot> shots{
      {{.speed = 1.0, .heading = 0.1, .right = 0.3, .height = 0.2, .elevation = 0}, {{0.3, -1.3}}},
      {{.speed = 1.6, .heading = kPi - 0.1, .right = 0.4, .height = 0, .elevation = 0}, {{-0.3, 1.2}}},
      {{.speed = 1.2, .heading = 1.4, .right = -0.25, .height = 0, .elevation = 0}, {{-0.7, 0.3}}},
      {{.speed = 3.0, .heading = 0.5, .right = 0.3, .height = -0.3, .elevation = 0.2}, {{-0.6, -1.2}, {0.14, 0.1}}}};
  constexpr double kBound = 1e-5;  // the pieces of 20 ms
  const Agreement a = beside_small_steps(table, c, shots, kStep, 9, true);
  std::printf("small steps over a nap: %d contacts, worst before a cushion %.1e (bound %.0e)\n", a.contacts,
              a.worst_early, kBound);
  EXPECT_GE(a.contacts, 4);
  EXPECT_LT(a.worst_early, kBound);
}

}  // namespace
}  // namespace baizetrace::motion
