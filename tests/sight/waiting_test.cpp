// Looks wait until nothing can mend them any more, and mends reach the look that they are meant for.
#include "sight/waiting.hpp"

#include <gtest/gtest.h>

#include "sight/known_ball.hpp"

namespace baizetrace::sight {
namespace {

Look look_of(int frame, std::initializer_list<Vec2> pixels) {
  Look l;
  l.frame = frame;
  for (const Vec2& p : pixels) {
    Sighting s;
    s.frame = frame;
    s.pixel = p;
    l.sightings.push_back(s);
  }
  return l;
}

TEST(Waiting, MendsTheRightLookAndGivesAllBackInOrder) {
  Waiting waiting;
  std::vector<Look> out;
  for (int i = 0; i < 8; ++i) {
    Look l = look_of(i, {Vec2(i, 0), Vec2(i, 10), Vec2(i, 20)});
    if (i == 5) {
      // Two halves of one streak, three frames ago.
      Mend m;
      m.instead.frame = 2;
      m.instead.pixel = Vec2(2, 5);
      m.away = {Vec2(2, 0), Vec2(2, 10)};
      l.mends.push_back(m);
    }
    if (auto ready = waiting.push(std::move(l))) out.push_back(std::move(*ready));
  }
  ASSERT_EQ(out.size(), 8U - kHindsight);
  while (auto ready = waiting.pop()) out.push_back(std::move(*ready));
  ASSERT_EQ(out.size(), 8U);
  for (int i = 0; i < 8; ++i) {
    const Look& l = out[static_cast<std::size_t>(i)];
    EXPECT_EQ(l.frame, i);
    EXPECT_TRUE(l.mends.empty());
    if (i != 2) {
      EXPECT_EQ(l.sightings.size(), 3U);
      continue;
    }
    ASSERT_EQ(l.sightings.size(), 2U);
    EXPECT_EQ(l.sightings[0].pixel, Vec2(2, 20));
    EXPECT_EQ(l.sightings[1].pixel, Vec2(2, 5));
  }
}

TEST(KnownBall, ARunBeginsAnewWhereTheWayTurns) {
  KnownBall ball;
  const auto seen = [&](int frame, const Vec2& at) { ball.run_on({frame, frame / 30.0, at, Vec2::Zero()}); };
  for (int i = 0; i < 3; ++i) seen(i, Vec2(20.0 * i, 0));
  ball.traced = true;
  seen(3, Vec2(59, 1));  // within what a frame's way is told to
  EXPECT_TRUE(ball.traced);
  EXPECT_EQ(ball.run.size(), 3U);
  seen(4, Vec2(62, 18));  // off a cushion
  EXPECT_FALSE(ball.traced);
  ASSERT_EQ(ball.run.size(), 2U);
  EXPECT_EQ(ball.run.front().frame, 3);
}

}  // namespace
}  // namespace baizetrace::sight
