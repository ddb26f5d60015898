// Contacts of a played shot laid beside those that were seen.
#include "compare/replay.hpp"

#include <gtest/gtest.h>

#include <algorithm>

#include "support/full_size.hpp"

namespace baizetrace::compare {
namespace {

// A white 0.5 m before the right cushion is sent square at it, to where the middle jaw begins and `beyond` metres
// further into the mouth; it was seen to touch the cushion.
bool passes_for_the_cushion(double beyond) {
  const table::Table table = test_support::full_size();
  const table::BallSet set = test_support::snooker();
  const auto jaw = std::find_if(table.jaws().begin(), table.jaws().end(),
                                [](const table::Jaw& j) { return j.pocket == "middle-right" && j.start.y() > 0; });
  const double y = jaw->start.y() - beyond;
  Evidence e;
  motion::Ball& white = e.balls.emplace_back();
  white.name = "white";
  white.radius = set.kinds[0].radius;
  white.mass = set.kinds[0].mass;
  white.place = Vec2(0.3, y);
  e.moved = 1;
  motion::Simulator simulator(table, {});
  const auto& cushions = simulator.ground().cushions;
  const auto right = std::find(cushions.begin(), cushions.end(), "right") - cushions.begin();
  e.contacts = {{{ContactKind::cushion, static_cast<std::size_t>(right)}}};
  Replay replay(e, table, {});
  ShotNumbers n;
  n.strike.speed = 1.5;
  n.strike.heading = kPi / 2;
  n.strike.height = 0.4;
  n.places = {e.balls[0].place};
  EXPECT_TRUE(replay.run(n));
  return replay.all_matched();
}

TEST(Replay, TheFirstHairOfAJawPassesForItsNose) {
  EXPECT_TRUE(passes_for_the_cushion(-0.002)) << "the nose itself";
  EXPECT_TRUE(passes_for_the_cushion(0.0015));
  EXPECT_FALSE(passes_for_the_cushion(0.008)) << "the jaw's normal is 7 degrees off there";
}

}  // namespace
}  // namespace baizetrace::compare
