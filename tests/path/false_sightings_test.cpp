// Sightings that are not where the ball was, and those that cannot tell. Invented sightings.
#include <gtest/gtest.h>

#include <algorithm>

#include "base/files.hpp"
#include "path/search.hpp"

namespace baizetrace::path {
namespace {

constexpr double kRadius = 0.02625, kMass = 0.142, kFrame = 1.0 / 30;
constexpr double kSd = 0.0008;  // m

Sighting sighting(double time, const Vec2& at, double sd = kSd) {
  Sighting s;
  s.time = time;
  s.frame = static_cast<int>(std::lround(time / kFrame));
  s.at = at;
  s.covariance = sd * sd * Mat2::Identity();
  return s;
}

struct FalseSightings : testing::Test {
  FalseSightings() {
    set_data_folder(BAIZETRACE_SOURCE);
    world.surfaces = surfaces_of(table::Table(*table::read_spec("full-size")), kRadius);
    track.ball = "white";
    track.moved = true;
    Stay lay;
    lay.at = {0.1, 0.9};
    lay.covariance = 1e-7 * Mat2::Identity();
    lay.sightings = 30;
    track.before = lay;
    first.t = 0.5;
    first.p = lay.at;
  }
  void see(const Leg& leg, double from, double to) {
    for (int f = 0; f * kFrame < to; ++f)
      if (const double t = f * kFrame; t > from)
        track.seen.push_back(
            sighting(t, leg.at(t, world.cloth) + 0.5 * kSd * Vec2(std::sin(7.1 * f), std::cos(4.3 * f))));
  }
  [[nodiscard]] const Seen& seen_at(const Found& found, double time) const {
    return *std::find_if(found.chain.seen.begin(), found.chain.seen.end(),
                         [&](const Seen& s) { return std::abs(s.time - time) < 1e-6; });
  }
  World world;
  BallTrack track;
  Leg first;
};

TEST_F(FalseSightings, TheLastLooksIntoAMouthAreNoContact) {
  // Straight at the top right pocket; half behind the jaw the last two looks are 15 and 25 mm off to one side.
  const Vec2 way = (Vec2(0.889, 1.7845) - first.p).normalized();
  first.v = 1.5 * way;
  first.w = 0.1 * first.v;
  double at_mouth = 0.5;
  while ((first.at(at_mouth, world.cloth) - Vec2(0.889, 1.7845)).norm() > 0.06) at_mouth += 0.001;
  see(first, 0, at_mouth);
  ASSERT_GT(track.seen.size(), 8U);
  const Vec2 aside(-way.y(), way.x());
  track.seen[track.seen.size() - 2].at += 0.015 * aside;
  track.seen[track.seen.size() - 1].at += 0.025 * aside;
  const auto found = search(track, kRadius, kMass, world);
  ASSERT_TRUE(found);
  EXPECT_FALSE(found->lost);
  EXPECT_EQ(found->chain.legs.size(), 1U);
}

TEST_F(FalseSightings, WhatCannotTellDoesNotSpeakAgainstASighting) {
  // Up to the top cushion and back. The first look after it is good, the next two are known to 4 cm only and happen to
  // lie on the way that the ball would have gone without a cushion.
  first.v = {0.1, 1.2};
  first.w = 0.1 * first.v;
  double bounce = 0.5;
  while (first.at(bounce, world.cloth).y() < 1.7845 - kRadius) bounce += 0.0005;
  Leg second;
  second.t = bounce;
  second.p = first.at(bounce, world.cloth);
  second.v = {0.08, -0.85};
  second.w = 0.25 * second.v;
  see(first, 0, bounce);
  const std::size_t j = track.seen.size();
  see(second, bounce, bounce + 0.8);
  for (std::size_t i = j + 1; i < j + 3; ++i)
    track.seen[i] = sighting(track.seen[i].time, track.seen[j - 1].at + Vec2(0, 0.01), 0.04);
  const auto found = search(track, kRadius, kMass, world);
  ASSERT_TRUE(found);
  EXPECT_FALSE(found->lost);
  ASSERT_EQ(found->chain.legs.size(), 2U);
  EXPECT_EQ(found->chain.legs[1].touch.kind, Touch::Kind::surface);
  EXPECT_NEAR(found->chain.legs[1].leg.t, bounce, 0.01);
  EXPECT_TRUE(seen_at(*found, track.seen[j].time).trusted);
}

}  // namespace
}  // namespace baizetrace::path
