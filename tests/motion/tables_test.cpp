// Other tables and balls in play: scaled snooker tables, pool, the small English set with its lighter cue ball; a bed
// that slopes; a cloth with a nap.
#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "base/files.hpp"
#include "motion/aim.hpp"
#include "motion/ball_contact.hpp"
#include "motion/motion.hpp"
#include "support/full_size.hpp"
#include "support/named_ball.hpp"
#include "table/lookup.hpp"

namespace baizetrace::motion {
namespace {

struct Place {
  const char* table;
  const char* balls;  // empty: the table's own
  const char* object;
};

// On every table: pots are aimed and fall, nothing overlaps or leaves, everything comes to rest, the mirror image is
// the mirrored result.
TEST(Tables, PotsAndLawsOnEachOfThem) {
  set_data_folder(BAIZETRACE_SOURCE);
  for (const Place& place :
       {Place{"full-size", "", "red-1"}, Place{"snooker-10ft", "", "red-1"}, Place{"snooker-9ft", "", "red-1"},
        Place{"snooker-8ft", "", "red-1"}, Place{"snooker-7ft", "", "red-1"}, Place{"pool-9ft", "", "eight"},
        Place{"snooker-7ft", "english-pool", "red-1"}}) {
    const auto spec = table::read_spec(place.table);
    ASSERT_TRUE(spec) << spec.error().what;
    const table::Table t(*spec);
    const auto set = table::read_ball_set(*place.balls ? place.balls : spec->balls);
    ASSERT_TRUE(set) << set.error().what;
    std::mt19937 random(3);
    std::uniform_real_distribution<double> u(-1, 1);
    int asked = 0, pots = 0;
    for (int tries = 0; tries < 400; ++tries) {
      const Vec2 inside(0.85 * t.half_width(), 0.9 * t.half_length());
      const std::vector<Ball> balls{
          make_ball(*set, "white", Vec2(inside.x() * u(random), inside.y() * u(random))),
          make_ball(*set, place.object, Vec2(inside.x() * u(random), inside.y() * u(random)))};
      const table::Pocket& pocket = t.pockets()[random() % t.pockets().size()];
      const Vec2 line = pocket.mouth_middle() - balls[1].place, from = balls[1].place - balls[0].place;
      if (from.norm() < 0.2 || from.normalized().dot(line.normalized()) < 0.7) continue;  // cuts up to 45 degrees
      if (pocket.name.starts_with("middle") && std::abs(line.x()) < 0.75 * line.norm()) continue;
      const Strike s{.speed = 2.2, .heading = 0, .right = 0.1 * u(random), .height = 0.2 * u(random)};
      const auto a = aim_pot(t, {}, balls, s, {place.object, pocket.name, "", {}});
      ++asked;
      ASSERT_TRUE(a) << place.table << ": " << a.error().what;
      pots += a->pots;
      Strike hit = s;
      hit.heading = a->heading;
      const auto p = simulate(t, {}, balls, hit);
      ASSERT_TRUE(p && p->complete);
      EXPECT_EQ(a->pots, p->ball(place.object)->pocket == std::optional<std::string>(pocket.name));
      std::vector<Ball> mirrored = balls;
      for (Ball& b : mirrored) b.place.x() = -b.place.x();
      Strike other = hit;
      other.heading = -hit.heading;
      other.right = -hit.right;
      const auto q = simulate(t, {}, mirrored, other);
      const double touching = p->balls.size() == 2 ? 2 * std::sqrt(balls[0].radius * balls[1].radius) : 0;
      for (std::size_t k = 0; k < 2; ++k) {
        ASSERT_NE(p->balls[k].rest.has_value(), p->balls[k].pocket.has_value());
        ASSERT_EQ(p->balls[k].rest.has_value(), q->balls[k].rest.has_value());
        if (p->balls[k].rest) {
          const Vec2 at = p->balls[k].rest->at, there = q->balls[k].rest->at;
          EXPECT_LT(std::abs(at.x()), t.half_width());
          EXPECT_LT(std::abs(at.y()), t.half_length());
          constexpr double kMirror = 1e-6;  // m: rounding, multiplied at each contact
          EXPECT_LT((Vec2(-there.x(), there.y()) - at).norm(), kMirror) << place.table << " " << tries;
        }
      }
      for (double time = 0; time < p->total_time; time += 0.01) {
        const auto one = p->balls[0].at(time), two = p->balls[1].at(time);
        if (one && two && !(p->balls[0].pocket && time >= p->balls[0].pocket_time) &&
            !(p->balls[1].pocket && time >= p->balls[1].pocket_time)) {
          EXPECT_GT((*one - *two).norm(), touching - 1e-6) << place.table << " " << tries << " at " << time;
        }
      }
    }
    std::printf("%-14s %-13s %d of %d pots\n", place.table, place.balls, pots, asked);
    EXPECT_GT(asked, 20) << place.table;
    EXPECT_GE(10 * pots, 9 * asked) << place.table;
  }
}

// The lighter cue ball of the small English set: after a full stun shot it comes back, the heavier object ball goes on
// with 2 m / (m + M) of its speed (momentum and energy, e = 1).
TEST(Tables, LighterCueBallComesBack) {
  set_data_folder(BAIZETRACE_SOURCE);
  const auto set = *table::read_ball_set("english-pool");
  const Ball w = make_ball(set, "white", {0, 0});
  Ball o = make_ball(set, "red-1", {0, 0});
  EXPECT_LT(w.radius, o.radius);
  EXPECT_LT(w.mass, o.mass);
  State a{Vec2::Zero(), Vec2(0, 2), Vec3::Zero()}, b;
  b.place = Vec2(0, touching_distance(w.radius, o.radius));
  Conditions c;
  c.ball_restitution = 1;
  c.ball_friction = {0, 0, 0};
  collide(a, {w.radius, w.mass}, b, {o.radius, o.mass}, c);
  EXPECT_NEAR(b.velocity.y(), 2 * 2 * w.mass / (w.mass + o.mass), 1e-12);
  EXPECT_NEAR(a.velocity.y(), 2 * (w.mass - o.mass) / (w.mass + o.mass), 1e-12);
  EXPECT_LT(a.velocity.y(), 0);
}

// A slope of a thousandth turns a slow roll; the pieces of constant resistance against the same roll in small steps of
// Runge-Kutta's. A sphere that rolls takes 5/7 of the pull (any mechanics text).
TEST(Slope, RollInPiecesAgainstSmallSteps) {
  const table::Table t = test_support::full_size();
  Conditions c;
  c.slope = Vec2(0.001, -0.0005);
  double worst = 0;
  for (const double speed : {0.3, 0.6, 1.0}) {
    Ball b = test_support::ball("white", {-0.3, -0.9});
    b.velocity = speed * along_heading(0.2);
    b.spin = Vec3(-b.velocity.y(), b.velocity.x(), 0) / b.radius;
    const auto p = simulate_moving(t, c, std::span(&b, 1));
    ASSERT_TRUE(p) << p.error().what;
    Vec2 x = b.place, v = b.velocity;
    double time = 0;
    const double until = p->balls[0].contacts.empty() ? p->total_time : p->balls[0].contacts[0].time;
    const auto pull = [&](const Vec2& w) {
      return Vec2(-c.rolling * kGravity * w.normalized() + 5.0 / 7.0 * kGravity * c.slope);
    };
    constexpr double kStep = 1e-4;  // s
    while (time + kStep < until && v.norm() > 0.01) {
      const Vec2 k1 = pull(v), k2 = pull(v + kStep / 2 * k1), k3 = pull(v + kStep / 2 * k2), k4 = pull(v + kStep * k3);
      x += kStep * v + kStep * kStep / 6 * (k1 + k2 + k3);
      v += kStep / 6 * (k1 + 2 * k2 + 2 * k3 + k4);
      time += kStep;
      const auto mine = p->balls[0].at(time);
      ASSERT_TRUE(mine);
      worst = std::max(worst, (*mine - x).norm());
    }
  }
  constexpr double kSlopeError = 5e-4;  // m over a roll to near rest: the pieces' own, phase.hpp
  std::printf("slope: rolls in pieces within %.2f mm of small steps (bound %.1f)\n", 1000 * worst, 1000 * kSlopeError);
  EXPECT_LT(worst, kSlopeError);
  // It does turn: a level bed ends elsewhere by centimetres.
  Ball b = test_support::ball("white", {-0.3, -0.9});
  b.velocity = Vec2(0, 0.6);
  b.spin = Vec3(-0.6 / b.radius, 0, 0);
  const auto level = simulate_moving(t, {}, std::span(&b, 1)), sloped = simulate_moving(t, c, std::span(&b, 1));
  EXPECT_GT(sloped->balls[0].rest->at.x() - level->balls[0].rest->at.x(), 0.01);
}

// What a club's player knows of a nap (common practice, no source): a slow ball across the table drifts towards the
// black; right-hand side takes a ball to its right up the table, with the nap, and to its left down the table.
TEST(Nap, SlowBallsDriftAndSideActsTheOtherWayAgainstIt) {
  const table::Table t = test_support::full_size();
  Conditions napped;
  napped.nap = {.drift = 0.0003, .side = 0.0005};
  // How far the nap takes a ball that rolls, m, to its right and ahead.
  const auto taken = [&](double heading, double speed, double side_spin) {
    Ball b = test_support::ball("white", along_heading(heading) * -0.8);
    b.velocity = speed * along_heading(heading);
    b.spin = Vec3(-b.velocity.y() / b.radius, b.velocity.x() / b.radius, side_spin);
    const auto with = simulate_moving(t, napped, std::span(&b, 1)), without = simulate_moving(t, {}, std::span(&b, 1));
    EXPECT_TRUE(with->balls[0].contacts.empty() && without->balls[0].contacts.empty());
    const Vec2 by = with->balls[0].rest->at - without->balls[0].rest->at, ahead = along_heading(heading);
    return Vec2(by.dot(Vec2(ahead.y(), -ahead.x())), by.dot(ahead));
  };
  const double right_hand = 20;  // rad/s
  const Vec2 across = taken(radians(90), 0.45, 0);
  EXPECT_LT(across.x(), -0.005);                               // to its left, which is the top end
  EXPECT_LT(across.x(), 3 * taken(radians(90), 0.22, 0).x());  // the longer it rolls the further
  EXPECT_GT(taken(0, 0.4, right_hand).x(), 0.003);
  EXPECT_LT(taken(kPi, 0.4, right_hand).x(), -0.003);
  EXPECT_LT(taken(0, 0.4, -right_hand).x(), -0.003);
  EXPECT_GT(taken(0, 0.4, 0).y(), 0.01);     // with it: further
  EXPECT_LT(taken(kPi, 0.4, 0).y(), -0.01);  // against it: shorter
  EXPECT_NEAR(taken(0, 0.4, 0).x(), 0, 1e-9);
}

// As strong a pull as a table may have still lets every ball come to rest, and the mirrored shot is the mirror image.
TEST(Nap, EverythingComesToRestAndMirrors) {
  const table::Table t = test_support::full_size();
  std::mt19937 random(5);
  std::uniform_real_distribution<double> u(-1, 1);
  for (int k = 0; k < 60; ++k) {
    Conditions c;
    c.rolling = 0.005 + 0.003 * u(random);
    c.nap = {.drift = 0.003 * u(random), .side = 0.003 * u(random)};
    c.slope = Vec2(0, 0.0005 * u(random));  // along x it has no mirror image
    if (!c.validate()) {
      EXPECT_GE(c.strongest_pull(), Conditions::kMostPull * c.rolling);
      continue;
    }
    const Vec2 at(0.7 * u(random), 1.5 * u(random));
    const Strike strike{.speed = 2.5 + 2 * u(random), .heading = kPi * u(random), .right = 0.3 * u(random)};
    std::vector<Ball> balls{test_support::ball("white", at)}, mirrored{test_support::ball("white", {-at.x(), at.y()})};
    Strike other = strike;
    other.heading = -strike.heading;
    other.right = -strike.right;
    const auto p = simulate(t, c, balls, strike), q = simulate(t, c, mirrored, other);
    ASSERT_TRUE(p && q);
    ASSERT_TRUE(p->complete && q->complete);
    ASSERT_EQ(p->balls[0].rest.has_value(), q->balls[0].rest.has_value());
    if (p->balls[0].rest) {
      const Vec2 a = p->balls[0].rest->at, b = q->balls[0].rest->at;
      EXPECT_LT((a - Vec2(-b.x(), b.y())).norm(), 1e-6);
    }
  }
}

}  // namespace
}  // namespace baizetrace::motion
