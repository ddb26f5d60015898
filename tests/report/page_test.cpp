#include "report/page.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <regex>

#include "report/html.hpp"
#include "report/speed.hpp"
#include "support/invented_page.hpp"

namespace baizetrace::report {
namespace {

using testing::HasSubstr;
using testing::Not;

// Published test vectors: RFC 4648, section 10.
TEST(Base64, VectorsOfRfc4648) {
  const auto of = [](const std::string& s) { return base64(std::vector<std::uint8_t>(s.begin(), s.end())); };
  EXPECT_EQ(of(""), "");
  EXPECT_EQ(of("f"), "Zg==");
  EXPECT_EQ(of("fo"), "Zm8=");
  EXPECT_EQ(of("foo"), "Zm9v");
  EXPECT_EQ(of("foob"), "Zm9vYg==");
  EXPECT_EQ(of("fooba"), "Zm9vYmE=");
  EXPECT_EQ(of("foobar"), "Zm9vYmFy");
}

// One straight run that slows evenly: the speed is known at any time.
TEST(Speed, OfAnEvenlySlowingRunFromPiecesAndFromRows) {
  BallPath p =
      invented::path_through("white", {{{0, 0}, ContactKind::ball, "", 2.0}, {{0, 2}, ContactKind::ball, "", 0}}, 1.0);
  const double lasts = p.pieces.back().to - 1.0;
  const auto expected = [&](double t) { return 2.0 * (1 - (t - 1.0) / lasts); };
  double worst = 0;
  const auto check = [&] {
    const auto points = speeds_along(p);
    EXPECT_GT(points.size(), 20U);
    for (const SpeedPoint& s : points) worst = std::max(worst, std::abs(s.speed - expected(s.time)));
  };
  check();
  p.pieces.clear();
  check();
  RecordProperty("worst_m_s", std::to_string(worst));
  EXPECT_LE(worst, 1e-9);
}

TEST(Speed, NeverTakenAcrossAContact) {
  BallPath p = invented::session(1).attempts[0].balls.at("white");
  p.pieces.clear();
  double highest_after = 0;
  const double hit = p.contacts[0].time;
  for (const SpeedPoint& s : speeds_along(p))
    if (s.time > hit + 1e-9) highest_after = std::max(highest_after, s.speed);
  EXPECT_LE(highest_after, p.contacts[0].speed_out + 1e-9);
}

TEST(Page, FetchesNothingAndForbidsIt) {
  const std::string page = invented::page(invented::session(2), 640);
  EXPECT_THAT(page, HasSubstr("default-src 'none'; img-src data:;"));
  EXPECT_THAT(page, Not(HasSubstr("unsafe-inline")));
  // Outside the chart library's own text no address is named but the SVG name space.
  const std::string own = page.substr(0, page.find("Chart.js v"));
  const std::regex address("(https?:)?//[a-z0-9.-]+\\.[a-z]{2,}");
  for (std::sregex_iterator it(own.begin(), own.end(), address), end; it != end; ++it)
    EXPECT_EQ(it->str(), "http://www.w3.org") << it->str();
  const std::regex source("(src|href)=\"([^\"]{0,12})");
  for (std::sregex_iterator it(own.begin(), own.end(), source), end; it != end; ++it) {
    const std::string to = (*it)[2];
    EXPECT_TRUE(to.starts_with("data:") || to.starts_with("#")) << to;
  }
  EXPECT_THAT(own, Not(HasSubstr(" style=")));
}

// Times begin anew in each recording of a session.
TEST(Page, APathThatNoRunFollowsHasNoTables) {
  practice::Session s = invented::session(1);
  EXPECT_THAT(invented::page(s, 640), HasSubstr("White: what it touched"));
  s.attempts[0].balls.at("white").rms = 0.091;
  const std::string page = invented::page(s, 640);
  EXPECT_THAT(page, Not(HasSubstr("White: what it touched")));
  EXPECT_THAT(page, HasSubstr("91 mm beside any run of a ball"));
}

TEST(Page, AWarningStandsOnlyByAttemptsOfItsOwnClip) {
  practice::Session s = invented::session(2);
  ASSERT_EQ(s.attempts[0].clip, 0);
  s.warnings = {{s.attempts[0].strike_time + 0.1, "something was told", 1}};
  const auto told = [&] { return invented::page(s, 640).find("s: something was told</li>\n</ul></div>"); };
  const std::size_t other = told();
  s.warnings[0].clip = 0;
  EXPECT_LT(told(), other);
  EXPECT_EQ(other, std::string::npos);
}

TEST(Page, EscapesEverythingThatComesFromFiles) {
  practice::Session s = invented::session(2);
  const std::string evil = "<img src=x onerror=alert(1)>\"'&";
  s.clip.file = evil;
  s.rig.file = evil;
  s.rig.table = evil;
  s.setup = {evil, evil};
  s.conditions[evil] = {1, 0.1, true};
  s.warnings.push_back({2.0, evil});
  s.refused.push_back({1, 2, evil});
  practice::Attempt& a = s.attempts[0];
  a.prediction_label = evil;
  a.before[evil] = a.before["blue"];
  a.potted.push_back({evil, evil, 1});
  a.in_off = practice::Potted{"white", evil, 1};
  a.gates[0].a = evil;
  a.nearest_pockets[0].pocket = evil;
  a.balls["white"].contacts[0].with = evil;
  a.balls[evil] = a.balls["green"];
  a.leave = practice::Leave{evil, evil, 0.5, 0.5, 0.4, true, evil};
  practice::Score score;
  score.parts.push_back({evil, false, evil});
  a.score = score;
  const std::string page = invented::page(s, 640);
  EXPECT_THAT(page, Not(HasSubstr("<img src=x")));
  EXPECT_THAT(page, HasSubstr("&lt;img src=x onerror=alert(1)&gt;&quot;&#39;&amp;"));
}

TEST(Page, SaysWhatIsAssumedRefusedAndWarned) {
  const std::string page = invented::page(invented::session(6), 640);
  EXPECT_THAT(page, HasSubstr("<i>assumed</i>"));
  EXPECT_THAT(page, HasSubstr("measured in this recording"));
  EXPECT_THAT(page, HasSubstr("a hand covered the brown for 1.1 s"));
  EXPECT_THAT(page, HasSubstr("somebody touched the mount &lt;here&gt; &amp; left it"));
  EXPECT_THAT(page, HasSubstr("Where the white would have stopped"));
  EXPECT_THAT(page, HasSubstr("0.31 pixels (0.7 mm) RMS"));
  practice::Session cut = invented::session(1);
  cut.complete = false;
  EXPECT_THAT(invented::page(cut, 640), HasSubstr("it was stopped there, or the recording is cut short or damaged"));
}

TEST(Page, IsTheSameEveryTime) {
  EXPECT_EQ(invented::page(invented::session(2), 640), invented::page(invented::session(2), 640));
}

TEST(Page, TwoHundredAttemptsStayBelowTheLimit) {
  const std::string page = invented::page(invented::session(200), 640);
  RecordProperty("bytes", std::to_string(page.size()));
  EXPECT_LT(page.size(), kPageBytes);
  EXPECT_GT(page.size(), kPageBytes / 4);
  std::size_t pictures = 0;
  for (std::size_t at = page.find("data:image/jpeg"); at != std::string::npos;
       at = page.find("data:image/jpeg", at + 1))
    ++pictures;
  EXPECT_EQ(pictures, 200U);
}

TEST(Page, NoAttemptAtAll) {
  practice::Session s = invented::session(1);
  s.attempts.clear();
  EXPECT_THAT(invented::page(s), HasSubstr("No shot found."));
}

}  // namespace
}  // namespace baizetrace::report
