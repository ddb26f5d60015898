// Balls that run into a pocket's mouth, and what is seen there afterwards. Invented sightings.
#include <gtest/gtest.h>

#include "base/files.hpp"
#include "path/followed.hpp"

namespace baizetrace::path {
namespace {

constexpr double kRadius = 0.02625, kFrame = 1.0 / 60;
constexpr double kSd = 0.0006;  // m

struct Mouth : testing::Test {
  Mouth() {
    set_data_folder(BAIZETRACE_SOURCE);
    table.emplace(*table::read_spec("full-size"));
    cover.half_width = 1.0;
    cover.half_length = 1.9;
  }
  // Of kind 1, of two.
  [[nodiscard]] static Sighting sighting(double time, const Vec2& at, float colour = 0) {
    Sighting s;
    s.time = time;
    s.at = at;
    s.covariance = kSd * kSd * Mat2::Identity();
    s.colour = {colour < 0 ? 0.0F : -9.0F, colour};
    return s;
  }
  // Last seen at 1 s.
  [[nodiscard]] static Followed running(const Vec2& at, const Vec2& velocity) {
    Followed b;
    b.kind = 1;
    b.radius = kRadius;
    b.state = Followed::State::moving;
    b.steps = 15;
    b.seen_at = 1;
    b.at = at;
    b.velocity = velocity;
    for (int i = 6; i >= 0; --i) b.seen.push_back(sighting(1 - i * kFrame, at - i * kFrame * velocity));
    return b;
  }
  // After the looks that follow up to `until`, s, in which it was not seen.
  Followed missed(const Followed& ball, double until) {
    std::vector<Followed> balls{ball};
    for (double t = 1 + kFrame; t < until; t += kFrame) tell_causes(balls, *table, t, cover);
    return balls[0];
  }
  std::optional<table::Table> table;
  CoverMap cover;
  // Into the middle pocket on the left.
  const Followed into = running({-0.853, -0.048}, {-2.0, 1.4});
};

TEST_F(Mouth, ABallThatRanIntoItIsNotFoundAcrossTheTable) {
  const Followed b = missed(into, 1.29);
  const Sighting across = sighting(1.29, {0.1, 0.2});
  EXPECT_TRUE(b.into);
  EXPECT_GE(cost_of(b, across), kNobody);
  // Nor when somebody leans over the pocket afterwards.
  std::vector<Followed> balls{b};
  for (double y = -0.3; y < 0.3; y += 0.02)
    for (double x = -0.98; x < -0.6; x += 0.02) cover.cover({x, y});
  tell_causes(balls, *table, 1.29, cover);
  EXPECT_GE(cost_of(balls[0], across), kNobody);
  // Who leans over it while the ball comes hides what happens.
  EXPECT_FALSE(missed(into, 1.29).into);
  EXPECT_LT(cost_of(missed(into, 1.29), across), kNobody);
}

TEST_F(Mouth, TheBallThatDropsHidesNothing) {
  cover.cover({-0.93, 0.0});
  cover.cover({-0.86, -0.03});
  EXPECT_TRUE(missed(into, 1.29).into);
}

TEST_F(Mouth, OffAJawItComesOutWhereItWentIn) {
  const Followed b = missed(into, 1.07);
  EXPECT_LT(cost_of(b, sighting(1.07, {-0.80, 0.03})), kNobody);
  // Cloth in the pocket's shadow, read as another's colour, is not it.
  EXPECT_GE(cost_of(b, sighting(1.07, {-0.80, 0.03}, -7.5F)), kNobody);
}

TEST_F(Mouth, WhatRunsPastItIsNotSaidToRunIntoIt) {
  EXPECT_FALSE(missed(running({-0.8627, -0.12}, {0.0, 2.0}), 1.05).into) << "along the cushion";
  EXPECT_FALSE(missed(running({-0.80, -0.2}, {-0.6, 0.1}), 1.05).into) << "towards the nose before it";
  EXPECT_FALSE(missed(running({-0.853, -0.048}, {-0.1, 0.07}), 1.05).into) << "may stop short";
  EXPECT_FALSE(missed(running({-0.4, -0.366}, {-2.0, 1.4}), 1.05).into) << "far off: other balls may turn it";
}

// A board lies over a corner pocket: the cover reaches no farther than the bed, of which there is little.
TEST_F(Mouth, ABoardOverACornerHidesItAllAlong) {
  const Vec2 before{-0.846, -1.627};
  EXPECT_FALSE(mouth_never_seen(*table, cover, cover, before));
  CoverMap board = cover;
  for (double y = -1.9; y < -1.60; y += 0.02)
    for (double x = -1.0; x < -0.70; x += 0.02) board.cover({x, y});
  EXPECT_TRUE(mouth_never_seen(*table, board, board, before));
  EXPECT_FALSE(mouth_never_seen(*table, cover, board, before)) << "somebody leans over it";
  EXPECT_FALSE(mouth_never_seen(*table, board, board, {-0.846, 0.4}));
}

// The white went under that board; meanwhile something dark lies, and flickers, at the green's spot.
TEST_F(Mouth, TheWhiteComesBackFromWhereItWasHidden) {
  Followed white = running({-0.846, -1.627}, {0.1, -0.65});
  white.kind = 0;
  for (double y = -1.9; y < -1.60; y += 0.02)
    for (double x = -1.0; x < -0.70; x += 0.02) cover.cover({x, y});
  EXPECT_FALSE(out_of_the_open(white, {-0.32, -1.01}, 1.9, CoverMap())) << "nobody knows what hid it";
  EXPECT_TRUE(out_of_the_open(white, {-0.32, -1.01}, 1.9, cover));
  EXPECT_FALSE(out_of_the_open(white, {-0.66, -1.58}, 1.9, cover)) << "beside the board";
  EXPECT_FALSE(out_of_the_open(white, {-0.84, -1.68}, 1.9, cover)) << "where it was";
  EXPECT_FALSE(out_of_the_open(white, {-0.32, -1.01}, 1.1, cover)) << "lost for three frames only";
  CoverMap person = cover;
  for (double y = -1.3; y < -0.9; y += 0.02)
    for (double x = -0.25; x < 0.1; x += 0.02) person.cover({x, y});
  EXPECT_FALSE(out_of_the_open(white, {-0.32, -1.01}, 1.9, person)) << "from behind somebody";
  cover.cover({-0.32, -1.01});
  EXPECT_TRUE(out_of_the_open(white, {-0.32, -1.01}, 1.9, cover)) << "the thing covers its own place";
  white.kind = 1;
  EXPECT_FALSE(out_of_the_open(white, {-0.32, -1.01}, 1.9, cover)) << "others are easily overlooked";
}

TEST_F(Mouth, WhatLayThereMeanwhileIsAnother) {
  const Followed lost = running({-0.846, -1.627}, {0.1, -0.65});
  Candidate c;
  c.first = 0.5;
  for (int i = 0; i < 30; ++i) c.stay.add(sighting(0.5 + 0.03 * i, {-0.303, -1.085}));
  EXPECT_TRUE(lay_beside(lost, sighting(1.4, {-0.306, -1.068}), {c}));
  EXPECT_FALSE(lay_beside(lost, sighting(1.4, {-0.306, -1.03}), {c})) << "beside it";
  EXPECT_FALSE(lay_beside(lost, sighting(1.1, {-0.306, -1.068}), {c})) << "not out of sight";
  c.first = 1.1;
  EXPECT_FALSE(lay_beside(lost, sighting(1.4, {-0.306, -1.068}), {c})) << "it may be that ball";
}

TEST(Followed, WhatLooksLikeAnotherForLongWasNotTheBall) {
  Followed b = Mouth::running({0, 0}, {0.5, 0});
  const std::size_t seen = b.seen.size();
  const auto take = [&](int i, float colour) {
    const Sighting s = Mouth::sighting(1 + i * kFrame, {0.01 * i, 0.02}, colour);
    b.seen.push_back(s);
    b.at = s.at;
    b.seen_at = s.time;
    return take_back_unlike(b, s);
  };
  // One bad reading rules nothing out, and so do three.
  for (int i = 1; i < kUnlike; ++i) EXPECT_TRUE(take(i, -7.5F).empty());
  EXPECT_TRUE(take(kUnlike, 0).empty());
  EXPECT_EQ(b.unlike, 0);
  for (int i = 1; i < kUnlike; ++i) EXPECT_TRUE(take(kUnlike + i, -7.5F).empty());
  EXPECT_EQ(take(2 * kUnlike, -7.5F).size(), static_cast<std::size_t>(kUnlike));
  EXPECT_EQ(b.seen.size(), seen + kUnlike);
  EXPECT_NEAR(b.seen_at, 1 + kUnlike * kFrame, 1e-9);
  EXPECT_NEAR(b.at.x(), 0.01 * kUnlike, 1e-9);
  // From then on its colour is asked for.
  EXPECT_GE(cost_of(b, Mouth::sighting(b.seen_at + kFrame, b.at, -7.5F)), kNobody);
  EXPECT_LT(cost_of(b, Mouth::sighting(b.seen_at + kFrame, b.at)), kNobody);
}

}  // namespace
}  // namespace baizetrace::path
