#include "report/words.hpp"
#include "practice/scoring.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/files.hpp"
#include "report/miss_table.hpp"
#include "support/full_size.hpp"
#include "support/invented_session.hpp"

namespace baizetrace::report {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::StartsWith;

constexpr double kBall = 0.02625;  // m, radius of a snooker ball

using test_support::full_size;

practice::Setup invented_setup() {
  practice::Setup s;
  s.title = "invented";
  practice::Shot shot;
  shot.kind = practice::Shot::Kind::pot;
  shot.ball = "green";
  shot.pocket = "baulk-left";
  s.shot = shot;
  practice::Goal goal;
  goal.cushions = {"left", "baulk"};
  practice::Zone zone;
  zone.centre = Vec2(0.30, -1.35);
  zone.radius = 0.25;
  goal.zone = zone;
  s.goal = goal;
  return s;
}

practice::Attempt attempt() { return invented::session(1).attempts[0]; }

// Fullness from cut angle is geometry: three-quarter 14.5, half 30.0, quarter 48.6, an eighth 61.0 degrees
// (1 - sin(cut)).
TEST(Words, FullnessByTheCutAngle) {
  EXPECT_EQ(fullness_words(radians(0)), "full");
  EXPECT_EQ(fullness_words(radians(14.5)), "three-quarter ball");
  EXPECT_EQ(fullness_words(radians(30.0)), "half-ball");
  EXPECT_EQ(fullness_words(radians(48.6)), "quarter-ball");
  EXPECT_EQ(fullness_words(radians(61.0)), "thin");
}

TEST(Words, GapsInBallWidths) {
  const auto words = [](double balls) { return ball_widths(balls * 2 * kBall, kBall); };
  EXPECT_EQ(words(0.05), "next to nothing");
  EXPECT_EQ(words(0.25), "a quarter of a ball");
  EXPECT_EQ(words(0.5), "half a ball");
  EXPECT_EQ(words(1.0), "a ball");
  EXPECT_EQ(words(1.5), "a ball and a half");
  EXPECT_EQ(words(2.0), "two balls");
  EXPECT_EQ(words(2.5), "two balls and a half");
  EXPECT_EQ(words(3.1), "three balls");
  EXPECT_EQ(words(12.4), "12 balls");
}

// Common practice, no source: dead weight about 1.0, soft to 1.8, medium to 3.2, firm to 5 m/s.
TEST(Words, PaceWords) {
  EXPECT_EQ(pace_words(1.5), "soft");
  EXPECT_EQ(pace_words(2.5), "medium");
  EXPECT_EQ(pace_words(4.0), "firm");
  EXPECT_EQ(pace_words(6.0), "power");
}

// A cut that is exact by construction: the white arrives along +y, the ball stands 30 degrees off that line.
TEST(Words, CutOfTheFirstBallFromTheTwoPlaces) {
  practice::Attempt a;
  a.before["blue"] = Place{Vec2(0, 0), Vec2(0.0003, 0.0003)};
  Contact c;
  c.kind = ContactKind::ball;
  c.with = "blue";
  c.at = -2 * kBall * along_heading(radians(30));
  c.heading_in = 0;
  c.u = Vec2(0.001, 0.001);
  a.balls["white"].contacts = {c};
  const auto f = first_fullness(a, kBall);
  ASSERT_TRUE(f.has_value());
  EXPECT_NEAR(degrees(f->cut), 30.0, 1e-9);
  EXPECT_NEAR(degrees(f->u), degrees(std::hypot(0.001, 0.0003) / (2 * kBall)), 1e-9);

  a.balls["white"].contacts[0].at *= 1.2;  // 10 mm apart: one of the two places is wrong
  std::string why;
  EXPECT_FALSE(first_fullness(a, kBall, &why).has_value());
  EXPECT_THAT(why, HasSubstr("63.0 mm apart"));
}

TEST(Words, APathThatNoRunFollowsTellsNoContacts) {
  practice::Attempt a = attempt();
  a.balls.at("white").rms = 0.091;
  const AttemptWords w = words_of(a, full_size());
  EXPECT_THAT(w.sentence, Not(HasSubstr("White: ")));
  EXPECT_THAT(w.sentence, Not(HasSubstr("touched nothing")));
  EXPECT_THAT(w.sentence, Not(HasSubstr("to spare")));
  EXPECT_THAT(w.cannot_tell, testing::Contains(HasSubstr("91 mm beside any run of a ball")));
  EXPECT_THAT(w.sentence, HasSubstr("cm from the baulk cushion, ")) << "where it stopped was seen";
}

TEST(Words, WhatNobodySawIsNotNothing) {
  practice::Attempt a = attempt();
  BallPath& white = a.balls.at("white");
  white.contacts.clear();
  white.told_until = 0.5 * (white.rows.front().time + white.rows.back().time);
  AttemptWords w = words_of(a, full_size());
  EXPECT_THAT(w.sentence, HasSubstr("White: something unseen"));
  EXPECT_THAT(w.cannot_tell, testing::Contains(HasSubstr("that was not seen")));
  white.told_until = white.rows.back().time;
  w = words_of(a, full_size());
  EXPECT_THAT(w.sentence, HasSubstr("lost from sight."));
  EXPECT_THAT(w.cannot_tell, testing::Contains(HasSubstr("it was not followed")));
}

// A black that was struck to where nobody saw it: neither potted nor not.
TEST(Words, WhatWentUnseenIsNotSaidToHaveStayedUp) {
  practice::Attempt a = attempt();
  a.potted.clear();
  a.pot_made.reset();
  a.balls.erase("green");
  for (auto& [ball, place] : a.before) a.after.try_emplace(ball, place);
  AttemptWords w = words_of(a, full_size());
  EXPECT_EQ(w.verdict, "Nothing potted.");
  a.after.erase("green");
  w = words_of(a, full_size());
  EXPECT_EQ(w.verdict, "Nothing potted as far as was seen.");
  EXPECT_THAT(w.cannot_tell, testing::Contains("What became of the green: it was not seen again."));
  // Nor of one that was seen on its way alone.
  practice::Attempt passed = a;
  passed.before.erase("green");
  EXPECT_EQ(words_of(passed, full_size()).verdict, "Nothing potted.");
  passed.balls["green"].told_until = 0.5;
  EXPECT_EQ(words_of(passed, full_size()).verdict, "Nothing potted as far as was seen.");
  // Nor where the white met something under a board: a ball may have lain there that nobody saw at all.
  practice::Attempt under = a;
  for (auto& [ball, place] : under.before) under.after.try_emplace(ball, place);
  EXPECT_EQ(words_of(under, full_size()).verdict, "Nothing potted.");
  under.balls["white"].told_until = 1.0;
  EXPECT_EQ(words_of(under, full_size()).verdict, "Nothing potted as far as was seen.");
  const practice::Setup setup = invented_setup();
  practice::score_attempt(a, setup, full_size(), *table::read_ball_set(full_size().spec().balls));
  EXPECT_FALSE(a.pot_made) << "missed it was not seen to be, either";
  EXPECT_FALSE(a.score);
}

TEST(Words, WithoutASetupNothingIsSaidAboutWhatWasMeant) {
  practice::Attempt a = attempt();
  a.pot_made.reset();
  const AttemptWords w = words_of(a, full_size());
  EXPECT_EQ(w.verdict, "Green in.");
  EXPECT_THAT(w.sentence, StartsWith("Green in the green pocket. White: "));
  EXPECT_THAT(w.sentence, HasSubstr("green-side cushion, "));
  EXPECT_THAT(w.sentence, HasSubstr("baulk cushion"));
  EXPECT_THAT(w.sentence, HasSubstr("between brown and yellow with a ball and a half to spare"));
  EXPECT_THAT(w.sentence, HasSubstr("cm from the baulk cushion, "));
  EXPECT_THAT(w.sentence, HasSubstr("Struck at 3.27 m/s, firm."));
  EXPECT_THAT(w.sentence, Not(HasSubstr("zone")));
  EXPECT_THAT(w.sentence, Not(HasSubstr("short")));
  EXPECT_THAT(w.sentence, Not(HasSubstr("missed")));
}

// How full a ball was hit out of sight is worked out from what came of it, and not told (drawn 234: "nearly full" of a
// thin one).
TEST(Words, AHitOutOfSightHasNoFullness) {
  practice::Attempt a = attempt();
  ASSERT_TRUE(first_fullness(a, 0.02625));
  a.balls["white"].contacts.front().inferred = true;
  std::string why;
  EXPECT_FALSE(first_fullness(a, 0.02625, &why));
  EXPECT_EQ(why, "How full the green was hit: that was out of sight.");
}

// A pot that only the hit tells is told as one, and that nobody saw it.
TEST(Words, APotThatWasNotSeenIsSaidToBe) {
  practice::Attempt a = attempt();
  EXPECT_THAT(words_of(a, full_size()).cannot_tell, Not(testing::Contains(HasSubstr("How the green fell"))));
  Contact fall;
  fall.kind = ContactKind::pocket;
  fall.with = "baulk-left";
  fall.inferred = true;
  a.balls["green"].contacts.push_back(fall);
  EXPECT_THAT(words_of(a, full_size()).cannot_tell,
              testing::Contains("How the green fell: it was not seen on its way, but was hit straight at the green "
                                "pocket and lay nowhere afterwards."));
}

TEST(Words, AKnownPaceHasTheDecimalsThatItsUncertaintyLeaves) {
  practice::Strike s;
  s.speed = 3.274;
  EXPECT_EQ(pace_number(s), "3.27");
  s.u["speed"] = 0.02;
  EXPECT_EQ(pace_number(s), "3.27");
  s.u["speed"] = 0.11;
  EXPECT_EQ(pace_number(s), "3.3");
}

// The stop is laid out by hand: run along +x towards a zone's middle 10 cm further on and 4 cm to its right.
TEST(Words, ShortAndLeftOfTheZoneAlongTheLastRun) {
  practice::Setup setup = invented_setup();
  practice::Attempt a = attempt();
  BallPath& w = a.balls["white"];
  w.contacts.back().at = Vec2(-0.30, -1.0);
  w.rest = Place{Vec2(0.20, -1.0), Vec2(0.0005, 0.0005)};
  a.after["white"] = *w.rest;
  setup.goal->zone->centre = Vec2(0.30, -1.04);
  const auto stop = stop_beside(a, setup);
  ASSERT_TRUE(stop.has_value());
  EXPECT_NEAR(stop->along, -0.10, 1e-12);
  EXPECT_NEAR(stop->across, 0.04, 1e-12);
  WordsOptions o;
  o.setup = &setup;
  EXPECT_THAT(words_of(a, full_size(), o).sentence,
              HasSubstr("Stopped in the zone, 10 cm short of its middle, 4 cm left of the line."));
}

// Another route than the wanted one: short and long would be a confident wrong sentence.
TEST(Words, NoShortOrLongOnAnotherRoute) {
  practice::Setup setup = invented_setup();
  setup.goal->cushions = {"left"};
  WordsOptions o;
  o.setup = &setup;
  const std::string s = words_of(attempt(), full_size(), o).sentence;
  EXPECT_THAT(s, Not(HasSubstr("short")));
  EXPECT_THAT(s, Not(HasSubstr("long ")));
  EXPECT_THAT(s, HasSubstr("cm from its middle"));
}

TEST(Words, TooCloseToTheZonesEdgeIsNotCalled) {
  practice::Setup setup = invented_setup();
  practice::Attempt a = attempt();
  a.after["white"].at = *setup.goal->zone->centre + Vec2(0.2504, 0);
  a.after["white"].u = Vec2(0.0005, 0.0005);
  WordsOptions o;
  o.setup = &setup;
  const AttemptWords w = words_of(a, full_size(), o);
  EXPECT_THAT(w.sentence, HasSubstr("too close to call"));
  EXPECT_THAT(w.sentence, Not(HasSubstr("in the zone")));
  EXPECT_THAT(w.sentence, Not(HasSubstr("outside the zone")));
  ASSERT_EQ(w.cannot_tell.size(), 1U);
  EXPECT_THAT(w.cannot_tell[0], HasSubstr("0.4 mm from its edge"));
}

TEST(Words, ABallThatHangsInAPocketsJawsIsSaidTo) {
  practice::Attempt a = attempt();
  a.leave.reset();
  a.after["white"].at = {full_size().half_width() - 0.016, -0.04};
  EXPECT_THAT(words_of(a, full_size()).sentence, HasSubstr("Stopped in the jaws of the yellow-side middle."));
  a.after["white"].at = {full_size().half_width() - 0.024, -0.4};
  EXPECT_THAT(words_of(a, full_size()).sentence, HasSubstr("2 cm from the yellow-side cushion."));
}

TEST(Words, EndedByHandSaysWhatCannotBeTold) {
  const practice::Attempt a = invented::session(5).attempts[4];
  const AttemptWords w = words_of(a, full_size());
  EXPECT_THAT(w.sentence, Not(HasSubstr("Stopped")));
  EXPECT_THAT(w.cannot_tell, testing::Contains(HasSubstr("not seen any more before it rested")));
  EXPECT_THAT(w.cannot_tell, testing::Contains(HasSubstr("out of sight")));
}

// A session in which not every pot could be judged says of how many it tells; one whose goal asks for no pot is not
// "not judged"; a hit is the whole goal, whatever points are given for.
TEST(Words, WhatWasNotJudgedIsCountedApart) {
  practice::Session s = invented::session(4);
  for (practice::Attempt& a : s.attempts) a.score = practice::Score{1, 1, {{"pot", true, ""}, {"zone", false, ""}}};
  s.attempts[1].pot_made.reset();
  s.attempts[1].score.reset();
  s.attempts[1].not_judged = "what became of the green was not seen";
  const SessionWords w = words_of(s, full_size());
  EXPECT_EQ(w.verdict, "4 played, 2 of 3 pots in.");
  EXPECT_THAT(w.sentence, HasSubstr("1 not judged"));
  EXPECT_THAT(w.sentence, HasSubstr("0 of 3 met the whole goal"));
  for (practice::Attempt& a : s.attempts) a.pot_made.reset(), a.not_judged.clear();
  EXPECT_THAT(words_of(s, full_size()).sentence, Not(HasSubstr("not judged")));
}

TEST(Words, APaceThatIsNotToldHasItsReasonAndItsDecimals) {
  practice::Attempt a = attempt();
  a.strike = practice::Strike{0.52, 0, std::nullopt, std::nullopt, {{"speed", 0.04}}};
  a.strike->from = "whole motion";
  const auto told = words_of(a, full_size()).cannot_tell;
  EXPECT_THAT(told, testing::Contains(HasSubstr("0.52 m/s give or take 0.04, its motion")));
  a.strike->from = "first run";
  a.strike->u["speed"] = 0.3;
  EXPECT_THAT(words_of(a, full_size()).cannot_tell,
              testing::Contains(HasSubstr("0.5 m/s give or take 0.3, its first run")));
}

// Drawn 342 and 360: whites that were lost on their way "touched nothing more", though they did.
TEST(MissTable, WhatALostWhiteTouchedNextIsNotSaid) {
  practice::Attempt a = attempt();
  a.meant.emplace();
  a.meant->contacts = a.balls["white"].contacts;
  a.comparison.emplace();
  for (const Contact& c : a.meant->contacts) a.comparison->at_contacts.emplace_back(c.with, 0.05);
  Contact more = a.meant->contacts.back();
  more.with = "right";
  a.meant->contacts.push_back(more);
  EXPECT_THAT(parting_words(a), HasSubstr("then it touched nothing more where yellow-side cushion was meant"));
  a.balls["white"].told_until = 2.0;
  EXPECT_THAT(parting_words(a), Not(HasSubstr("then it touched")));
  a.balls["white"].told_until.reset();
  a.ended = practice::Ended::hand;
  EXPECT_THAT(parting_words(a), Not(HasSubstr("then it touched")));
}

TEST(Words, MissedWrongPocketAndInOff) {
  practice::Setup setup = invented_setup();
  WordsOptions o;
  o.setup = &setup;
  practice::Attempt a = invented::session(4).attempts[3];
  EXPECT_EQ(words_of(a, full_size(), o).verdict, "Green missed.");
  a.ended = practice::Ended::hand;  // it might still have rolled in
  EXPECT_EQ(words_of(a, full_size(), o).verdict, "Green not in so far.");
  a = attempt();
  a.potted[0].pocket = "middle-left";
  a.pot_made = false;
  EXPECT_EQ(words_of(a, full_size(), o).verdict, "Green in the wrong pocket.");
  a = attempt();
  a.in_off = practice::Potted{"white", "baulk-right", 5.0};
  a.after.erase("white");
  a.balls["white"].rest.reset();
  const AttemptWords w = words_of(a, full_size(), o);
  EXPECT_EQ(w.verdict, "Green in. In-off.");
  EXPECT_THAT(w.sentence, HasSubstr("In-off: white in the yellow pocket."));
  EXPECT_THAT(w.sentence, Not(HasSubstr("Stopped")));
}

TEST(Words, ASessionIsCountedAndACutSaid) {
  practice::Session s = invented::session(6);
  EXPECT_EQ(words_of(s, full_size()).verdict, "6 played, 5 in.");
  EXPECT_THAT(words_of(s, full_size()).sentence, HasSubstr("n 1 the white was not seen to stop"));
  s.complete = false;
  s.measured_until = 41.5;
  EXPECT_THAT(words_of(s, full_size()).sentence, HasSubstr("Measured up to 41.5 s only"));
  s.attempts.clear();
  EXPECT_EQ(words_of(s, full_size()).verdict, "No shot found.");
}

// An attempt of which hardly anything is known makes no claim and does not fall over.
TEST(Words, AnEmptyAttempt) {
  const AttemptWords w = words_of(practice::Attempt{}, full_size());
  EXPECT_EQ(w.sentence, "Nothing potted.");
  EXPECT_THAT(w.cannot_tell, testing::SizeIs(1));
}

TEST(TipWords, AnIntervalToOneSideNamesTheSideOnce) {
  practice::Strike s;
  s.height = 0.52;
  s.interval["height"] = {0.50, 0.54};
  s.right = -0.02;
  s.interval["right"] = {-0.06, 0.02};
  EXPECT_EQ(tip_words(s, "height", kBall, "above", "below"), "13.7 mm above (13.1 to 14.2)");
  EXPECT_EQ(tip_words(s, "right", kBall, "right", "left"), "0.5 mm left (1.6 mm left to 0.5 mm right)");
  s.height = -0.3;
  s.interval["height"] = {-0.34, -0.28};
  EXPECT_EQ(tip_words(s, "height", kBall, "above", "below"), "7.9 mm below (7.4 to 8.9)");
}

TEST(TipWords, ARaisedCueIsToldWhereItShows) {
  practice::Attempt a;
  a.strike.emplace();
  a.strike->from = "whole motion";
  EXPECT_EQ(raised_words(*a.strike), "");
  EXPECT_THAT(strike_line(a, kBall), Not(HasSubstr("raised")));
  a.strike->elevation = 0.17;
  a.strike->interval["elevation"] = {0.15, 0.2};
  EXPECT_THAT(strike_line(a, kBall), HasSubstr("; cue raised 10 degrees (9 to 11)."));
}

}  // namespace
}  // namespace baizetrace::report
