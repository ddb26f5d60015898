// When a ball that vanished fell, and when that cannot be said.
#include <gtest/gtest.h>

#include "base/files.hpp"
#include "path/search.hpp"

namespace baizetrace::path {
namespace {

constexpr double kRadius = 0.02625;

struct Fall : testing::Test {
  Fall() {
    set_data_folder(BAIZETRACE_SOURCE);
    world.surfaces = surfaces_of(table::Table(*table::read_spec("full-size")), kRadius);
    ChainLeg leg;
    leg.leg.p = {-0.5, -1.4};
    leg.leg.v = 2.0 * Vec2(-0.9152 + 0.5, -1.8107 + 1.4).normalized();  // at the middle of the fall
    found.chain.legs.push_back(leg);
  }
  const Surface& surface(ContactKind kind, const std::string& name) const {
    for (const Surface& s : world.surfaces)
      if (s.kind == kind && s.name == name) return s;
    throw std::runtime_error("no such surface");
  }
  World world;
  Found found;
};

TEST_F(Fall, AtTheFallLineItStands) {
  found.pocket = "baulk-left";
  settle_fall(found, world, 0.2, false);
  ASSERT_TRUE(found.pocket);
  const auto& fall = surface(ContactKind::pocket, "baulk-left");
  EXPECT_LT(std::abs(fall.gap(found.chain.legs.back().leg.at(found.pocket_time, found.cloth))), 0.001);
}

TEST_F(Fall, APathThatDoesNotComeThereDidNotFall) {
  found.pocket = "baulk-left";
  found.pocket_time = 0.1;
  found.chain.legs.back().leg.v = {1.0, 0.3};
  settle_fall(found, world, 0.05, false);
  EXPECT_FALSE(found.pocket);
}

TEST_F(Fall, ABallSeenAgainDidNotFall) {
  found.pocket = "baulk-left";
  settle_fall(found, world, 0.2, true);
  EXPECT_FALSE(found.pocket);
}

// A white that crept into the jaw of a middle pocket and was not seen there was told to have gone in-off.
TEST_F(Fall, WhatCreepsIntoAJawCannotReachTheFall) {
  ChainLeg& last = found.chain.legs.back();
  last.leg.p = {0.873, -0.040};
  last.touch.kind = Touch::Kind::surface;
  last.touch.surface = surface(ContactKind::jaw, "middle-right");
  const double gap = surface(ContactKind::pocket, "middle-right").gap(last.leg.p);
  ASSERT_GT(gap, 0.03);
  for (const double speed : {0.02, 1.0}) {
    found.pocket.reset();
    last.leg.v = {0, speed};  // past the mouth: its fall is only told by where it was lost
    settle_fall(found, world, 0.05, false);
    EXPECT_EQ(found.pocket.has_value(), speed > 0.5) << speed;
  }
}

// A red on red cloth was lost between its jaws and told to be potted, by a path that was 10 cm off what was seen.
TEST_F(Fall, APathThatHasLittleToDoWithWhatWasSeenTellsNoFall) {
  for (const double off : {0.01, 0.1}) {
    found.chain.seen.clear();
    for (double t = 0; t < 0.2; t += 1 / 30.0) {
      Seen s;
      s.time = t;
      s.at = found.chain.at(t, found.cloth) + Vec2(off, 0);
      found.chain.seen.push_back(s);
    }
    found.pocket = "baulk-left";
    settle_fall(found, world, 0.2, false);
    EXPECT_EQ(found.pocket.has_value(), off < 0.03) << off;
  }
}

// It hangs over the pocket, and between two frames it is gone.
TEST_F(Fall, ABallOverAPocketFallsBetweenTwoFrames) {
  const Surface& fall = surface(ContactKind::pocket, "baulk-left");
  BallTrack red;
  red.ball = "red-1";
  red.before = Stay{};
  red.before->at = {-0.80, -1.70};
  red.before->covariance = 1e-6 * Mat2::Identity();
  red.before->sightings = 60;
  red.moved = true;
  Leg begun;
  begun.t = 1;
  begun.p = red.before->at;
  begun.v = 1.5 * (fall.centre - begun.p).normalized();
  begun.w = begun.v;
  CoverMap board;
  board.half_width = 1.0;
  board.half_length = 1.9;
  const auto told = [&](const BallTrack& track, const Leg& leg) {
    const auto f = fell_at_once(track, kRadius, 0.142, world, leg, board);
    return f ? f->pocket.value_or("") : std::string();
  };
  EXPECT_EQ(told(red, begun), "baulk-left");
  Leg away = begun;
  away.v = -begun.v;
  EXPECT_EQ(told(red, away), "");
  Leg soft = begun;
  soft.v *= 0.05;
  EXPECT_EQ(told(red, soft), "") << "it would still have been seen";
  BallTrack elsewhere = red;
  elsewhere.seen.emplace_back();
  elsewhere.seen.back().time = 1.3;
  elsewhere.seen.back().at = {-0.3, -1.2};
  EXPECT_EQ(told(elsewhere, begun), "");
  BallTrack lies = red;
  lies.after = red.before;
  EXPECT_EQ(told(lies, begun), "");
  board.cover(fall.centre);
  EXPECT_EQ(told(red, begun), "") << "it may lie under the board";
}

// A green was lost beside a red near the pocket and told to be potted; the red had been sent across the table, and
// nothing told by what.
TEST_F(Fall, WhatMetABallThatNobodyFollowedMayBeAnywhere) {
  const Surface& fall = surface(ContactKind::pocket, "baulk-left");
  found.chain.ball = "green";
  found.chain.radius = kRadius;
  found.pocket = "baulk-left";
  found.pocket_time = 0.28;
  Episode episode;
  episode.balls.resize(2);
  episode.balls[0].ball = "green";
  BallTrack& red = episode.balls[1];
  red.ball = "red-1";
  red.before = Stay{};
  red.before->sightings = 60;
  red.before->at = 0.5 * (found.chain.legs[0].leg.p + fall.centre) + Vec2(0.05, -0.02);
  red.after = red.before;
  EXPECT_FALSE(met_unfollowed(found, episode, {found})) << "it lies where it lay";
  red.after->at = {0.2, -1.6};
  EXPECT_TRUE(met_unfollowed(found, episode, {found}));
  Found followed;
  followed.chain.ball = "red-1";
  EXPECT_FALSE(met_unfollowed(found, episode, {found, followed}));
  // Where it met the red, and went on in sight, the red tells nothing more.
  Found met = found;
  ChainLeg& on = met.chain.legs.back();
  on.touch.kind = Touch::Kind::ball;
  on.touch.ball = "red-1";
  met.chain.seen.clear();
  for (int i = 1; i <= 3; ++i) {
    EXPECT_TRUE(met_unfollowed(met, episode, {met})) << i;
    Seen s;
    s.time = on.leg.t + 0.03 * i;
    s.trusted = true;
    met.chain.seen.push_back(s);
  }
  EXPECT_FALSE(met_unfollowed(met, episode, {met}));
  red.before->at += Vec2(0.1, -0.1);
  EXPECT_FALSE(met_unfollowed(found, episode, {found})) << "far from its way";
}

// A green on green cloth at 3 m/s is seen in no frame. It was hit straight at a pocket a metre off, and in the seconds
// after, in which it would have rolled to a stop, nobody saw it.
TEST_F(Fall, WhatWasHitAtAPocketTooFastToBeSeenFellThere) {
  const Surface& fall = surface(ContactKind::pocket, "baulk-left");
  BallTrack green;
  green.ball = "green";
  green.before = Stay{};
  green.before->at = fall.centre + 0.9 * Vec2(0.6, 0.8);
  green.before->sightings = 60;
  green.moved = true;
  Leg begun;
  begun.t = 1;
  begun.p = green.before->at;
  begun.v = -3.0 * Vec2(0.6, 0.8);
  begun.w = 0.2 * begun.v;
  Episode episode;
  for (int i = 0; i < 150; ++i) episode.frame_times.push_back(i / 30.0);
  const std::size_t kind = 3;
  const auto told = [&](const BallTrack& track, const Leg& leg, const Episode& seen) {
    const auto f = fell_unseen(track, kRadius, 0.142, world, leg, seen, kind);
    EXPECT_TRUE(!f || (f->u_fall && *f->u_fall > 0.02)) << "when it fell is known badly";
    return f ? f->pocket.value_or("") : std::string();
  };
  EXPECT_EQ(told(green, begun, episode), "baulk-left");
  // What the hit left at its place, and the pocket's own dark, are no ball.
  BallTrack ghosts = green;
  std::vector<Sighting> one(1);
  Sighting& s = one[0];
  s.colour.assign(8, -6.0F);
  s.colour[kind] = 0;
  for (int i = 1; i < 6; ++i) {
    s.time = 1 + 0.1 * i;
    s.at = i < 3 ? Vec2(begun.p + Vec2(0.01, 0)) : Vec2(fall.centre + 0.15 * Vec2(0.6, 0.8));
    ghosts.seen.push_back(s);
  }
  EXPECT_EQ(told(ghosts, begun, episode), "baulk-left");
  BallTrack runs = ghosts;
  runs.seen.back().at += Vec2(0.03, 0);
  EXPECT_EQ(told(runs, begun, episode), "") << "it is seen before the pocket: its path tells";
  BallTrack itself = green;
  for (int i = 0; i < 3; ++i) {
    EXPECT_EQ(told(itself, begun, episode), "baulk-left") << i;
    s.time = 1.1 + 0.05 * i;
    s.at = begun.p + (s.time - 1) * begun.v;
    itself.seen.push_back(s);
  }
  EXPECT_EQ(told(itself, begun, episode), "") << "its path tells";
  BallTrack elsewhere = green;
  s.time = 1.5;
  s.at = {0.2, 0.3};
  elsewhere.seen.push_back(s);
  EXPECT_EQ(told(elsewhere, begun, episode), "");
  Episode strays = episode;
  for (int i = 0; i < 4; ++i) {
    EXPECT_EQ(told(green, begun, strays), "baulk-left") << i;
    s.time = 1.5 + 0.1 * i;
    strays.strays.push_back(s);
  }
  EXPECT_EQ(told(green, begun, strays), "") << "something of its colour";
  Leg slow = begun, away = begun, beside = begun;
  slow.v *= 0.4;
  away.v = -begun.v;
  beside.v = -3.0 * Vec2(std::cos(0.85), std::sin(0.85));  // 4 degrees off: a jaw
  EXPECT_EQ(told(green, slow, episode), "") << "it would have been seen on its way";
  EXPECT_EQ(told(green, away, episode), "");
  EXPECT_EQ(told(green, beside, episode), "");
  Episode brief = episode;
  brief.frame_times.resize(90);
  EXPECT_EQ(told(green, begun, brief), "") << "it may be rolling still";
  Episode hidden = episode;
  CoverMap player;
  player.half_width = 1.0;
  player.half_length = 1.9;
  player.cover(fall.centre + 0.05 * Vec2(0.6, 0.8));
  hidden.cover.emplace_back(2.0, player);
  EXPECT_EQ(told(green, begun, hidden), "") << "it may lie before the pocket under the player";
  BallTrack pink;
  pink.ball = "pink";
  pink.before = Stay{};
  pink.before->at = fall.centre + 0.4 * Vec2(0.6, 0.8);
  pink.before->sightings = 60;
  pink.after = pink.before;
  Other o;
  o.name = "pink";
  o.radius = kRadius;
  o.track = &pink;
  world.others.push_back(o);
  EXPECT_EQ(told(green, begun, episode), "") << "it met the pink";
  pink.before->at = Vec2(elsewhere.seen.back().at + Vec2(0.1, 0));
  pink.after = pink.before;
  EXPECT_EQ(told(elsewhere, begun, episode), "baulk-left") << "what is seen there is the pink's shadow";
}

// Out of sight it ran into the nose beside a pocket, a hand's width before the jaw: it did not go through it.
TEST_F(Fall, WhatRanIntoANoseCameBack) {
  Leg& leg = found.chain.legs.back().leg;
  leg.t = 0;
  leg.p = {-0.62, 1.60};
  leg.v = {-0.9, 1.16};
  leg.w = leg.v;
  find_fall(found, world, 0.05, 0.35);
  EXPECT_FALSE(found.pocket);
  EXPECT_TRUE(found.came_back);
  EXPECT_EQ(found.chain.legs.size(), 1U);
  // A little nearer to the pocket it meets the jaw.
  leg.p = {-0.70, 1.60};
  find_fall(found, world, 0.05, 0.35);
  EXPECT_FALSE(found.came_back);
  EXPECT_GT(found.chain.legs.size(), 1U);
}

TEST_F(Fall, VanishedAtAJawItFellThere) {
  ChainLeg turned;
  turned.touch.kind = Touch::Kind::surface;
  turned.touch.surface = surface(ContactKind::jaw, "baulk-left");
  turned.leg.t = 0.3;
  turned.leg.p = {-0.868, -1.717};
  turned.leg.v = {0.5, 0.5};
  found.chain.legs.push_back(turned);
  settle_fall(found, world, 0.29, false);
  EXPECT_EQ(found.pocket.value_or(""), "baulk-left");
  // Seen for longer than a moment after the jaw: it came out.
  found.pocket.reset();
  settle_fall(found, world, 0.6, false);
  EXPECT_FALSE(found.pocket);
}

// A yellow that the white hit half a second later was told to have begun by itself, and to have moved the white
// (drawn 420): it lay in sight meanwhile.
TEST_F(Fall, APathThatBeganWhileItsBallStillLayIsNotItsOwn) {
  BallTrack track;
  track.before = Stay{};
  track.before->at = found.chain.legs[0].leg.p;
  EXPECT_FALSE(lay_there_since(track, found));
  for (int i = 0; i < 3; ++i) {
    EXPECT_FALSE(lay_there_since(track, found)) << i;
    track.seen.emplace_back();
    track.seen.back().time = found.chain.legs[0].leg.t + 0.1 + 0.02 * i;
    track.seen.back().at = track.before->at + Vec2(0.002, 0);
  }
  EXPECT_TRUE(lay_there_since(track, found));
  for (Sighting& s : track.seen) s.visible = 0.5;
  EXPECT_FALSE(lay_there_since(track, found)) << "half of a ball there is what it left behind";
}

}  // namespace
}  // namespace baizetrace::path
