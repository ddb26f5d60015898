// Who is who when looks alike contradict each other, and balls that run out of sight. Invented sightings.
#include <gtest/gtest.h>

#include <array>

#include "base/files.hpp"
#include "path/followed.hpp"
#include "path/reconstruct.hpp"
#include "path/roster.hpp"
#include "path/search.hpp"

namespace baizetrace::path {
namespace {

constexpr double kRadius = 0.02625, kMass = 0.142;
constexpr double kSd = 0.0008;  // m

Sighting sighting(double time, const Vec2& at, double visible = 1) {
  Sighting s;
  s.time = time;
  s.frame = static_cast<int>(std::lround(30 * time));
  s.at = at;
  s.covariance = kSd * kSd * Mat2::Identity();
  s.visible = visible;
  return s;
}

Candidate candidate(const Vec2& at, double visible, std::vector<double> colour) {
  Candidate c;
  for (int i = 0; i < 10; ++i) {
    c.stay.add(sighting(0.03 * i, at, visible));
    c.visible += visible;
  }
  for (double& x : colour) x *= 10;
  c.colour = std::move(colour);
  return c;
}

TEST(Roster, OfTwoInItsColourTheBallIsTheOneSeenWhole) {
  const Candidate butt = candidate({0.12, 1.28}, 0.86, {0.0, -0.9}), white = candidate({-0.1, -0.2}, 1.0, {-0.1, -3.0});
  EXPECT_EQ(kinds_for({&butt, &white}, {1, 0}, {}), (std::vector<int>{-1, 0}));
  EXPECT_EQ(kinds_for({&white, &butt}, {1, 0}, {}), (std::vector<int>{0, -1}));
}

TEST(Roster, ItsSpotSpeaksForABallWhereColoursAreHardToTell) {
  // Kinds: brown, red. In dim light both look like either; one lies on the brown's spot.
  const Vec2 spot(0, -1.0475);
  const Candidate on_spot = candidate(spot + Vec2(0.004, 0), 1, {-0.4, -0.3}),
                  other = candidate({-0.6, 0.5}, 1, {0.0, -0.2});
  EXPECT_EQ(kinds_for({&on_spot, &other}, {1, 15}, {spot, std::nullopt}), (std::vector<int>{0, 1}));
  // A colour that is plainly another's is not talked away: a red put on the spot is a red.
  const Candidate red = candidate(spot, 1, {-5.0, 0.0}), brown = candidate({-0.6, 0.5}, 1, {0.0, -2.0});
  EXPECT_EQ(kinds_for({&red, &brown}, {1, 15}, {spot, std::nullopt}), (std::vector<int>{1, 0}));
}

TEST(Roster, WhatThereAreManyOfIsRatherWhatItIs) {
  // Kinds: brown, red. Off the brown's spot.
  const Vec2 spot(0, -1.0475);
  const Candidate either = candidate({-0.4, 0.7}, 1, {0.0, -0.4});
  EXPECT_EQ(kinds_for({&either}, {1, 15}, {spot, std::nullopt}), (std::vector<int>{1}));
  const Candidate brown = candidate({-0.4, 0.7}, 1, {0.0, -2.0});
  EXPECT_EQ(kinds_for({&brown}, {1, 15}, {spot, std::nullopt}), (std::vector<int>{0}));
}

// The green was potted; a hand that carried the blue held still: brown by its looks, and the brown lies where it lay.
TEST(Roster, AHandIsNotTheBallThatIsMissing) {
  // Kinds: green, brown.
  const Candidate hand = candidate({0.1, 0}, 1, {-2.1, 0.0}), dark = candidate({0.1, 0}, 1, {-0.9, 0.0});
  EXPECT_EQ(kinds_for({&hand}, {1, 0}, {}), (std::vector<int>{0}));
  EXPECT_TRUE(rather_another(hand, 0));
  EXPECT_FALSE(rather_another(dark, 0));
  EXPECT_FALSE(rather_another(hand, 1));
}

Followed moving_ball() {
  Followed b;
  b.kind = 0;
  b.radius = kRadius;
  b.state = Followed::State::moving;
  b.at = {0, 0};
  b.velocity = {0.9, 0};
  b.seen_at = 1;
  b.steps = 12;
  b.may_turn = true;
  return b;
}

TEST(Followed, OutOfSightABallComesNoFartherThanItsSpeed) {
  const Followed b = moving_ball();
  EXPECT_LT(cost_of(b, sighting(1.35, {0.30, 0.02})), kNobody);
  EXPECT_GE(cost_of(b, sighting(1.35, {1.2, 0.6})), kNobody);
}

TEST(Followed, ABallThatNothingCameNearIsBadlySeenNotGone) {
  Followed b;
  b.kind = 4;
  b.radius = kRadius;
  for (int i = 0; i < 20; ++i) b.stay.add(sighting(0.03 * i, {0, 0}));
  b.seen_at = 0.6;
  b.may_start = false;
  EXPECT_LT(cost_of(b, sighting(0.63, {0.006, 0.002})), 4);
  EXPECT_GE(cost_of(b, sighting(0.63, {0.03, 0})), kNobody);
  b.may_start = true;
  EXPECT_FALSE(badly_seen(b, sighting(0.63, {0.006, 0.002})));
}

// A cue's butt was taken for a pink, and went when the player did.
TEST(Followed, WhatWasOnlySeenBesideAPersonAndWentWithItNeverWas) {
  Followed b;
  b.state = Followed::State::gone;
  b.lies = true;
  for (int i = 0; i < 120; ++i) b.stay.add(sighting(0.03 * i, {0, 0}));
  b.in_the_open = 3;
  EXPECT_TRUE(never_was(b));
  b.in_the_open = 80;
  EXPECT_FALSE(never_was(b)) << "it was taken away";
  b.in_the_open = 3;
  b.moved = true;
  EXPECT_FALSE(never_was(b)) << "it ran out of sight";
  b.kind = 5;
  b.in_the_open = 0;
  EXPECT_TRUE(never_was(b)) << "a head that moved";
  b.kind = 0;
  EXPECT_FALSE(never_was(b)) << "cue and hand hide the white";
  b.in_the_open = 3;
  b.moved = false;
  b.state = Followed::State::resting;
  EXPECT_FALSE(never_was(b)) << "it lies there still";
}

// A clip that begins two seconds before a black is struck to where nobody sees it.
TEST(Followed, WhatLayInTheOpenAllAlongWasThereHoweverShort) {
  Followed b;
  b.kind = 7;
  b.state = Followed::State::gone;
  b.lies = true;
  for (int i = 0; i < 55; ++i) b.stay.add(sighting(0.033 * i, {0, 0}));
  b.in_the_open = 50;
  EXPECT_FALSE(never_was(b));
  b.in_the_open = 30;
  EXPECT_TRUE(never_was(b)) << "half of the time beside a person";
}

// A ball that lay at `start`, runs by `first`, and after `gap` out of sight is seen on `second`.
struct UnderAFrame : testing::Test {
  UnderAFrame() {
    world.surfaces = surfaces_of(full_size, kRadius);
    track.ball = "white";
    track.moved = true;
    Stay lay;
    lay.at = {0.1, -0.9};
    lay.covariance = 1e-7 * Mat2::Identity();
    lay.sightings = 30;
    track.before = lay;
    first.t = 0.5;
    first.p = lay.at;
    first.v = {0.2, 1.5};
    first.w = 0.1 * first.v;
  }
  // Its way on from 1.2 s, after a turn.
  [[nodiscard]] Leg turned() const {
    Leg second;
    second.t = 1.2;
    second.p = first.at(second.t, world.cloth);
    second.v = {-0.55, 0.5};
    second.w = 0.2 * second.v;
    return second;
  }
  void see(const Leg& leg, double from, double to) {
    for (int f = 0; f < 600; ++f) {
      const double t = f / rate;
      // Errors of a pattern of its own: no two frames alike, none larger than stated.
      if (t > from && t < to)
        track.seen.push_back(sighting(t, leg.at(t, world.cloth) + kSd * Vec2(std::sin(7.1 * f), std::cos(4.3 * f))));
    }
  }
  // Its paths in an episode of six seconds, after which it lies there.
  EpisodePaths lying_at_last_at(const Vec2& place) {
    track.after = track.before;
    track.after->at = place;
    Episode episode;
    episode.end = 6;
    for (int f = 0; f < 185; ++f) episode.frame_times.push_back(f / 30.0);
    episode.balls.push_back(track);
    return reconstruct(episode, full_size, set, {});
  }
  // The white and a red that runs so, which is seen in these frames; at rest before its run begins.
  [[nodiscard]] Episode with_a_red(const Leg& run, int from, int to, double end) const {
    BallTrack red;
    red.ball = "red-1";
    red.moved = true;
    red.before = track.before;
    red.before->at = run.p;
    for (int f = from; f < to; ++f) red.seen.push_back(sighting(f / 30.0, run.at(f / 30.0, world.cloth)));
    Episode episode;
    episode.end = end;
    for (int f = 0; f < 30 * end + 1; ++f) episode.frame_times.push_back(f / 30.0);
    episode.balls = {track, red};
    return episode;
  }
  const table::Table full_size = [] {
    set_data_folder(BAIZETRACE_SOURCE);
    return table::Table(*table::read_spec("full-size"));
  }();
  const table::BallSet set = *table::read_ball_set(full_size.spec().balls);
  World world;
  BallTrack track;
  Leg first;
  double rate = 30;  // frames/s
};

TEST_F(UnderAFrame, ATurnThatNobodySawIsALegOfItsOwn) {
  const Leg second = turned();
  see(first, 0, 1.05);
  see(second, 1.5, 2.6);
  const auto found = search(track, kRadius, kMass, world);
  ASSERT_TRUE(found);
  EXPECT_FALSE(found->lost);
  ASSERT_GE(found->chain.legs.size(), 2U);
  EXPECT_EQ(found->chain.legs.back().touch.kind, Touch::Kind::unknown);
  EXPECT_NEAR(found->chain.legs.back().leg.t, second.t, 0.03);
  EXPECT_LT((found->chain.at(2.0, found->cloth) - second.at(2.0, world.cloth)).norm(), 0.003);
  EXPECT_GT(found->trusted, 0.9 * found->moving);
}

// In the dark a ball is seen to 6 mm, and says so: a long run is one all the same. One that is said to be seen to 1 mm
// and lies 9 mm off is none.
TEST_F(UnderAFrame, AFaintRunIsARunWhenItsPlacesSaySo) {
  first.v = {0.08, 0.6};
  first.w = 0.1 * first.v;
  const double rests = first.rests(world.cloth);
  see(first, 0.5, rests + 0.5);
  track.after = track.before;
  track.after->at = first.at(rests, world.cloth);
  const auto struck = [&](double said) {
    constexpr double kOff = 0.0065;  // m, each way
    BallTrack dark = track;
    for (std::size_t k = 0; k < dark.seen.size(); ++k) {
      Sighting& q = dark.seen[k];
      q.at += 1.41 * kOff * Vec2(std::sin(2.3 * static_cast<double>(k)), std::cos(3.9 * static_cast<double>(k)));
      q.covariance = said * said * Mat2::Identity();
    }
    Episode episode;
    episode.end = rests + 1;
    for (int f = 0; f < 30 * episode.end; ++f) episode.frame_times.push_back(f / 30.0);
    episode.balls.push_back(dark);
    const table::Table table(*table::read_spec("full-size"));
    return reconstruct(episode, table, *table::read_ball_set(table.spec().balls), {}).struck;
  };
  EXPECT_TRUE(struck(0.006));
  EXPECT_FALSE(struck(0.001));
}

TEST_F(UnderAFrame, NothingComesBackFasterThanItWent) {
  Leg second;
  second.t = 1.2;
  second.p = first.at(second.t, world.cloth);
  second.v = {-2.5, 1.5};
  see(first, 0, 1.05);
  see(second, 1.4, 1.55);
  const auto found = search(track, kRadius, kMass, world);
  ASSERT_TRUE(found);
  EXPECT_TRUE(found->lost);
  // What was seen before it went out of sight is still a free run, and counts as one.
  EXPECT_EQ(found->trusted, found->moving);
  EXPECT_GE(found->trusted, 10);
}

// A green on green cloth in dim light: the white turned in plain sight, and the whole attempt was lost for it.
TEST_F(UnderAFrame, InPlainSightItTurnsAsAtABallThatNobodySees) {
  rate = 60;
  const auto turning = [&](double thrown_back) {
    const Vec2 n(0.6, 0.8);  // to the ball that it strikes; as heavy, and at rest
    const Vec2 came = first.velocity_at(1.2, world.cloth);
    Leg second;
    second.t = 1.2;
    second.p = first.at(second.t, world.cloth);
    second.v = came - (1 + thrown_back) * came.dot(n) * n;
    second.w = second.v - came;  // its spin goes on
    track.seen.clear();
    see(first, 0, second.t);
    see(second, second.t, 2.6);
    const auto found = search(track, kRadius, kMass, world);
    return found ? *found : Found();
  };
  const Found found = turning(0);
  EXPECT_FALSE(found.lost);
  ASSERT_GE(found.chain.legs.size(), 2U);
  EXPECT_EQ(found.chain.legs[1].touch.kind, Touch::Kind::unknown);
  EXPECT_NEAR(found.chain.legs[1].leg.t, 1.2, 0.01);
  EXPECT_GT(found.trusted, 0.9 * found.moving);
  EXPECT_TRUE(turning(0.8).lost) << "thrown back: no ball lying still does that";
  // Where a known ball lies, it is not one that nobody saw.
  BallTrack blue;
  blue.ball = "blue";
  blue.before = track.before;
  blue.before->at = first.at(1.2, world.cloth) + Vec2(0.07, 0);
  Other& lies = world.others.emplace_back();
  lies.name = blue.ball;
  lies.radius = kRadius;
  lies.mass = kMass;
  lies.track = &blue;
  EXPECT_TRUE(turning(0).lost);
}

TEST_F(UnderAFrame, WhatItTouchedIsToldUntilItsTurn) {
  const Leg second = turned();
  see(first, 0, 1.05);
  see(second, 1.5, 2.6);
  Episode episode;
  episode.end = 2.6;
  for (int f = 0; f < 80; ++f) episode.frame_times.push_back(f / 30.0);
  episode.balls.push_back(track);
  const table::Table table(*table::read_spec("full-size"));
  const auto paths = reconstruct(episode, table, *table::read_ball_set(table.spec().balls), {});
  ASSERT_EQ(paths.balls.size(), 1U);
  const BallPath& white = paths.balls[0];
  EXPECT_TRUE(white.contacts.empty());
  ASSERT_TRUE(white.told_until);
  EXPECT_NEAR(*white.told_until, second.t, 0.03);
  EXPECT_TRUE(white.goes_on());
}

// The search lost it just behind a turn; with the turn as fitted since, all that follows is one free run.
TEST_F(UnderAFrame, WhatWasLostIsFollowedOn) {
  const Leg second = turned();
  see(first, 0.5, second.t);
  see(second, second.t, 2.6);
  Found lost;
  lost.cloth = world.cloth;
  lost.chain.ball = track.ball;
  lost.chain.radius = kRadius;
  lost.chain.mass = kMass;
  lost.chain.legs.resize(2);
  lost.chain.legs[0].leg = first;
  lost.chain.legs[1].leg = second;
  lost.chain.legs[1].touch.kind = Touch::Kind::unknown;
  lost.lost = true;
  lost.lost_at = 1.3;
  for (const Sighting& q : track.seen) {
    Seen seen;
    seen.time = q.time;
    seen.at = q.at;
    seen.sd = kSd;
    seen.root = Mat2::Identity() / kSd;
    seen.trusted = q.time < lost.lost_at;
    lost.trusted += seen.trusted;
    ++lost.moving;
    lost.chain.seen.push_back(seen);
  }
  const auto found = read_on(lost, track, world);
  ASSERT_TRUE(found);
  EXPECT_FALSE(found->lost);
  EXPECT_EQ(found->trusted, found->moving);
  EXPECT_LT((found->chain.at(2.5, found->cloth) - second.at(2.5, world.cloth)).norm(), 0.002);
  // Nothing that a ball does follows: it stays lost.
  for (std::size_t k = 0; k < track.seen.size(); ++k)
    if (track.seen[k].time > lost.lost_at) lost.chain.seen[k].at += Vec2(k % 2 == 0 ? 0.1 : -0.1, 0.05 * (k % 3));
  const auto astray = read_on(lost, track, world);
  EXPECT_TRUE(!astray || astray->lost);
}

TEST_F(UnderAFrame, ALongFreeRunIsAStrikeHoweverItWentOn) {
  see(first, 0.5, 1.95);
  const Vec2 there = first.at(1.95, world.cloth);
  for (int f = 59; f < 180; ++f)  // what nothing explains, for longer than the run
    track.seen.push_back(sighting(f / 30.0, there + 0.09 * Vec2(std::sin(5.0 * f), std::cos(3.0 * f))));
  const auto paths = lying_at_last_at({0.5, 0.5});
  EXPECT_TRUE(paths.struck) << paths.why_not;
  ASSERT_EQ(paths.balls.size(), 1U);
  ASSERT_TRUE(paths.balls[0].told_until);
  EXPECT_NEAR(*paths.balls[0].told_until, 1.95, 0.1);
  EXPECT_FALSE(paths.balls[0].goes_on());
}

// It runs under a frame after ten frames, and what it did there nobody saw: what was seen was a strike.
TEST_F(UnderAFrame, AShortFreeRunIsAStrikeThoughItWasLostInTheDark) {
  see(first, 0.5, 0.85);
  for (int f = 42; f < 180; ++f)  // out again: turned and slowed by something out of sight, and turned again and again
    if (f > 55)
      track.seen.push_back(sighting(f / 30.0, {0.45 + 0.05 * std::sin(2.0 * f), 0.1 + 0.05 * std::cos(3.0 * f)}));
  const auto paths = lying_at_last_at({0.5, 0.5});
  EXPECT_TRUE(paths.struck) << paths.why_not;
}

// Hands hid it from the strike until after its contact, 0.3 s later: the red's run tells that, and where.
TEST_F(UnderAFrame, WhatSetOffBeforeTheBallWasSeenAgainWasHit) {
  const Vec2 line = Vec2(-1, 0.1).normalized(), normal = Vec2(-0.9, -0.436).normalized();
  constexpr double kStrike = 0.505, kHit = 0.80, kBack = 0.93;  // s
  first.t = kStrike;
  first.v = 2.3 * line;
  Leg second, red;
  second.t = red.t = kHit;
  second.p = first.at(kHit, world.cloth);
  const Vec2 in = first.velocity_at(kHit, world.cloth);
  red.p = second.p + 2 * kRadius * normal;
  red.v = 0.97 * in.dot(normal) * normal;
  second.v = in - red.v;
  for (int f = 0; f <= 15; ++f) track.seen.push_back(sighting(f / 30.0, first.p));
  see(second, kBack, 1.4);
  const auto paths = reconstruct(with_a_red(red, 0, 36, 1.4), full_size, set, {});
  const auto white =
      std::find_if(paths.balls.begin(), paths.balls.end(), [](const BallPath& b) { return b.ball == "white"; });
  ASSERT_NE(white, paths.balls.end());
  ASSERT_EQ(white->contacts.size(), 1U);
  EXPECT_EQ(white->contacts[0].with, "red-1");
  EXPECT_LT((white->contacts[0].at - second.p).norm(), 0.005);
  EXPECT_NEAR(white->contacts[0].time, kHit, 0.005);
}

// A green on green cloth was not seen to run off; three shadows where it had lain, 0.3 s after it was hit, were taken
// for its start, and the white's turn was drawn towards them (a drawn shot: 13 cm off its own sightings, and no
// attempt).
TEST_F(UnderAFrame, ABallBeganWhenItWasHitHoweverLateItIsSeen) {
  constexpr double kHit = 0.95;  // s
  const Vec2 normal = Vec2(0.6, 0.8);
  Leg second, creeps;
  second.t = kHit;
  second.p = first.at(kHit, world.cloth);
  const Vec2 in = first.velocity_at(kHit, world.cloth);
  second.v = in - 0.97 * in.dot(normal) * normal;
  creeps.t = kHit + 0.3;
  creeps.p = second.p + 2 * kRadius * normal;
  creeps.v = {-0.2, 0.1};
  for (int f = 0; f <= 15; ++f) track.seen.push_back(sighting(f / 30.0, first.p));
  see(first, 0.5, kHit);
  see(second, kHit, 2.4);
  Episode episode = with_a_red(creeps, 38, 42, 2.4);
  const auto paths = reconstruct(episode, full_size, set, {});
  EXPECT_TRUE(paths.struck) << paths.why_not;
  const auto white =
      std::find_if(paths.balls.begin(), paths.balls.end(), [](const BallPath& b) { return b.ball == "white"; });
  ASSERT_NE(white, paths.balls.end());
  ASSERT_GE(white->contacts.size(), 1U);
  EXPECT_EQ(white->contacts[0].with, "red-1");
  EXPECT_NEAR(white->contacts[0].time, kHit, 0.005);
  EXPECT_LT((white->contacts[0].at - second.p).norm(), 0.005);
}

// A potted green, on green cloth: what was taken for it afterwards was the white's shadow, which went along with the
// white, and "nothing potted" was told.
TEST_F(UnderAFrame, WhatGoesAlongWithAnotherBallIsNotTheOneThatFell) {
  first.v = {0.1, 1.0};
  first.w = 0.1 * first.v;
  see(first, 0.3, 2.9);
  Leg run;
  run.t = 0.9;
  run.p = {0.5, 1.0};
  run.v = 2.5 * (Vec2(0.889, 1.7845) - run.p).normalized();
  run.w = 0.1 * run.v;
  Episode episode = with_a_red(run, 18, 27 + 10, 3);
  BallTrack& green = episode.balls[1];
  green.ball = "green";
  const std::size_t kind = *set.kind_of("green");
  const auto lie = [&](const auto& place_at) {
    episode.strays.clear();
    for (int f = 50; f < 70; ++f) {
      Sighting s = sighting(f / 30.0, place_at(f / 30.0));
      s.colour.assign(set.kinds.size(), -3);
      s.colour[kind] = 0;
      episode.strays.push_back(s);
    }
    const auto paths = reconstruct(episode, full_size, set, {});
    for (const BallPath& b : paths.balls)
      if (b.ball == "green") return b;
    return BallPath();
  };
  const BallPath fell = lie([&](double t) { return Vec2(first.at(t, world.cloth) + Vec2(0.06, -0.04)); });
  EXPECT_EQ(fell.pocket, "top-right");
  EXPECT_FALSE(fell.told_until);
  const BallPath lies = lie([](double) { return Vec2(0.7, 1.5); });
  EXPECT_FALSE(lies.pocket);
  EXPECT_TRUE(lies.told_until) << "what became of it then is not known";
  // A sleeve that has its colour is none.
  for (const double t : episode.frame_times) {
    CoverMap person;
    person.half_width = full_size.half_width();
    person.half_length = full_size.half_length();
    for (double x = 0.6; x < 0.88; x += 0.05)
      for (double y = 1.2; y < 1.6; y += 0.05) person.cover({x, y});
    episode.cover.emplace_back(t, t > 1.2 ? person : CoverMap());
  }
  EXPECT_EQ(lie([](double) { return Vec2(0.7, 1.5); }).pocket, "top-right");
}

// Struck 4 cm from a red: between two frames it has met it and turned, and only the red's run tells.
TEST_F(UnderAFrame, WhatSetOffAtOnceWasHit) {
  const Vec2 line = Vec2(-0.53, 0.85).normalized(), normal = Vec2(-0.95, 0.31).normalized();
  constexpr double kStrike = 0.505, kHit = 0.515;  // s; frames at 0.5 and 0.533
  first.t = kStrike;
  first.v = 0.04 / (kHit - kStrike) * line;
  Leg second, red;
  second.t = red.t = kHit;
  second.p = first.p + 0.04 * line;
  second.v = {0.68, 2.48};
  red.p = second.p + 2 * kRadius * normal;
  red.v = 2.9 * normal;
  for (int f = 0; f <= 15; ++f) track.seen.push_back(sighting(f / 30.0, first.p));
  see(second, kHit, 1.2);
  Episode episode = with_a_red(red, 16, 24, 1.2);
  const auto paths = reconstruct(episode, full_size, set, {});
  ASSERT_EQ(paths.balls.size(), 2U);
  ASSERT_EQ(paths.balls[0].contacts.size(), 1U);
  const Contact& hit = paths.balls[0].contacts[0];
  EXPECT_EQ(hit.with, "red-1");
  EXPECT_NEAR(hit.time, kHit, 0.003);
  EXPECT_LT((hit.at - second.p).norm(), 0.003);
  EXPECT_LT(std::abs(wrap_angle(hit.heading_in - heading_of(line))), radians(4));
  // Nobody saw where it went: the white was struck all the same, no harder than balls are.
  episode.balls[1].seen.clear();
  const auto dark = reconstruct(episode, full_size, set, {});
  EXPECT_TRUE(dark.struck) << dark.why_not;
  ASSERT_FALSE(dark.balls.empty());
  EXPECT_LT(dark.balls[0].pieces.front().velocity.norm(), 14);
  // A ball that did not move was not hit.
  episode.balls[1].moved = false;
  episode.balls[1].seen.clear();
  const auto alone = reconstruct(episode, full_size, set, {});
  ASSERT_EQ(alone.balls.size(), 1U);
  EXPECT_TRUE(alone.balls[0].contacts.empty());
}

}  // namespace
}  // namespace baizetrace::path
