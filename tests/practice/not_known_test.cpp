// What became of a ball is told, judged and counted only where it was seen.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/files.hpp"
#include "practice/attempts.hpp"
#include "practice/pot.hpp"
#include "practice/scoring.hpp"
#include "practice/statistics.hpp"
#include "support/full_size.hpp"
#include "support/invented_session.hpp"

namespace baizetrace::practice {
namespace {

using invented::path_through;
using test_support::full_size;
using test_support::snooker;
using testing::HasSubstr;

Vec2 mm(double u) { return Vec2(u, u) / 1000; }

// The white runs from its mark to a red and on; the red lies elsewhere afterwards, and nothing followed it.
Attempt red_unfollowed() {
  Attempt a;
  a.before["white"] = {Vec2(0, -0.5), mm(1)};
  a.before["red-1"] = {Vec2(0, 0.5), mm(1)};
  BallPath& white = a.balls["white"] = path_through("white",
                                                    {{{0, -0.5}, ContactKind::ball, "", 2.0},
                                                     {{0, 0.4475}, ContactKind::ball, "red-1", 1.0},
                                                     {{0.3, 0.2}, ContactKind::ball, "", 0}},
                                                    0);
  white.rms = 0.001;
  a.after["white"] = *white.rest;
  a.after["red-1"] = {Vec2(0.5, 1.2), mm(1)};
  a.rest_time = 9;
  return a;
}

Setup red_in(const char* pocket) {
  Setup s;
  s.balls = {{"white", {0, -0.5}, false}, {"red-1", {0, 0.5}, false}};
  s.shot.emplace();
  s.shot->kind = Shot::Kind::pot;
  s.shot->ball = "red-1";
  s.shot->pocket = pocket;
  return s;
}

// Drawn 233: half-ball on a red that lay 1.5 m off afterwards; "the red 1 was not hit".
TEST(Unknown, ABallThatNothingFollowedWasHitAllTheSame) {
  Attempt a = red_unfollowed();
  EXPECT_TRUE(hit_unseen(a, "red-1"));
  score_attempt(a, red_in("top-right"), full_size(), snooker());
  ASSERT_TRUE(a.score);
  EXPECT_EQ(a.score->parts[0].note, "stayed up; its way was not followed");
  a.after["red-1"].at = a.before["red-1"].at + Vec2(0.002, 0);
  EXPECT_FALSE(hit_unseen(a, "red-1"));
  a.balls["white"].contacts.clear();
  score_attempt(a, red_in("top-right"), full_size(), snooker());
  EXPECT_EQ(a.score->parts[0].note, "the red 1 was not hit");
}

// Drawn 342: last seen on its way; "missed thick by 26 mm".
TEST(Unknown, APotThatWasLostOnItsWayIsNotJudged) {
  path::Episode episode;
  episode.frame_times = {0, 0.033, 0.067};
  path::EpisodePaths paths;
  paths.struck = true;
  paths.ended_by_hand = true;
  for (const auto& [ball, from, to] :
       {std::tuple("white", Vec2(0, -0.5), Vec2(0.3, 0.2)), std::tuple("red-1", Vec2(0, 0.5), Vec2(0.5, 1.2))}) {
    path::BallTrack track;
    track.ball = ball;
    track.moved = true;
    track.before = path::Stay{};
    track.before->at = from;
    track.before->sightings = 30;
    episode.balls.push_back(track);
    BallPath p = path_through(ball, {{from, ContactKind::ball, "", 2.0}, {to, ContactKind::ball, "", 0}}, 0);
    p.rest.reset();
    p.rms = 0.001;
    p.told_until = p.rows.back().time;
    paths.balls.push_back(std::move(p));
  }
  auto a = attempt_from(episode, paths, snooker(), {});
  ASSERT_TRUE(a);
  EXPECT_FALSE(a->balls.at("white").told_until) << "a hand took it";
  score_attempt(*a, red_in("top-right"), full_size(), snooker());
  EXPECT_FALSE(a->pot_made);
  EXPECT_FALSE(a->score);
  EXPECT_EQ(a->not_judged, "what became of the red 1 was not seen");
  // Off a cushion and away from there it was missed.
  Contact off;
  off.kind = ContactKind::cushion;
  off.with = "top";
  off.time = 0.1;
  paths.balls[1].contacts.push_back(off);
  a = attempt_from(episode, paths, snooker(), {});
  score_attempt(*a, red_in("top-right"), full_size(), snooker());
  EXPECT_EQ(a->pot_made, std::optional(false));
}

TEST(Unknown, WhatLiesOnAnEdgeIsNotJudged) {
  practice::Setup setup;
  setup.goal.emplace();
  setup.goal->zone.emplace();
  setup.goal->zone->centre = Vec2(0.3, 0.1);
  setup.goal->zone->radius = 0.104;
  Attempt a = red_unfollowed();
  const auto judged = [&](double u) {
    a.after["white"].u = mm(u);
    a.balls["white"].rest->u = mm(u);
    score_attempt(a, setup, full_size(), snooker());
    return a.score.has_value();
  };
  EXPECT_TRUE(judged(1));  // 4 mm inside
  EXPECT_EQ(a.score->points, 1);
  EXPECT_EQ(a.not_judged, "");
  EXPECT_FALSE(judged(3));
  EXPECT_THAT(a.not_judged, HasSubstr("too near the zone's edge"));
  // The same of a cut that is wanted between two angles.
  setup.goal->zone.reset();
  setup.goal->next = NextBall{"red-1", "top-right", std::nullopt, std::nullopt};
  ASSERT_TRUE(judged(1));
  const double cut = a.leave->cut;
  setup.goal->next->cut = std::pair(0.0, cut + 0.004);  // 4 mrad over a metre: 4 mm
  EXPECT_TRUE(judged(0.5));
  EXPECT_FALSE(judged(5));
  EXPECT_THAT(a.not_judged, HasSubstr("too close to call"));
  EXPECT_TRUE(a.leave) << "what is left is told all the same";
}

TEST(Unknown, ANextBallOfWhichNobodySawWhatBecameWasNotMissed) {
  FollowOn f;
  EXPECT_EQ(next_potted(f, "black"), std::optional(false));
  f.unseen = {"black"};
  EXPECT_EQ(next_potted(f, "black"), std::nullopt);
  EXPECT_EQ(next_potted(f, "pink"), std::optional(false));
  f.potted = {Potted{"black", "top-left", 3.0}};
  EXPECT_EQ(next_potted(f, "black"), std::optional(true));

  Session s = invented::session(3);
  for (Attempt& a : s.attempts) a.group = 1;
  s.attempts[0].follow_on = FollowOn{};
  s.attempts[1].follow_on = f;
  s.attempts[1].follow_on->next_potted = true;
  const GroupSummary sum = summarise(s, 1, nullptr);
  EXPECT_EQ(sum.follow_ons, 2);
  EXPECT_EQ(sum.next_of, 1);
  EXPECT_EQ(sum.next_potted, 1);
}

TEST(Unknown, CushionsAreCountedOfWhitesThatWereSeenToTheirEnd) {
  Session s;
  for (int k = 0; k < 2; ++k) {
    s.attempts.push_back(red_unfollowed());
    s.attempts.back().group = 1;
  }
  s.attempts[1].balls["white"].told_until = 0.5;
  EXPECT_EQ(summarise(s, 1, nullptr).routes, (std::vector<std::pair<std::vector<std::string>, int>>{{{}, 1}}));
}

}  // namespace
}  // namespace baizetrace::practice
