// Captions and chapters. Form: WebVTT, W3C Candidate Recommendation (https://www.w3.org/TR/webvtt1/): a file begins
// with "WEBVTT"; a cue block is an identifier line, a timings line "hh:mm:ss.ttt --> hh:mm:ss.ttt", text without "-->"
// and without blank lines; "&" and "<" are written as character references (section 4.1).
#include "report/captions.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <regex>
#include <sstream>

#include "base/files.hpp"
#include "support/invented_session.hpp"

namespace baizetrace::report {
namespace {
using testing::HasSubstr;
using testing::Not;

table::Table full_size() {
  set_data_folder(BAIZETRACE_SOURCE);
  return table::Table(*table::read_spec("full-size"));
}

std::vector<Cue> of(const practice::Attempt& a, double shift = 0) {
  return captions(a, full_size(), {}, {a.strike_time - 2, *a.rest_time + 1, shift});
}

std::string all_text(const std::vector<Cue>& cues) {
  std::string s;
  for (const Cue& c : cues) s += c.text + "\n";
  return s;
}

TEST(Captions, TellWhatHappenedInOrder) {
  const practice::Session s = invented::session(1);
  const practice::Attempt& a = s.attempts.front();
  const auto cues = of(a);
  ASSERT_GE(cues.size(), 4u);
  EXPECT_EQ(cues.front().text, "Attempt 1");
  EXPECT_NEAR(cues[1].from, 2.0, 1e-9);  // the strike
  EXPECT_THAT(cues[1].text, HasSubstr("Struck at firm pace, 3.3 m/s"));
  EXPECT_THAT(all_text(cues), HasSubstr("green in the green pocket"));
  EXPECT_THAT(all_text(cues), testing::ContainsRegex("[Gg]reen-side cushion"));
  EXPECT_THAT(cues.back().text, HasSubstr("Stopped"));
  double last = -1;
  for (const Cue& c : cues) {
    EXPECT_GT(c.from, last);
    EXPECT_GT(c.to, c.from);
    last = c.from;
  }
  for (std::size_t k = 0; k + 1 < cues.size(); ++k) EXPECT_LE(cues[k].to, cues[k + 1].from + 1e-9);
  // Held still for a while first: everything comes so much later.
  EXPECT_NEAR(of(a, 2.5)[1].from, 4.5, 1e-9);
}

TEST(Captions, ClaimNothingThatTheSessionDoesNotHold) {
  practice::Session s = invented::session(1);
  practice::Attempt a = s.attempts.front();
  a.strike->u["speed"] = 0.5 * a.strike->speed;
  EXPECT_THAT(all_text(of(a)), Not(HasSubstr("m/s"))) << "a pace that is not known is not said";
  a.strike.reset();
  a.potted.clear();
  a.pot_made.reset();
  a.gates.clear();
  const std::string text = all_text(of(a));
  EXPECT_THAT(text, Not(HasSubstr("pace")));
  EXPECT_THAT(text, Not(HasSubstr(" in the green pocket")));
  EXPECT_THAT(text, Not(HasSubstr("between")));
  EXPECT_THAT(text, Not(HasSubstr(" of 2")));
  a.score = practice::Score{1, 2, {}};
  EXPECT_THAT(all_text(of(a)), HasSubstr("1 of 2."));
}

TEST(Captions, TheFileIsWebVtt) {
  const auto cues = of(invented::session(1).attempts.front());
  std::istringstream lines(webvtt(cues));
  std::string line;
  std::getline(lines, line);
  EXPECT_EQ(line, "WEBVTT");
  const std::regex timing(R"(\d{2}:[0-5]\d:[0-5]\d\.\d{3} --> \d{2}:[0-5]\d:[0-5]\d\.\d{3})");
  std::size_t blocks = 0;
  while (std::getline(lines, line)) {
    ASSERT_EQ(line, "");
    ASSERT_TRUE(std::getline(lines, line));
    EXPECT_EQ(line, std::to_string(++blocks));
    ASSERT_TRUE(std::getline(lines, line));
    EXPECT_TRUE(std::regex_match(line, timing)) << line;
    ASSERT_TRUE(std::getline(lines, line));
    EXPECT_NE(line, "");
    EXPECT_THAT(line, Not(HasSubstr("-->")));
  }
  EXPECT_EQ(blocks, cues.size());
}

TEST(Captions, TextIsEscapedAndHoursAreWritten) {
  const std::string text = webvtt({{3661.25, 3662, "a < b & c --> d\n\ne"}, {5, 5, "never shown"}, {1, 2, ""}});
  EXPECT_THAT(text, HasSubstr("01:01:01.250 --> 01:01:02.000\na &lt; b &amp; c --&gt; d  e\n"));
  EXPECT_THAT(text, Not(HasSubstr("never")));
}

TEST(Chapters, BeginAtZeroAndRunOnOverClips) {
  practice::Session s = invented::session(3);
  s.more_clips.push_back({"second.mp4", 1920, 1080, 100, 60});
  s.attempts[2].clip = 1;
  s.attempts[2].strike_time = 30.4;
  const auto list = chapters(s, full_size(), {}, 2);
  const std::string text = chapter_list(list);
  // The first strike is at 1.95 s, so its chapter is the first; clip 2 begins at 36 s.
  EXPECT_THAT(text, testing::StartsWith("00:00 Attempt 1: "));
  EXPECT_THAT(text, HasSubstr("\n00:11 Attempt 2: "));
  EXPECT_THAT(text, HasSubstr("\n01:04 Attempt 3: "));
  s.attempts[0].strike_time = 9;
  EXPECT_THAT(chapter_list(chapters(s, full_size(), {}, 2)), testing::StartsWith("00:00 Start\n00:07 Attempt 1: "));
  EXPECT_EQ(chapter_list({{0, "Start"}, {3725, "Late"}}), "00:00 Start\n1:02:05 Late\n");
  s.attempts.clear();
  EXPECT_EQ(chapter_list(chapters(s, full_size(), {}, 2)), "00:00 Start\n");
}

}  // namespace
}  // namespace baizetrace::report
