// Aim: what is solved comes true when the shot is played; throw and swerve are in it.
#include "motion/aim.hpp"

#include <gtest/gtest.h>

#include <random>

#include "base/files.hpp"
#include "support/full_size.hpp"
#include "support/named_ball.hpp"

namespace baizetrace::motion {
namespace {

using test_support::ball;
using test_support::full_size;

// Met where it was asked to be met, to a hundredth of a millimetre over the touching distance, with side, an elevated
// cue and so swerve.
TEST(Aim, OntoMeetsWithTheFullnessAndOnTheSideAskedFor) {
  const table::Table table = full_size();
  const std::vector<Ball> balls{ball("white", {0.1, -1.15}), ball("red-1", {0.3, 0.9})};
  for (const double fullness : {1.0, 0.75, 0.5, 0.25, 0.15})
    for (const bool left : {true, false})
      for (const double right : {-0.3, 0.0, 0.3}) {
        Strike s{.speed = 2.4, .heading = 0, .right = right, .height = 0, .elevation = radians(8)};
        const auto a = aim_onto(table, {}, balls, s, {"red-1", fullness, left});
        ASSERT_TRUE(a) << a.error().what;
        s.heading = a->heading;
        const auto p = simulate(table, {}, balls, s);
        const auto met = meeting_of(*p, balls);
        ASSERT_TRUE(met);
        EXPECT_NEAR(met->fullness, fullness, 2e-4) << left << " " << right;
        if (fullness < 1) {
          EXPECT_EQ(met->hits_left, left) << fullness << " " << right;
        }
      }
}

// Side with an elevated cue swerves: the aim turns away from the plain one, to opposite sides for opposite side.
TEST(Aim, SwerveTurnsTheAim) {
  const table::Table table = full_size();
  const std::vector<Ball> balls{ball("white", {0.1, -1.15}), ball("red-1", {0.3, 0.9})};
  const auto heading = [&](double right) {
    return aim_onto(table, {}, balls, {.speed = 1.5, .heading = 0, .right = right, .elevation = radians(10)},
                    {"red-1", 0.5, true})
        ->heading;
  };
  const double plain = heading(0);
  EXPECT_GT(std::abs(heading(0.4) - plain), radians(0.1));
  EXPECT_LT((heading(0.4) - plain) * (heading(-0.4) - plain), 0);
}

// Throw: with friction between the balls a cut is aimed thinner than the ghost ball's geometry says.
TEST(Aim, ThrowIsCorrectedFor) {
  const table::Table table = full_size();
  const std::vector<Ball> balls{ball("white", {0.1, -0.1}), ball("red-1", {0.45, 0.9})};
  const Strike stun{.speed = 2, .heading = 0, .right = 0, .height = -0.25, .elevation = 0};
  Conditions smooth;
  smooth.ball_friction = {0, 0, 0};
  const auto with = aim_pot(table, {}, balls, stun, {"red-1", "top-right", "", {}});
  const auto without = aim_pot(table, smooth, balls, stun, {"red-1", "top-right", "", {}});
  ASSERT_TRUE(with && without);
  EXPECT_TRUE(with->pots && without->pots);
  EXPECT_LT(with->fullness, without->fullness);
}

TEST(Aim, MarginsAreTheEdgesOfThePot) {
  const table::Table table = full_size();
  const std::vector<Ball> balls{ball("white", {0.1, 0.2}), ball("red-1", {0.45, 0.9})};
  Strike s{.speed = 2, .heading = 0, .right = 0.1, .height = 0.2};
  const auto a = aim_pot(table, {}, balls, s, {"red-1", "top-right", "", {}});
  ASSERT_TRUE(a && a->pots);
  const auto pots = [&](double heading) {
    s.heading = heading;
    const auto p = simulate(table, {}, balls, s);
    return p->ball("red-1")->pocket == std::optional<std::string>("top-right");
  };
  EXPECT_TRUE(pots(a->heading));
  const double edge = 2e-6;  // rad, the margin's own resolution
  const double plus = a->hits_left ? a->thicker : a->thinner, minus = a->hits_left ? a->thinner : a->thicker;
  EXPECT_TRUE(pots(a->heading + plus - edge) && pots(a->heading - minus + edge));
  EXPECT_FALSE(pots(a->heading + plus + edge) && pots(a->heading - minus - edge));
}

// A double: the red goes to the opposite middle off the side cushion.
TEST(Aim, Double) {
  const table::Table table = full_size();
  const std::vector<Ball> balls{ball("white", {-0.30, -0.62}), ball("red-1", {0.30, -0.42})};
  Strike s{.speed = 3.0, .heading = 0, .right = 0, .height = -0.2};
  const auto a = aim_pot(table, {}, balls, s, {"red-1", "middle-left", "", {"right"}});
  ASSERT_TRUE(a) << a.error().what;
  ASSERT_TRUE(a->pots);
  s.heading = a->heading;
  const auto p = simulate(table, {}, balls, s);
  const BallPath& red = *p->ball("red-1");
  ASSERT_GE(red.contacts.size(), 3U);
  EXPECT_EQ(red.contacts[1].kind, ContactKind::cushion);
  EXPECT_EQ(red.contacts[1].with, "right");
  EXPECT_EQ(red.pocket.value_or(""), "middle-left");
}

// A plant: red-2 sends red-1 in.
TEST(Aim, Plant) {
  const table::Table table = full_size();
  const Vec2 pot = table.pocket("top-right")->mouth_middle();
  const Vec2 first(0.35, 1.10), way = (pot - first).normalized();
  const std::vector<Ball> balls{ball("white", {0.0, 0.45}), ball("red-1", first),
                                ball("red-2", first - 0.10 * way + Vec2(0.004, 0))};
  Strike s{.speed = 2.2, .heading = 0, .right = 0, .height = 0};
  const auto a = aim_pot(table, {}, balls, s, {"red-1", "top-right", "red-2", {}});
  ASSERT_TRUE(a) << a.error().what;
  ASSERT_TRUE(a->pots);
  s.heading = a->heading;
  const auto p = simulate(table, {}, balls, s);
  EXPECT_EQ(p->ball("white")->contacts.at(0).with, "red-2");
  EXPECT_EQ(p->ball("red-1")->contacts.at(0).with, "red-2");
  EXPECT_EQ(p->ball("red-1")->pocket.value_or(""), "top-right");
}

// At a hard pace a corner's jaws take little, and a line that is well off may still send the ball in by way of a
// cushion or of both jaws. The aim is the line to the pocket's mouth all the same, not one of those.
TEST(Aim, HardPaceAimsAtTheMouth) {
  const table::Table table = full_size();
  std::mt19937 random(5);
  std::uniform_real_distribution<double> u(-1, 1);
  constexpr double kMostOff = 0.03;  // m beside the middle of the mouth, whose half is some 42 mm
  double worst = 0;
  int pots = 0, asked = 0;
  for (int tries = 0; tries < 1500; ++tries) {
    const table::Pocket& pocket = table.pockets()[random() % table.pockets().size()];
    const std::vector<Ball> balls{ball("white", {0.8 * u(random), 1.7 * u(random)}),
                                  ball("red-1", {0.8 * u(random), 1.7 * u(random)})};
    const Vec2 line = pocket.mouth_middle() - balls[1].place, from = balls[1].place - balls[0].place;
    // Cuts up to 60 degrees, pockets seen from the front, balls apart.
    if (from.norm() < 0.2 || from.normalized().dot(line.normalized()) < 0.5) continue;
    if (pocket.name.starts_with("middle") && std::abs(line.x()) < 0.7 * line.norm()) continue;
    const Strike strike{
        .speed = 5 + 1.5 * u(random), .heading = 0, .right = 0.2 * u(random), .height = 0.3 * u(random)};
    const auto a = aim_pot(table, {}, balls, strike, {"red-1", pocket.name, "", {}});
    if (!a) continue;
    ++asked;
    Strike s = strike;
    s.heading = a->heading;
    const auto p = simulate(table, {}, balls, s);
    const BallPath& red = *p->ball("red-1");
    if (a->pots) {
      ++pots;
      EXPECT_EQ(red.pocket.value_or(""), pocket.name) << tries;
    }
    // Where the red's way passes the mouth: along its first roll, or the slide if that takes it there.
    ASSERT_GE(red.contacts.size(), 1U) << tries;
    const double until = red.contacts.size() > 1 ? red.contacts[1].time : red.rest_time;
    Vec2 at = balls[1].place, way = along_heading(red.contacts[0].heading_out);
    for (const Piece& q : red.pieces)
      if (q.to <= until + 1e-9 && q.phase != Piece::Phase::rest) {
        at = q.at(q.to);
        way = q.velocity_at(q.to).norm() > 0.01 ? Vec2(q.velocity_at(q.to).normalized()) : way;
      }
    const double off = std::abs(cross(way, pocket.mouth_middle() - at));
    worst = std::max(worst, off);
    EXPECT_LT(off, kMostOff) << tries << " " << pocket.name << " pots " << a->pots << " speed " << strike.speed;
  }
  std::printf("aim: %d of %d pots at a hard pace, at most %.0f mm beside the mouth's middle\n", pots, asked,
              1000 * worst);
  EXPECT_GT(pots, 100);
}

TEST(Aim, SaysWhatIsInTheWay) {
  const table::Table table = full_size();
  const std::vector<Ball> balls{ball("white", {0, -1}), ball("red-1", {0, 0.5}), ball("blue", {0, 0})};
  const auto a = aim_onto(table, {}, balls, {.speed = 2}, {"red-1", 1.0, true});
  ASSERT_FALSE(a);
  EXPECT_NE(a.error().what.find("blue is in the way of red-1"), std::string::npos) << a.error().what;
  const auto pot = aim_pot(table, {}, balls, {.speed = 2}, {"red-1", "top-left", {}, {}});
  ASSERT_FALSE(pot);
  EXPECT_NE(pot.error().what.find("blue is in the way of red-1"), std::string::npos) << pot.error().what;
  // Backwards no cut sends it, whatever stands before a part of it: that ball is not to blame.
  const std::vector<Ball> half_hidden{ball("white", {0, -1}), ball("red-1", {0, 0.5}), ball("blue", {0.05, 0})};
  const auto back = aim_pot(table, {}, half_hidden, {.speed = 2}, {"red-1", "baulk-left", {}, {}});
  ASSERT_FALSE(back);
  EXPECT_NE(back.error().what.find("no heading sends red-1 towards baulk-left; blue hides a part of red-1"),
            std::string::npos)
      << back.error().what;
}

}  // namespace
}  // namespace baizetrace::motion
