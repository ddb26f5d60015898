// What is said of many attempts, and what is not.
#include "report/session_words.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "support/invented_page.hpp"

namespace baizetrace::report {
namespace {

using testing::HasSubstr;
using testing::Not;

// The trade's sheet: "20 played, 13 in (65 %, 43-82), 9 in and on, 1 in-off. Half stopped within 34 cm of the mark."
practice::GroupSummary twenty() {
  practice::GroupSummary s;
  s.group = 1;
  s.played = s.judged = s.pots_of = 20;
  s.pots = 13;
  s.hits = 9;
  s.in_off = 1;
  s.pot_interval = practice::wilson(13, 20);
  s.boxes = practice::Boxes{9, 4, 3, 4};
  s.mark = Vec2(0, 0);
  s.rest = practice::Spread{};
  s.rest->n = 19;
  s.rest->median_from_mark = 0.34;
  s.along = {19, -0.22, 0.20};
  s.across = {19, 0.02, 0.10};
  s.white_placed = 0.002;
  return s;
}

TEST(SessionWords, AsTheTradeSaysIt) {
  const GroupWords w = group_words(twenty());
  EXPECT_EQ(w.verdict, "20 played, 13 in.");
  EXPECT_THAT(w.lead, HasSubstr("65 % (43-82), 9 in and on, 1 in-off."));
  EXPECT_THAT(w.lead, HasSubstr("Half stopped within 34 cm of the mark."));
  EXPECT_THAT(w.lead, HasSubstr("You run short, by 22 cm on average."));
  EXPECT_THAT(w.lead, HasSubstr("Mark: 2 mm."));
  EXPECT_EQ(w.advice, "Try it firmer.");
}

TEST(SessionWords, SaysNothingThatTheNumbersDoNotCarry) {
  practice::GroupSummary s = twenty();
  s.along = {4, -0.22, 0.10};  // too few
  EXPECT_THAT(group_words(s).lead, Not(HasSubstr("You run")));
  s.along = {19, -0.06, 0.30};  // not surely
  EXPECT_THAT(group_words(s).lead, Not(HasSubstr("You run")));
  EXPECT_EQ(group_words(s).advice, "");
  EXPECT_THAT(group_words(s).lead, Not(HasSubstr("good ones")));
  s.separation_tried = 3;
  EXPECT_THAT(group_words(s).lead, HasSubstr("Nothing that was measured tells your good ones from the others."));
  s.separates = practice::Separation{"pace", {9, 2.31, 0.05}, {11, 2.18, 0.06}, {2.2, 0.5}};
  EXPECT_THAT(group_words(s).lead, HasSubstr("Your good ones are firmer: 2.31 m/s against 2.18."));
}

// "You run short ... the pace is right": it is where the numbers show it. A shot off no cushion leaves none.
TEST(SessionWords, ThePaceIsRightOnlyWhereTheNumbersShowIt) {
  practice::GroupSummary s = twenty();
  s.white_placed = 0.001;
  s.across = {19, 0.21, 0.10};
  s.routes = {{{"left", "baulk"}, 19}};
  s.along = {19, 0.005, 0.02};
  EXPECT_EQ(group_words(s).advice, "The pace is right; the white leaves its last cushion too far left.");
  s.along = {19, -0.16, 0.10};
  EXPECT_EQ(group_words(s).advice, "The white leaves its last cushion too far left.");
  s.along = {19, 0.005, 0.20};  // may be 10 cm off
  s.routes = {{{}, 19}};
  EXPECT_EQ(group_words(s).advice, "The white runs too far left.");
  // Of five the mean is known far worse than two standard uncertainties say.
  s.along = {5, -0.22, 0.20};
  EXPECT_THAT(group_words(s).lead, Not(HasSubstr("You run")));
}

TEST(SessionPage, HoldsBoxesEllipseTableAndTellsHitsFromMissesWithoutColour) {
  const invented::Evening e = invented::evening(6);
  const std::string page = invented::page(e.session, 640, &e.setup);
  EXPECT_THAT(page, HasSubstr("class=\"boxes\""));
  EXPECT_THAT(page, HasSubstr("ellipses of 1 and 2"));
  EXPECT_THAT(page, HasSubstr("goal not met, broken"));
  EXPECT_THAT(page, HasSubstr("figure class=\"distance\""));
  EXPECT_THAT(page, HasSubstr("6 played, 5 in."));
}

TEST(SessionPage, TwoHundredScoredAttemptsStayBelowTheLimit) {
  const invented::Evening e = invented::evening(200);
  const std::string page = invented::page(e.session, 320, &e.setup);
  RecordProperty("bytes", std::to_string(page.size()));
  EXPECT_LT(page.size(), kPageBytes);
}

}  // namespace
}  // namespace baizetrace::report
