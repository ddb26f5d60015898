// The card's distances against the rule book, and the page as other readers see it.
#include "report/card.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>

#include "base/files.hpp"
#include "report/marks.hpp"
#include "report/setup_words.hpp"

namespace baizetrace::report {
namespace {
using testing::ElementsAre;
using testing::HasSubstr;
using testing::Not;
namespace fs = std::filesystem;

struct CardTest : testing::Test {
  CardTest() { set_data_folder(BAIZETRACE_SOURCE); }
  static practice::Setup read(const std::string& name) {
    auto s = practice::read_setup(std::string(BAIZETRACE_SOURCE) + "/samples/" + name + ".setup.toml");
    EXPECT_TRUE(s.has_value()) << (s ? "" : s.error().what);
    return *s;
  }
  static table::Table table_for(const practice::Setup& setup) { return table::Table(*table::read_spec(setup.table)); }
  static table::BallSet set_for(const practice::Setup& setup) {
    return *table::read_ball_set(table::read_spec(setup.table)->balls);
  }
  static std::string card(const practice::Setup& setup, Pen::Page kind) {
    const table::Table table = table_for(setup);
    const table::BallSet set = set_for(setup);
    return setup_card({setup, table, set, motion::Conditions{}}, kind);
  }
};

const MarkDistances& of(const std::vector<MarkDistances>& marks, const std::string& ball) {
  for (const MarkDistances& m : marks)
    if (m.ball == ball) return m;
  ADD_FAILURE() << "no mark for " << ball;
  return marks.front();
}

// Official rules of snooker (WPBSA / World Snooker), section 1: playing area 3569 x 1778 mm, baulk line 737 mm from
// the bottom cushion's face, D of 292 mm radius, black spot 324 mm from the top cushion's face, centre spot midway
// between the cushion faces, pyramid spot midway between centre spot and top face. DESIGN quotes the same numbers.
TEST_F(CardTest, SpotsLieWhereTheRuleBookHasThem) {
  const auto setup = read("thin-safety");  // all six colours on their spots
  const auto marks = mark_distances(setup, table_for(setup), set_for(setup));
  struct Rule {
    const char* ball;
    const char* end;
    double from_side, from_end;  // mm
  };
  const Rule rules[] = {{"yellow", "baulk", 1778.0 / 2 - 292, 737}, {"green", "baulk", 1778.0 / 2 - 292, 737},
                        {"brown", "baulk", 1778.0 / 2, 737},        {"blue", "top", 1778.0 / 2, 3569.0 / 2},
                        {"pink", "top", 1778.0 / 2, 3569.0 / 4},    {"black", "top", 1778.0 / 2, 324}};
  for (const Rule& r : rules) {
    const MarkDistances& m = of(marks, r.ball);
    EXPECT_NEAR(1000 * m.from_side, r.from_side, 1e-6) << r.ball;
    EXPECT_NEAR(1000 * m.from_end, r.from_end, 1e-6) << r.ball;
    EXPECT_EQ(m.end, r.end) << r.ball;
    EXPECT_EQ(m.spot, r.ball);
    EXPECT_EQ(m.from_spot, 0) << r.ball;
    EXPECT_EQ(spot_words(m).first, "on its spot");
  }
  EXPECT_EQ(of(marks, "yellow").side, "right");
  EXPECT_EQ(of(marks, "green").side, "left");
}

// The white of the thin safety, by hand from the rule book's numbers: (100, -1150) mm from the table's middle.
TEST_F(CardTest, AMarkByHandFromTheRuleBook) {
  const auto setup = read("thin-safety");
  const auto marks = mark_distances(setup, table_for(setup), set_for(setup));
  const MarkDistances& white = of(marks, "white");
  EXPECT_EQ(white.side, "right");
  EXPECT_NEAR(white.from_side, 0.889 - 0.100, 1e-12);
  EXPECT_EQ(white.end, "baulk");
  EXPECT_NEAR(white.from_end, 1.7845 - 1.150, 1e-12);
  // The brown spot is 737 mm from the baulk face: 102.5 mm up the table from the mark and 100 mm to the side.
  EXPECT_EQ(white.spot, "brown");
  const double off = std::hypot(100.0, 737 - 634.5);
  EXPECT_NEAR(1000 * white.from_spot, off, 1e-6);
  EXPECT_NEAR(white.ball_widths, off / 52.5, 1e-9);  // rules: the ball is 52.5 mm
  const auto [nearest, ways] = spot_words(white);
  EXPECT_EQ(nearest, "brown spot, 143 mm (2.7 balls)");
  EXPECT_EQ(ways, "102.5 mm towards baulk, 100 mm to the yellow side");
}

// Law: the two distances and their cushions give the mark back, for every sample.
TEST_F(CardTest, DistancesGiveEveryMarkBack) {
  int seen = 0;
  for (const auto& e : fs::directory_iterator(std::string(BAIZETRACE_SOURCE) + "/samples")) {
    const std::string file = e.path().filename().string();
    if (!file.ends_with(".setup.toml")) continue;
    const auto setup = read(file.substr(0, file.size() - 11));
    const table::Table table = table_for(setup);
    for (const MarkDistances& m : mark_distances(setup, table, set_for(setup))) {
      const double x = (table.half_width() - m.from_side) * (m.side == "right" ? 1 : -1);
      const double y = (table.half_length() - m.from_end) * (m.end == "top" ? 1 : -1);
      EXPECT_NEAR(x, m.at.x(), 1e-12) << file << " " << m.ball;
      EXPECT_NEAR(y, m.at.y(), 1e-12) << file << " " << m.ball;
      EXPECT_LE(m.from_side, table.half_width());
      for (const auto& [name, at] : table.spots()) EXPECT_GE((m.at - at).norm(), m.from_spot - 1e-12);
      ++seen;
    }
  }
  EXPECT_GT(seen, 30);
}

TEST_F(CardTest, SaysWhatTouches) {
  const auto setup = read("cannon-to-loosen-three-reds");
  const auto marks = mark_distances(setup, table_for(setup), set_for(setup));
  EXPECT_THAT(of(marks, "red-1").touching, ElementsAre("red-2", "red-3"));
  EXPECT_TRUE(of(marks, "white").touching.empty());
}

TEST_F(CardTest, ShotAndGoalInTheTradesWords) {
  const auto middle = read("middle-red-off-the-side");
  const auto table = table_for(middle);
  EXPECT_THAT(shot_words(middle, {0.02625, 1.1, radians(30)}),
              ElementsAre("Pot the red 1 into the yellow-side middle: half-ball (cut 30 degrees).",
                          "Soft pace, 1.45 m/s, 1.1 lengths.",
                          "Tip 5 mm (0.6 tips) above centre and 5 mm (0.6 tips) to the left."));
  EXPECT_THAT(goal_words(middle, table),
              ElementsAre("White takes the yellow-side cushion.",
                          "White stops within 20 cm of a place 453 mm from the yellow-side cushion, 973.5 mm from the "
                          "top cushion.",
                          "That leaves the black for the black pocket on the green side, at a cut of 10 to 50 degrees, "
                          "from within 100 cm."));
  EXPECT_THAT(shot_words(read("thin-safety"))[0],
              "Play onto the red 1, thin: 15 % of it covered, on its left side as you see it.");
  EXPECT_THAT(goal_words(read("thin-safety"), table)[1], "White touches no other ball.");
  EXPECT_THAT(shot_words(read("up-and-down-the-spots"))[0], "Play the white straight up the table.");
  EXPECT_THAT(shot_words(read("round-the-angles"))[0],
              "Play the white 39.0 degrees to the right of straight up the table.");
  EXPECT_THAT(goal_words(read("last-black-for-the-yellow"), table)[1],
              "White passes between the blue and the yellow-side middle.");
}

TEST_F(CardTest, PageIsA4AndAnotherReaderReadsIt) {
  const auto setup = read("middle-red-off-the-side");
  const fs::path folder = fs::path(testing::TempDir()) / "baizetrace-card";
  ASSERT_TRUE(make_folder(folder).has_value());
  const std::string pdf = card(setup, Pen::Page::pdf), svg = card(setup, Pen::Page::svg);
  EXPECT_TRUE(pdf.starts_with("%PDF-"));
  EXPECT_THAT(pdf, Not(HasSubstr("CreationDate")));
  EXPECT_EQ(pdf, card(setup, Pen::Page::pdf)) << "the same setup gives the same page";
  ASSERT_TRUE(write_atomically(folder / "card.svg", svg).has_value());
  // 210 x 297 mm (ISO 216) in points.
  EXPECT_THAT(svg, HasSubstr("width=\"595.2"));
  EXPECT_THAT(svg, HasSubstr("height=\"841.8"));
  if (std::system("command -v rsvg-convert > /dev/null 2>&1") != 0)
    GTEST_SKIP() << "rsvg-convert (Debian package librsvg2-bin) is not installed";
  const std::string png = (folder / "card.png").string();
  ASSERT_EQ(std::system(("rsvg-convert -w 800 -o '" + png + "' '" + (folder / "card.svg").string() + "'").c_str()), 0);
  EXPECT_GT(fs::file_size(png), 20000U);
}

// A full frame of snooker: 22 balls still fit the one page.
TEST_F(CardTest, TwentyTwoBallsFitThePage) {
  practice::Setup setup;
  setup.title = "Frame";
  for (const char* colour : {"yellow", "green", "brown", "blue", "pink", "black"})
    setup.balls.push_back({colour, table_for(setup).spots().at(colour), true});
  setup.balls.push_back({"white", {0.1, -1.2}, false});
  const Vec2 apex(0, table_for(setup).spots().at("pink").y() + 0.055);
  int number = 0;
  for (int row = 0; row < 5; ++row)
    for (int k = 0; k <= row; ++k)
      setup.balls.push_back(
          {"red-" + std::to_string(++number), apex + Vec2(0.0527 * (k - 0.5 * row), 0.0457 * row), false});
  ASSERT_EQ(setup.balls.size(), 22U);
  const fs::path folder = fs::path(testing::TempDir()) / "baizetrace-card";
  ASSERT_TRUE(make_folder(folder).has_value());
  ASSERT_TRUE(write_atomically(folder / "frame.svg", card(setup, Pen::Page::svg)).has_value());
}

}  // namespace
}  // namespace baizetrace::report
