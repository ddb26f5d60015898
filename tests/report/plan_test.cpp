#include "report/plan.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>

#include "base/files.hpp"
#include "report/attempt_plan.hpp"
#include "support/invented_session.hpp"

namespace baizetrace::report {
namespace {

using testing::HasSubstr;
using testing::Not;

table::Table full_size() {
  set_data_folder(BAIZETRACE_SOURCE);
  const auto spec = table::read_spec("full-size");
  EXPECT_TRUE(spec.has_value()) << (spec ? "" : spec.error().what);
  return table::Table(*spec);
}

Plan invented_plan() {
  const practice::Session s = invented::session(1);
  const practice::Attempt& a = s.attempts.front();
  Plan plan;
  plan.title = "Invented: attempt 1";
  plan.table = full_size();
  for (const auto& [name, place] : a.before) plan.balls.push_back({name, place.at});
  const BallPath& w = a.balls.at("white");
  plan.paths.push_back({PathStyle::measured, "white, measured", "white", w.rows, w.contacts, w.rest});
  plan.paths.push_back({PathStyle::predicted, "white, predicted (cloth assumed)", "white", a.prediction->path,
                        a.prediction->contacts, Place{*a.prediction->rest, Vec2::Zero()}});
  plan.zone = PlanZone{"zone: 25 cm about the mark", {{{0.30, -1.35}, 0.25}}, {}};
  plan.gates.push_back(
      {{0.0005, -1.046}, {0.292, -1.0475}, Vec2(0.14, -1.0468), "gate brown - yellow spot, 79 mm to spare"});
  return plan;
}

// Writes a drawing where a person can look at it and returns the file's name.
std::string keep(const std::string& name, const std::string& text) {
  const std::filesystem::path folder = std::filesystem::path(testing::TempDir()) / "baizetrace-report";
  EXPECT_TRUE(make_folder(folder).has_value());
  EXPECT_TRUE(write_atomically(folder / name, text).has_value());
  return (folder / name).string();
}

bool have(const std::string& program) {
  return std::system(("command -v " + program + " > /dev/null 2>&1").c_str()) == 0;
}

// An SVG reader that is not ours accepts the drawing (XML 1.0, W3C; librsvg, from Debian's librsvg2-bin).
void expect_rsvg_reads(const std::string& file) {
  if (!have("rsvg-convert")) GTEST_SKIP() << "rsvg-convert (Debian package librsvg2-bin) is not installed";
  const std::string png = file + ".png";
  ASSERT_EQ(std::system(("rsvg-convert -w 780 -o '" + png + "' '" + file + "'").c_str()), 0);
  EXPECT_GT(std::filesystem::file_size(png), 5000U);
}

TEST(Plan, IsReadByAnotherReaderPortraitAndLandscape) {
  Plan plan = invented_plan();
  expect_rsvg_reads(keep("plan-portrait.svg", plan_svg(plan)));
  plan.landscape = true;
  expect_rsvg_reads(keep("plan-landscape.svg", plan_svg(plan)));
}

TEST(Plan, ShowsSeveralWhatIfsEachWithALetter) {
  Plan plan = invented_plan();
  plan.paths.erase(plan.paths.begin());
  for (int k = 1; k <= 3; ++k) {
    PlanPath p = plan.paths.front();
    p.style = PathStyle::what_if;
    p.words = "what if " + std::to_string(k);
    for (PathRow& r : p.rows) r.at += Vec2(0.03 * k, 0.02 * k) * (r.time - p.rows.front().time) / 3;
    p.rest->at = p.rows.back().at;
    plan.paths.push_back(p);
  }
  const std::string svg = plan_svg(plan);
  expect_rsvg_reads(keep("plan-what-if.svg", svg));
  EXPECT_THAT(svg, HasSubstr("A: what if 1"));
  EXPECT_THAT(svg, HasSubstr("C: what if 3"));
}

// Law: what comes from files cannot break out of the text it stands in.
TEST(Plan, EscapesEveryTextAndSurvivesBrokenUtf8) {
  Plan plan = invented_plan();
  plan.title = "<script>alert('1')</script> & \"q\" \x01 \xff\xfe";
  plan.paths[0].words = "]]><x/>";
  plan.zone->words = "a < b";
  plan.gates[0].words = "\" onload=\"x";
  plan.balls[0].name = "<b>";
  plan.paths[0].contacts[0].with = "<i>&";
  const std::string svg = plan_svg(plan);
  EXPECT_THAT(svg, Not(HasSubstr("<script")));
  EXPECT_THAT(svg, Not(HasSubstr("<x/>")));
  EXPECT_THAT(svg, Not(HasSubstr("<b>")));
  EXPECT_THAT(svg, Not(HasSubstr("<i>")));
  EXPECT_THAT(svg, HasSubstr("&lt;script&gt;alert(&#39;1&#39;)"));
  expect_rsvg_reads(keep("plan-hostile.svg", svg));
}

TEST(Plan, EscapeKeepsLettersAndReplacesWhatIsNoText) {
  EXPECT_EQ(escape_xml("caf\xC3\xA9 <&>\"'"), "caf\xC3\xA9 &lt;&amp;&gt;&quot;&#39;");
  EXPECT_EQ(escape_xml(std::string_view("a\0b\n", 4)), "a b ");
  EXPECT_EQ(escape_xml("\xC3"), "\xEF\xBF\xBD");
  EXPECT_EQ(escape_xml("\xED\xA0\x80"), "\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD");  // a lone surrogate
}

// Law: measured is unbroken, predicted is dashed: told apart without colour.
TEST(Plan, MeasuredAndPredictedAreToldApartWithoutColour) {
  const std::string svg = plan_svg(invented_plan());
  const auto line_with = [&](const std::string& name) {
    const auto at = svg.find("<polyline class=\"" + name + "\"");
    EXPECT_NE(at, std::string::npos) << name;
    return svg.substr(at, svg.find("/>", at) - at);
  };
  EXPECT_THAT(line_with("bz-real"), Not(HasSubstr("dasharray")));
  EXPECT_THAT(line_with("bz-guess"), HasSubstr("dasharray"));
}

TEST(Plan, NamesContactsAndRestInWords) {
  const std::string svg = plan_svg(invented_plan());
  EXPECT_THAT(svg, HasSubstr("1\u00A0green, 2\u00A0green-side cushion, 3\u00A0baulk cushion"));
  EXPECT_THAT(svg, HasSubstr("good to 1.2 mm (2 standard"));
  EXPECT_THAT(svg, HasSubstr("50 cm"));
}

TEST(Plan, APieceOfAPageBringsNoStyleOfItsOwn) {
  Plan plan = invented_plan();
  plan.standalone = false;
  const std::string svg = plan_svg(plan);
  EXPECT_THAT(svg, Not(HasSubstr("<style")));
  EXPECT_THAT(svg, Not(HasSubstr("style=")));
  EXPECT_THAT(svg, Not(HasSubstr("<?xml")));
}

// Law: no dropped row is further than the tolerance from the thinned line; a straight line keeps two.
TEST(Plan, ThinnedLineStaysWithinItsTolerance) {
  const practice::Session s = invented::session(1);
  const std::vector<PathRow>& rows = s.attempts[0].balls.at("white").rows;
  constexpr double kTolerance = 0.001;
  const std::vector<Vec2> thin = thin_line(rows, kTolerance);
  EXPECT_LT(thin.size(), 12U);
  EXPECT_GE(thin.size(), 5U);
  double worst = 0;
  for (const PathRow& r : rows) {
    double nearest = 1e9;
    for (std::size_t k = 0; k + 1 < thin.size(); ++k) {
      const Vec2 d = thin[k + 1] - thin[k];
      const double f = d.squaredNorm() > 0 ? std::clamp((r.at - thin[k]).dot(d) / d.squaredNorm(), 0.0, 1.0) : 0.0;
      nearest = std::min(nearest, (r.at - thin[k] - f * d).norm());
    }
    worst = std::max(worst, nearest);
  }
  RecordProperty("worst_mm", std::to_string(1000 * worst));
  EXPECT_LE(worst, kTolerance + 1e-12);
}

// There and back on one line: the far end must stay.
TEST(Plan, ThinnedLineKeepsAPathThatComesBackOnItself) {
  const std::vector<PathRow> rows{{0, {0, 0}}, {1, {0, 1}}, {2, {0, 2}}, {3, {0, 1}}, {4, {0, 0.5}}};
  const std::vector<Vec2> thin = thin_line(rows, 0.001);
  ASSERT_EQ(thin.size(), 3U);
  EXPECT_EQ(thin[1], Vec2(0, 2));
}

// Hits and misses of a session are told apart without colour: a miss is broken and ends in a cross.
TEST(Plan, ASessionsMissesAreToldApartWithoutColour) {
  const practice::Session s = invented::session(6);
  Plan plan = session_plan(s, full_size(), nullptr);
  const std::string svg = plan_svg(plan);
  expect_rsvg_reads(keep("plan-session.svg", svg));
  int unbroken = 0, broken = 0;
  for (std::size_t at = svg.find("<polyline class=\"bz-real\""); at != std::string::npos;
       at = svg.find("<polyline class=\"bz-real\"", at + 1))
    ++(svg.substr(at, svg.find("/>", at) - at).find("dasharray") == std::string::npos ? unbroken : broken);
  EXPECT_EQ(unbroken, 5);
  EXPECT_EQ(broken, 1);
  EXPECT_THAT(svg, HasSubstr("goal not met, broken, ends in a"));
}

}  // namespace
}  // namespace baizetrace::report
