// Derivatives of the outcome: closed forms, independent central differences, a flag where the order of events changes.
#include "motion/derivatives.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/files.hpp"
#include "support/full_size.hpp"
#include "support/named_ball.hpp"

namespace baizetrace::motion {
namespace {
using Of = Input::Of;

using test_support::ball;
using test_support::full_size;
const std::vector<Input> kAll{{Of::speed, {}},
                              {Of::heading, {}},
                              {Of::right, {}},
                              {Of::height, {}},
                              {Of::elevation, {}},
                              {Of::sliding, {}},
                              {Of::rolling, {}},
                              {Of::spin_decay, {}},
                              {Of::ball_restitution, {}},
                              {Of::ball_friction, {}},
                              {Of::cushion_restitution, {}},
                              {Of::cushion_friction, {}},
                              {Of::place_x, "white"},
                              {Of::place_y, "white"},
                              {Of::place_x, "red-1"},
                              {Of::place_y, "red-1"}};

// A plain strike that stops on the open cloth: slides 12 v^2 / (49 mu g), then rolls (5/7 v)^2 / (2 mu_r g).
TEST(Derivatives, StraightRunInClosedForm) {
  const Conditions c;
  const std::vector<Ball> balls{ball("white", {0, -1})};
  const Strike s{.speed = 0.5, .heading = 0, .right = 0, .height = 0, .elevation = 0};
  const std::vector<Input> inputs{
      {Of::speed, {}}, {Of::heading, {}}, {Of::sliding, {}}, {Of::rolling, {}}, {Of::place_x, "white"}};
  const auto d = sensitivity(full_size(), c, balls, s, inputs);
  ASSERT_TRUE(d) << d.error().what;
  for (const Derivative& one : d->by) ASSERT_TRUE(one.known) << name_of(one.input) << ": " << one.why;
  const double g = kGravity, v = s.speed, slide = 12 * v * v / (49 * c.sliding * g),
               roll = 25.0 / 49 * v * v / (2 * c.rolling * g);
  constexpr double kClosed = 1e-7;  // m per unit over runs of a metre: rounding over the step
  const auto rest = [&](std::size_t k) { return d->by[k].balls[0].rest; };
  EXPECT_LT((rest(0) - Vec2(0, 2 * (slide + roll) / v)).norm(), kClosed);
  EXPECT_LT((rest(1) - Vec2(slide + roll, 0)).norm(), kClosed);
  EXPECT_LT((rest(2) - Vec2(0, -slide / c.sliding)).norm(), kClosed);
  EXPECT_LT((rest(3) - Vec2(0, -roll / c.rolling)).norm(), 1e-5 * roll / c.rolling);
  EXPECT_LT((rest(4) - Vec2(1, 0)).norm(), kClosed);
  // At a fixed time while it still slides: dy/dv = t.
  EXPECT_LT((*d->place(0, 0, 0.05) - Vec2(0, 0.05)).norm(), kClosed);
}

struct Case {
  const char* what;
  Strike strike;
  std::vector<Ball> balls;
};
std::vector<Case> cases() {
  return {{"three cushions",
           {.speed = 2.65, .heading = 0.68, .right = 0.2, .height = 0.1},
           {ball("white", {-0.292, -1.0475})}},
          {"cut, then two cushions",
           {.speed = 2.1, .heading = 0.11, .right = 0.1, .height = 0.2},
           {ball("white", {0.18, -1.22}), ball("red-1", {0.46, 0.98})}},
          {"screw",
           {.speed = 2.3, .heading = 1.2, .right = -0.1, .height = -0.4},
           {ball("white", {-0.47, 1.291}), ball("red-1", {0.0, 1.4605})}}};
}

// Independent of the differences inside: other steps, taken from simulate()'s places at fixed times and at rest, two
// widths extrapolated to none (Richardson).
TEST(Derivatives, AgreeWithIndependentCentralDifferences) {
  const table::Table table = full_size();
  const Conditions c;
  double worst = 0;
  for (const Case& k : cases()) {
    std::vector<Input> inputs;
    for (const Input& i : kAll)
      if (i.ball != "red-1" || k.balls.size() > 1) inputs.push_back(i);
    const auto d = sensitivity(table, c, k.balls, k.strike, inputs);
    ASSERT_TRUE(d) << d.error().what;
    for (std::size_t n = 0; n < inputs.size(); ++n) {
      ASSERT_TRUE(d->by[n].known) << k.what << ", " << name_of(inputs[n]) << ": " << d->by[n].why;
      const auto at = [&](double by, std::size_t ball, double t) {
        Strike s = k.strike;
        Conditions cc = c;
        auto balls = k.balls;
        turn(inputs[n], by, s, cc, balls);
        const auto p = simulate(table, cc, balls, s);
        return t < 0 ? p->balls[ball].rest.value_or(Place{}).at : p->balls[ball].at(t).value_or(Vec2::Zero());
      };
      for (std::size_t b = 0; b < k.balls.size(); ++b) {
        const BallPath& path = d->prediction.balls[b];
        std::vector<double> times;  // the middle of each piece, and -1: at rest
        for (const Piece& p : path.pieces)
          if (p.phase != Piece::Phase::rest && p.to - p.from > 0.05) times.push_back(0.5 * (p.from + p.to));
        if (path.rest && !path.contacts.empty()) times.push_back(-1);
        for (const double t : times) {
          const double h = 0.37 * d->by[n].step;
          const Vec2 wide = (at(2 * h, b, t) - at(-2 * h, b, t)) / (4 * h),
                     narrow = (at(h, b, t) - at(-h, b, t)) / (2 * h);
          const Vec2 expected = (4 * narrow - wide) / 3;
          const Vec2 mine = t < 0 ? d->by[n].balls[b].rest : *d->place(n, b, t);
          // Of the size of the rate, and of a millimetre's worth for rates of next to nothing.
          const double off = (mine - expected).norm() / (expected.norm() + 1e-3 / (1e3 * d->by[n].step));
          worst = std::max(worst, off);
          EXPECT_LT(off, kRateError) << k.what << ", " << name_of(inputs[n]) << ", ball " << b << " at " << t << ": "
                                     << mine.transpose() << " against " << expected.transpose();
        }
      }
    }
  }
  std::printf("derivatives: worst %.1e of their size (bound %.0e)\n", worst, kRateError);
}

// A heading at which the white just misses the red: hits it on one side, passes on the other.
TEST(Derivatives, FlaggedWhereTheOrderOfEventsChanges) {
  const table::Table table = full_size();
  const std::vector<Ball> balls{ball("white", {0, -1}), ball("red-1", {0.2, 0})};
  Strike s{.speed = 2, .heading = 0, .right = 0, .height = 0, .elevation = 0};
  double misses = 0, hits = 0.197;
  for (int i = 0; i < 80; ++i) {
    s.heading = 0.5 * (misses + hits);
    (simulate(table, {}, balls, s)->ball("red-1")->contacts.empty() ? misses : hits) = s.heading;
  }
  s.heading = misses;
  const std::vector<Input> inputs{{Of::heading, {}}, {Of::rolling, {}}};
  const auto d = sensitivity(table, {}, balls, s, inputs);
  ASSERT_TRUE(d) << d.error().what;
  EXPECT_FALSE(d->by[0].known);
  EXPECT_THAT(d->by[0].why, testing::HasSubstr("contact 1 of white"));
  EXPECT_THAT(d->by[0].why, testing::HasSubstr("red-1"));
  EXPECT_TRUE(d->by[0].balls.empty());
  EXPECT_FALSE(d->place(0, 0, 0.1));
  // A little further from the edge than the step it is known again, with a shorter step.
  s.heading = misses - 3e-6;
  const auto e = sensitivity(table, {}, balls, s, inputs);
  ASSERT_TRUE(e->by[0].known) << e->by[0].why;
  EXPECT_LT(e->by[0].step, 2e-6);
}

TEST(Derivatives, OneSidedAtTheEdgeOfAnInput) {
  const std::vector<Ball> balls{ball("white", {0, -1})};
  const Strike s{.speed = 1, .heading = 0, .right = 0.3, .height = 0, .elevation = 0};  // a level cue: no lower
  const std::vector<Input> inputs{{Of::elevation, {}}};
  const auto d = sensitivity(full_size(), {}, balls, s, inputs);
  ASSERT_TRUE(d) << d.error().what;
  ASSERT_TRUE(d->by[0].known) << d->by[0].why;
  EXPECT_GT(d->by[0].balls[0].rest.norm(), 1e-3);  // an elevated cue with side swerves
}

TEST(Derivatives, NoSuchBall) {
  const std::vector<Ball> balls{ball("white", {0, -1})};
  const std::vector<Input> inputs{{Of::place_x, "pink"}};
  const auto d = sensitivity(full_size(), {}, balls, {.speed = 1}, inputs);
  ASSERT_FALSE(d);
  EXPECT_THAT(d.error().what, testing::HasSubstr("place_x of pink"));
}

}  // namespace
}  // namespace baizetrace::motion
