// From the footage's true starts, strikes and conditions: predicted resting places beside the true ones.
#include <gtest/gtest.h>

#include "motion/cushion_contact.hpp"
#include "motion/footage_truth.hpp"
#include "motion/simulator.hpp"

namespace baizetrace::motion {
namespace {

// What is left between predicted and true rests comes mostly from the cushion's impulse, and the error is now the truth's:
// its steps of 20 us leave up to 6.1e-5 of the contact's speed, ours are good to kCushionError. A roll of a metre and a
// half carries 1e-4 of a metre a second on by a millimetre or two.
constexpr double kRestGate = 0.002;    // m
// Of the contact's speed: what the truth's own steps leave.
constexpr double kCushionGate = 1e-4;
constexpr double kContactGate = 1e-3;  // m/s, one contact from the true state before it

TEST(Footage, SpinOfTheStrike) {
  const auto folder = footage_folder();
  if (!folder) GTEST_SKIP() << "the footage is not here";
  for (const TrueAttempt& a : true_attempts(*folder)) {
    const State s = struck(a.strike, a.balls[0].place, a.balls[0].radius);
    EXPECT_LT((s.spin - a.struck.spin).norm(), 0.01) << a.name;  // rad/s; the file's rounding of offsets gives 0.006
  }
}

TEST(Footage, EachCushionAndBallContact) {
  const auto folder = footage_folder();
  if (!folder) GTEST_SKIP() << "the footage is not here";
  double worst_cushion = 0, worst_ball = 0;
  int count = 0;
  for (const TrueAttempt& a : true_attempts(*folder)) {
    for (std::size_t i = 0; i < a.events.size(); ++i) {
      const TrueEvent& e = a.events[i];
      const double radius = a.balls[0].radius;
      if (e.kind == "cushion") {
        const Vec2 out = e.other == "left"    ? Vec2(-1, 0)
                         : e.other == "right" ? Vec2(1, 0)
                         : e.other == "top"   ? Vec2(0, 1)
                                              : Vec2(0, -1);
        State s = e.before;
        hit_cushion(s, radius, a.spec.nose_height, out, a.conditions);
        const double speed = std::max(e.before.velocity.norm(), radius * e.before.spin.norm());
        worst_cushion = std::max(worst_cushion, (s.velocity - e.after.velocity).norm() / speed);
        ++count;
      } else if (e.kind == "ball" && i + 1 < a.events.size() && a.events[i + 1].kind == "ball") {
        State s = e.before, o = a.events[i + 1].before;
        const Body body{radius, a.balls[0].mass};
        collide(s, body, o, body, a.conditions);
        worst_ball = std::max(
            {worst_ball, (s.velocity - e.after.velocity).norm(), (o.velocity - a.events[i + 1].after.velocity).norm()});
        ++count;
        ++i;
      }
    }
  }
  std::printf(
      "%d true contacts: cushion off by at most %.1e of the speed (bound %.0e), ball by %.1e m/s (bound %.0e)\n", count,
      worst_cushion, kCushionGate, worst_ball, kContactGate);
  EXPECT_GT(count, 30);
  EXPECT_LT(worst_cushion, kCushionGate);
  EXPECT_LT(worst_ball, kContactGate);
}

// A ball that another one lifts is off the cloth for a moment. How much slip it has lost by the time it rolls or
// touches something tells for how long: held against the truth, contact by contact.
TEST(Footage, HopsAfterEachBallContact) {
  const auto folder = footage_folder();
  if (!folder) GTEST_SKIP() << "the footage is not here";
  double worst = 0;
  int lifted = 0, pressed = 0;
  for (const TrueAttempt& a : true_attempts(*folder)) {
    for (std::size_t i = 0; i < a.events.size(); ++i) {
      const TrueEvent& e = a.events[i];
      if (e.kind != "ball") continue;
      const auto next = std::find_if(a.events.begin() + static_cast<std::ptrdiff_t>(i) + 1, a.events.end(),
                                     [&](const TrueEvent& n) { return n.ball == e.ball; });
      if (next == a.events.end()) continue;
      const double radius = a.balls[0].radius;
      State s = e.after;
      s.lift = std::max(0.0, e.lift);
      (e.lift > 0 ? lifted : pressed)++;
      Motion m = move_freely(s, radius, e.time, a.conditions);
      while (m.to < next->time && m.phase != Piece::Phase::roll) m = next_phase(m, radius, a.conditions);
      worst = std::max(worst, (m.at(std::min(next->time, m.to)).velocity - next->before.velocity).norm());
    }
  }
  // m/s: the truth's steps of 20 us time a landing, and so the friction of a hop, to 2e-5 s times 2 m/s2 and logs the
  // beginning of a roll to a step.
  constexpr double kHopGate = 2e-4;
  std::printf("%d lifted, %d pressed: velocity at the next event off by at most %.1e m/s (bound %.0e)\n", lifted,
              pressed, worst, kHopGate);
  EXPECT_GT(lifted, 10);
  EXPECT_LT(worst, kHopGate);
}

TEST(Footage, RestsBesideTheTruth) {
  const auto folder = footage_folder();
  if (!folder) GTEST_SKIP() << "the footage is not here";
  std::printf("%-14s %-7s %22s %22s %8s\n", "shot", "ball", "predicted, m", "true, m", "off, mm");
  for (const TrueAttempt& a : true_attempts(*folder)) {
    const table::Table table(a.spec);
    const auto p = simulate(table, a.conditions, a.balls, a.strike);
    ASSERT_TRUE(p) << a.name << ": " << p.error().what;
    for (const auto& [name, rest] : a.rests) {
      const BallPath* b = p->ball(name);
      ASSERT_TRUE(b && b->rest) << a.name << " " << name;
      const double off = (b->rest->at - rest).norm();
      std::printf("%-14s %-7s %10.4f, %9.4f  %10.4f, %9.4f  %7.1f\n", a.name.c_str(), name.c_str(), b->rest->at.x(),
                  b->rest->at.y(), rest.x(), rest.y(), 1000 * off);
      EXPECT_LT(off, kRestGate) << a.name << " " << name;
    }
    for (const std::string& name : a.potted) EXPECT_TRUE(p->ball(name)->pocket) << a.name << " " << name;
  }
}

}  // namespace
}  // namespace baizetrace::motion
