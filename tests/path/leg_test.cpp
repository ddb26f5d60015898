#include "path/leg.hpp"

#include <gtest/gtest.h>

namespace baizetrace::path {
namespace {

Leg some_leg() {
  Leg l;
  l.t = 1.0;
  l.p = {0.1, 0.2};
  l.v = {-0.4, 0.9};
  l.w = {0.5, 0.3};
  return l;
}

// Coriolis 1835 (Theorie mathematique des effets du jeu de billard; any mechanics text): a level central strike slides
// for 2 v / (7 mu g) over 12 v^2 / (49 mu g) and then rolls at 5/7 v.
TEST(Leg, CentralStrikeRollsAsCoriolisSays) {
  Cloth c;
  Leg l;
  l.v = {0.0, 3.0};
  l.w = 2.0 / 7.0 * l.v;  // it does not spin: the slip is the whole speed
  const double end = l.slide_ends(c);
  EXPECT_NEAR(end, 2 * 3.0 / (7 * c.slide), 1e-12);
  EXPECT_NEAR(l.at(end, c).y(), 12 * 9.0 / (49 * c.slide), 1e-12);
  EXPECT_NEAR(l.velocity_at(end + 1e-9, c).y(), 5.0 / 7.0 * 3.0, 1e-6);
}

TEST(Leg, RollsToRestAfterHalfSpeedSquaredOverResistance) {
  Cloth c;
  Leg l;
  l.v = {1.2, 0.0};
  EXPECT_NEAR(l.at(l.rests(c) + 5, c).x(), 1.2 * 1.2 / (2 * c.roll), 1e-12);
  EXPECT_EQ(l.velocity_at(l.rests(c) + 1e-6, c).norm(), 0.0);
}

TEST(Leg, LiesStillBeforeItBegins) {
  const Leg l = some_leg();
  EXPECT_EQ((l.at(0.5, {}) - l.p).norm(), 0.0);
}

TEST(Leg, PlaceAndVelocityAreContinuous) {
  const Leg l = some_leg();
  const Cloth c;
  constexpr double kStep = 1e-7;  // s
  for (const double t : {l.slide_ends(c), l.rests(c)}) {
    EXPECT_LT((l.at(t + kStep, c) - l.at(t - kStep, c)).norm(), 3 * kStep);
    EXPECT_LT((l.velocity_at(t + kStep, c) - l.velocity_at(t - kStep, c)).norm(), 10 * kStep * c.slide);
  }
}

// A small-step integration of the same equations of motion, written separately.
TEST(Leg, AgreesWithSmallSteps) {
  const Leg l = some_leg();
  const Cloth c;
  Vec2 p = l.p, v = l.v, slip = 3.5 * l.w;
  constexpr double kStep = 2e-6;  // s
  double t = l.t;
  double worst = 0;
  int next = 0;
  while (t < l.t + 4) {
    Vec2 a = Vec2::Zero();
    if (slip.norm() > 3.5 * c.slide * kStep) {
      a = -c.slide * slip.normalized();
      slip += 3.5 * kStep * a;
    } else if (v.norm() > c.roll * kStep) {
      a = -c.roll * v.normalized();
    } else {
      v.setZero();
    }
    p += v * kStep + 0.5 * a * kStep * kStep;
    v += a * kStep;
    t += kStep;
    if (++next % 50000 == 0) worst = std::max(worst, (p - l.at(t, c)).norm());
  }
  constexpr double kWorst = 2e-5;  // m: the integration's own error at the end of the slide
  EXPECT_LT(worst, kWorst);
  RecordProperty("worst_m", std::to_string(worst));
}

TEST(Leg, SlopesAreThoseOfThePlace) {
  const Leg leg = some_leg();
  const Cloth cloth;
  constexpr double kStep = 1e-6;
  constexpr double kWorst = 1e-6;
  for (const double t : {1.05, 1.2, 1.6, 3.0, 60.0}) {
    const LegSlopes s = slopes(leg, t, cloth);
    const auto numeric = [&](auto change) {
      Leg a = leg, b = leg;
      Cloth ca = cloth, cb = cloth;
      change(a, ca, kStep);
      change(b, cb, -kStep);
      return Vec2((a.at(t, ca) - b.at(t, cb)) / (2 * kStep));
    };
    EXPECT_LT((numeric([](Leg& l, Cloth&, double h) { l.t += h; }) - s.by_t).norm(), kWorst) << t;
    for (int d = 0; d < 2; ++d) {
      EXPECT_LT((numeric([d](Leg& l, Cloth&, double h) { l.v[d] += h; }) - s.by_v.col(d)).norm(), kWorst) << t;
      EXPECT_LT((numeric([d](Leg& l, Cloth&, double h) { l.w[d] += h; }) - s.by_w.col(d)).norm(), kWorst) << t;
    }
    EXPECT_LT((numeric([](Leg&, Cloth& c, double h) { c.slide += h; }) - s.by_slide).norm(), kWorst) << t;
    EXPECT_LT((numeric([](Leg&, Cloth& c, double h) { c.roll += h; }) - s.by_roll).norm(), kWorst) << t;
  }
}

TEST(Leg, PiecesAreTheLeg) {
  const Leg l = some_leg();
  const Cloth c;
  std::vector<Piece> pieces;
  add_pieces(l, l.rests(c), c, pieces);
  ASSERT_EQ(pieces.size(), 2U);
  EXPECT_EQ(pieces[0].phase, Piece::Phase::slide);
  EXPECT_EQ(pieces[1].phase, Piece::Phase::roll);
  for (const Piece& p : pieces)
    for (double f = 0; f <= 1; f += 0.25) {
      const double t = p.from + f * (p.to - p.from);
      EXPECT_LT((p.at(t) - l.at(t, c)).norm(), 1e-9);
    }
}

}  // namespace
}  // namespace baizetrace::path
