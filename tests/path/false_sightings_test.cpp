// Sightings that are not where the ball was. Invented sightings.
#include <gtest/gtest.h>

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
  World world;
  BallTrack track;
  Leg first;
};

TEST_F(FalseSightings, TheLastLooksIntoAMouthAreNoContact) {
  // At the top right pocket, near its upper jaw; half hidden there its last two looks are 3 cm short.
  const Vec2 into = Vec2(0.889, 1.7845) + 0.03 * Vec2(-0.7, 0.7);
  const Vec2 way = (into - first.p).normalized();
  first.v = 1.5 * way;
  first.w = 0.1 * first.v;
  double at_mouth = 0.5;
  while ((first.at(at_mouth, world.cloth) - into).norm() > 0.02) at_mouth += 0.001;
  see(first, 0, at_mouth);
  ASSERT_GT(track.seen.size(), 8U);
  track.seen[track.seen.size() - 2].at -= 0.03 * way;
  track.seen[track.seen.size() - 1].at -= 0.03 * way;
  const auto found = search(track, kRadius, kMass, world);
  ASSERT_TRUE(found);
  EXPECT_FALSE(found->lost);
  EXPECT_EQ(found->chain.legs.size(), 1U);
}

// A clip of 30 frames a second shown as 60: every second picture is the one before, and the one after the strike shows
// the ball where it lay. Taken for a sighting it had the first sample's white struck 3 ms later and at 3.56 for 3.27
// m/s.
TEST_F(FalseSightings, APictureShownOnceMoreTellsNoStart) {
  first.t = 0.505;
  first.v = {0.4, -2.0};
  first.w = 0.1 * first.v;
  for (int f = 0; f < 30; ++f) {
    const double t = f * kFrame;
    track.seen.push_back(sighting(t, t < first.t ? first.p : first.at(t, world.cloth)));
    if (t > first.t) continue;  // once it moves, what is shown once more is left out
    Sighting again = track.seen.back();
    again.time += 0.5 * kFrame;
    again.fresh = false;
    again.again = true;
    track.seen.push_back(again);
  }
  const auto found = search(track, kRadius, kMass, world);
  ASSERT_TRUE(found);
  EXPECT_NEAR(found->chain.legs[0].leg.v.norm(), first.v.norm(), 0.03);
  EXPECT_NEAR(found->chain.legs[0].leg.t, first.t, 0.001);
}

}  // namespace
}  // namespace baizetrace::path
