#include "table/table.hpp"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "base/files.hpp"
#include "support/program.hpp"
#include "table/ball_set.hpp"

namespace baizetrace::table {
namespace {

Table full_size() {
  set_data_folder(BAIZETRACE_SOURCE);
  return Table(*read_spec("full-size"));
}

// Official rules of snooker: playing area 3.569 x 1.778 m, baulk line 737 mm from the baulk cushion's face, D of
// 292 mm, black spot 324 mm from the top cushion's face, pink midway between blue and the top cushion's face.
TEST(FullSize, IsAsTheRulesSay) {
  const Table t = full_size();
  EXPECT_NEAR(2 * t.half_width(), 1.778, 1e-12);
  EXPECT_NEAR(2 * t.half_length(), 3.569, 1e-12);
  EXPECT_NEAR(t.baulk_line_y() + t.half_length(), 0.737, 1e-12);
  EXPECT_NEAR(*t.spec().d_radius, 0.292, 1e-12);
  EXPECT_NEAR(t.half_length() - t.spots().at("black").y(), 0.324, 1e-12);
  EXPECT_NEAR(t.spots().at("pink").y(), t.half_length() / 2, 1e-12);
  EXPECT_NEAR(t.spots().at("yellow").x(), 0.292, 1e-12);
  EXPECT_NEAR(t.spots().at("green").x(), -0.292, 1e-12);
  EXPECT_NEAR(t.spots().at("blue").norm(), 0, 1e-12);
}

// Nose height 7/5 R (Mathavan, Jackson & Parkin 2010): a touching ball's centre is 0.917 R from the nose in plan.
TEST(FullSize, ATouchingBallIsNearerThanItsRadius) {
  EXPECT_NEAR(full_size().touch_distance(0.02625) / 0.02625, std::sqrt(1 - 0.16), 1e-9);
}

// Nine-foot pool: playing area 2.54 x 1.27 m (governing body's equipment specification).
TEST(Pool, IsAsTheSpecificationSays) {
  set_data_folder(BAIZETRACE_SOURCE);
  const Table t(*read_spec("pool-9ft"));
  EXPECT_NEAR(2 * t.half_width(), 1.27, 1e-12);
  EXPECT_NEAR(2 * t.half_length(), 2.54, 1e-12);
  const double share = t.nose_height() / (2 * read_ball_set("pool")->kinds[0].radius);
  EXPECT_GE(share, 0.625);
  EXPECT_LE(share, 0.645);
}

TEST(Jaws, BeginTangentToTheirNoseAndCurveAway) {
  const Table t = full_size();
  for (const Jaw& j : t.jaws()) {
    EXPECT_NEAR((j.start - j.centre).norm(), j.radius, 1e-12);
    bool meets = false;
    for (const Nose& n : t.noses())
      if (n.cushion == j.cushion && ((n.a - j.start).norm() < 1e-9 || (n.b - j.start).norm() < 1e-9)) {
        meets = true;
        EXPECT_NEAR((j.start - j.centre).normalized().dot(n.inward), 1, 1e-9);  // tangent
      }
    EXPECT_TRUE(meets) << j.pocket << " " << j.cushion;
  }
  // Widths between the jaws by this project's defaults; ranges: common practice, no source (TRADE: 83-92, 100-112 mm;
  // the drawn table's middle is 97).
  EXPECT_NEAR(t.pocket("top-left")->mouth(), 0.087, 2e-4);
  EXPECT_NEAR(t.pocket("middle-right")->mouth(), 0.097, 2e-4);
}

// The drawn clips' own table (its truth file, written by the program that drew it): this project's defaults are the
// same.
TEST(FullSize, PocketsAreThoseOfTheDrawnTable) {
  const auto truth = nlohmann::json::parse(
      std::ifstream(std::filesystem::path(BAIZETRACE_SOURCE) / "samples" / "green-for-brown.truth.json"), nullptr,
      false);
  ASSERT_FALSE(truth.is_discarded());
  const auto& drawn = truth.at("table");
  const Table t = full_size();
  constexpr double kPrinted = 1e-6;  // m: the truth's last decimal
  constexpr double kMouth = 2e-4;    // m: the truth gives mouths to the millimetre
  EXPECT_NEAR(t.nose_height(), drawn.at("nose_height_m").get<double>(), kPrinted);
  EXPECT_NEAR(t.touch_distance(0.02625), drawn.at("centre_to_nose_at_contact_m").get<double>(), kPrinted);
  ASSERT_EQ(drawn.at("pockets").size(), t.pockets().size());
  for (const auto& p : drawn.at("pockets")) {
    const Pocket* ours = t.pocket(p.at("name").get<std::string>());
    ASSERT_NE(ours, nullptr) << p.at("name");
    EXPECT_NEAR(ours->fall_centre.x(), p.at("fall_circle")[0].get<double>(), kPrinted);
    EXPECT_NEAR(ours->fall_centre.y(), p.at("fall_circle")[1].get<double>(), kPrinted);
    EXPECT_NEAR(ours->fall_radius, p.at("fall_circle")[2].get<double>(), kPrinted);
    EXPECT_NEAR(ours->mouth(), p.at("mouth_m").get<double>(), kMouth);
  }
}

TEST(Resized, JawsAndSpotsFollowTheNoses) {
  const Table t = full_size().resized(0.8865, 1.788);
  EXPECT_NEAR(t.spots().at("black").y(), 1.788 - 0.324, 1e-12);
  EXPECT_NEAR(t.pocket("top-right")->fall_centre.x() - 0.8865, 0.026159, 1e-9);
  EXPECT_NEAR(t.pocket("middle-left")->mouth(), full_size().pocket("middle-left")->mouth(), 1e-12);
}

TEST(Files, EveryTableAndBallSetReads) {
  set_data_folder(BAIZETRACE_SOURCE);
  int read = 0;
  const auto folder = std::filesystem::path(BAIZETRACE_SOURCE) / "calibration";
  for (const auto& e : std::filesystem::directory_iterator(folder / "tables")) {
    const auto spec = read_spec(e.path().string());
    EXPECT_TRUE(spec) << spec.error().what;
    if (spec) {
      EXPECT_TRUE(read_ball_set(spec->balls)) << e.path();
    }
    ++read;
  }
  for (const auto& e : std::filesystem::directory_iterator(folder / "balls"))
    EXPECT_TRUE(read_ball_set(e.path().string())), ++read;
  EXPECT_GE(read, 4);
  const auto none = read_spec("full-sise");
  ASSERT_FALSE(none);
  EXPECT_NE(none.error().what.find("full-size"), std::string::npos);
}

TEST(Resized, JawsKeepTheirShape) {
  const Table nominal = full_size();
  const Table t = nominal.resized(0.8825, 1.778);
  ASSERT_EQ(t.jaws().size(), nominal.jaws().size());
  for (std::size_t i = 0; i < t.jaws().size(); ++i) {
    const Jaw &a = t.jaws()[i], &b = nominal.jaws()[i];
    EXPECT_EQ(a.radius, b.radius);
    EXPECT_EQ(a.half_angle, b.half_angle);
    EXPECT_LT(((a.start - a.centre) - (b.start - b.centre)).norm(), 1e-12) << a.pocket << " " << a.cushion;
    EXPECT_LT((a.middle_of_arc - b.middle_of_arc).norm(), 1e-12);
  }
  for (const Pocket& p : t.pockets()) EXPECT_NEAR(p.mouth(), nominal.pocket(p.name)->mouth(), 1e-12) << p.name;
}

// `file` with the first `from` replaced by `to`, written where it can be read.
std::string changed(const tests::ScratchFolder& folder, const std::string& file, const std::string& from,
                    const std::string& to) {
  std::string text = *read_text(std::filesystem::path(BAIZETRACE_SOURCE) / "calibration" / file);
  const std::size_t at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  const std::string out = folder.file(std::filesystem::path(file).filename().string());
  EXPECT_TRUE(write_atomically(out, text.replace(at, from.size(), to)));
  return out;
}

TEST(Files, BadValuesOfATableAreRefusedWithTheirPlace) {
  const tests::ScratchFolder folder;
  struct Case {
    std::string from, to, said;
  };
  for (const Case& c :
       {Case{"width       = 1.778", "width       = 17.78", ":9:15: bed.width: is 17.78, expected 0.5 to 3"},
        Case{"length      = 3.569", "length      = nan", ":10:15: bed.length: is nan, expected 1 to 6"},
        Case{"corner_radius = 0.070", "corner_radius = -0.07", "jaws.corner_radius: is -0.07"},
        Case{"nose_height", "nose_hight", ":11:1: unknown key \"bed.nose_hight\", did you mean"},
        Case{"[falls]", "[fals]", "unknown key \"fals\", did you mean \"falls\"?"},
        Case{"baulk_line = 0.737", "baulk_line = 737", "marks.baulk_line: is 737, expected 0.05 to 1.7845 m"},
        Case{"d_radius   = 0.292", "d_radius   = -0.292", "marks.d_radius: is -0.292, expected 0.02 to 0.889 m"},
        Case{"x    = 0.292", "x    = 292", "spots.x: is 292, expected -0.889 to 0.889 m"},
        Case{"from = 0.324", "from = 3.9", "spots.from: is 3.9, expected 0 to 3.569 m"},
        Case{"\"centre\"", "\"middle\"", "spots.of: expected \"baulk\", \"top\""},
        Case{"table-1", "balls-1", "expected \"baizetrace/table-1\""}}) {
    const std::string file = changed(folder, "tables/full-size.table.toml", c.from, c.to);
    const auto spec = read_spec(file);
    ASSERT_FALSE(spec) << c.to;
    EXPECT_EQ(spec.error().what.find(file), 0U) << spec.error().what;
    EXPECT_NE(spec.error().what.find(c.said), std::string::npos) << spec.error().what;
    EXPECT_EQ(spec.error().what.find('\n'), std::string::npos) << "one line";
  }
}

TEST(BallSet, BadValuesAreRefusedWithTheirPlace) {
  const tests::ScratchFolder folder;
  struct Case {
    std::string from, to, said;
  };
  for (const Case& c : {Case{"0.02625", "26.25", "kinds.radius: is 26.25, expected 0.01 to 0.05 m"},
                        Case{"mass   = 0.142", "mass   = 142", "kinds.mass: is 142, expected 0.02 to 0.5 kg"},
                        Case{"count = 15", "count = 0", "kinds.count: is 0, expected a whole number, 1 to 22"},
                        Case{"count = 15", "count = 7.5", "kinds.count: is 7.5, expected a whole number, 1 to 22"},
                        Case{"[235, 232, 220]", "[235, 232]", "kinds.srgb: expected [red, green, blue]"},
                        Case{"[235, 232, 220]", "[235, 232, 300]", "kinds.srgb: expected values 0 to 255"},
                        Case{"\"white\"", "\"ivory\"", "the first kind is the cue ball"},
                        Case{"home", "hom", "unknown key \"kinds.hom\", did you mean \"kinds.home\"?"}}) {
    const std::string file = changed(folder, "balls/snooker.balls.toml", c.from, c.to);
    const auto set = read_ball_set(file);
    ASSERT_FALSE(set) << c.to;
    EXPECT_EQ(set.error().what.find(file + ":"), 0U) << set.error().what;
    EXPECT_NE(set.error().what.find(c.said), std::string::npos) << set.error().what;
  }
}

TEST(BallSet, ManyAreNumberedFewAreNot) {
  set_data_folder(BAIZETRACE_SOURCE);
  const auto set = *read_ball_set("snooker");
  EXPECT_EQ(set.kinds[*set.kind_of("red-12")].name, "red");
  EXPECT_FALSE(set.kind_of("red"));
  EXPECT_FALSE(set.kind_of("red-x"));
  EXPECT_FALSE(set.kind_of("blue-1"));
  EXPECT_NEAR(set.radius_of("white"), 0.0525 / 2, 1e-12);  // rules: 52.5 +- 0.05 mm
}

// A ball may come to rest between the jaws, clear of the noses' line by less than one that touches a nose.
TEST(Table, ABallMayLieBetweenTheJaws) {
  set_data_folder(BAIZETRACE_SOURCE);
  const Table t(*read_spec("full-size"));
  constexpr double kBall = 0.02625;
  const double touch = t.touch_distance(kBall);
  for (const double side : {-1.0, 1.0}) {
    const double nose = side * t.half_width();
    EXPECT_TRUE(t.can_lie({nose - side * (touch + 0.001), 0.5}, kBall));
    EXPECT_FALSE(t.can_lie({nose - side * (touch - 0.001), 0.5}, kBall)) << "in the nose";
    EXPECT_TRUE(t.can_lie({nose - side * (touch - 0.006), 0.04}, kBall)) << "in a middle pocket's jaws";
    EXPECT_TRUE(t.can_lie({nose, 0}, kBall));
    EXPECT_FALSE(t.can_lie({nose + side * 0.01, 0.06}, kBall)) << "in the jaw";
    EXPECT_FALSE(t.can_lie({nose + side * 0.05, 0.5}, kBall)) << "behind the nose";
    EXPECT_TRUE(t.can_lie({nose - side * 0.02, t.half_length() - 0.02}, kBall)) << "in a corner pocket's mouth";
    EXPECT_FALSE(t.can_lie({nose + side * 0.5, 0}, kBall));
    const auto* jaws = t.between_jaws({nose - side * 0.016, 0.04}, kBall);
    ASSERT_TRUE(jaws);
    EXPECT_EQ(jaws->name, side < 0 ? "middle-left" : "middle-right");
    EXPECT_FALSE(t.between_jaws({nose - side * 0.045, 0}, kBall)) << "it only stands before them";
    EXPECT_FALSE(t.between_jaws({nose - side * touch, 0.11}, kBall)) << "on the nose beside them";
  }
}

}  // namespace
}  // namespace baizetrace::table
