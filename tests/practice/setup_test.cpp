// Setups: read strictly, and every sample reaches its own goal on its cloth.
#include "practice/setup.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "base/files.hpp"
#include "practice/sorting.hpp"

namespace baizetrace::practice {
namespace {
namespace fs = std::filesystem;

const std::string kSamples = std::string(BAIZETRACE_SOURCE) + "/samples/";

// A session's marks, kept as a setup: where the white lay out of sight, its line says what to put in.
TEST(Setup, MarksKeptWithoutTheWhiteSayThatItIsMissing) {
  set_data_folder(BAIZETRACE_SOURCE);
  const table::Table table(*table::read_spec("full-size"));
  const auto set = *table::read_ball_set(table.spec().balls);
  Group group;
  group.marks["pink"] = {0, 0.89};
  EXPECT_THAT(setup_toml(group, "x", table, "full-size", set), testing::HasSubstr("# The white lay out of sight"));
  group.marks["white"] = {0.2, 0.3};
  EXPECT_THAT(setup_toml(group, "x", table, "full-size", set), testing::Not(testing::HasSubstr("out of sight")));
}

TEST(Setup, EverySampleReachesItsGoal) {
  set_data_folder(BAIZETRACE_SOURCE);
  int count = 0;
  for (const auto& f : fs::directory_iterator(kSamples)) {
    if (!f.path().string().ends_with(".setup.toml")) continue;
    ++count;
    const auto setup = read_setup(f.path().string());
    ASSERT_TRUE(setup) << setup.error().what;
    const table::Table table(*table::read_spec(setup->table));
    const auto set = *table::read_ball_set(table.spec().balls);
    const auto conditions = *motion::read_conditions(kSamples + (table.spec().balls == "snooker" ? "good" : "pool") +
                                                     "-cloth.conditions.toml");
    const auto p = predict_setup(*setup, table, set, conditions);
    ASSERT_TRUE(p) << f.path() << ": " << p.error().what;
    EXPECT_TRUE(p->motion.complete);
    const auto parts = judge(*setup, table, *p);
    EXPECT_FALSE(parts.empty());
    for (const GoalPart& part : parts) EXPECT_TRUE(part.met) << f.path() << ": " << part.what << " " << part.note;
  }
  EXPECT_GE(count, 12);
}

// The computed starting values of the trade's sheet: the slow cloth stops before the gate (common practice, no source).
TEST(Setup, SlowClothStopsBeforeTheGate) {
  set_data_folder(BAIZETRACE_SOURCE);
  const auto setup = *read_setup(kSamples + "last-black-for-the-yellow.setup.toml");
  const table::Table table(*table::read_spec(setup.table));
  const auto set = *table::read_ball_set("snooker");
  const auto slow = *motion::read_conditions(kSamples + "slow-cloth.conditions.toml");
  const auto p = predict_setup(setup, table, set, slow);
  ASSERT_TRUE(p);
  EXPECT_TRUE(p->route.gates.empty()) << p->route.gates[0].a << ", " << p->route.gates[0].b;
  EXPECT_GT(p->motion.ball("white")->rest->at.y(), 0.1);  // short of the line of the blue and the middle pocket
}

TEST(Setup, MeasuredPlacesReplaceMarksAndSpeedIsOverridden) {
  set_data_folder(BAIZETRACE_SOURCE);
  const auto setup = *read_setup(kSamples + "screw-back-to-the-mark.setup.toml");
  const table::Table table(*table::read_spec(setup.table));
  const auto set = *table::read_ball_set("snooker");
  Overrides o;
  o.places = {{"white", Vec2(-0.46, 1.28)}, {"black", Vec2(0.001, 1.461)}};
  o.speed = 2.0;
  const auto p = predict_setup(setup, table, set, {}, o);
  ASSERT_TRUE(p);
  EXPECT_EQ(p->balls[0].place, Vec2(-0.46, 1.28));
  EXPECT_EQ(p->strike.speed, 2.0);
  EXPECT_TRUE(p->pots);
}

struct Bad {
  const char* what;
  const char* from;
  const char* to;
  const char* says;
};
class BadSetup : public testing::TestWithParam<Bad> {};
TEST_P(BadSetup, OneClearLine) {
  set_data_folder(BAIZETRACE_SOURCE);
  std::ifstream in(kSamples + "middle-red-off-the-side.setup.toml");
  std::string text((std::istreambuf_iterator<char>(in)), {});
  const auto at = text.find(GetParam().from);
  ASSERT_NE(at, std::string::npos);
  text.replace(at, std::string(GetParam().from).size(), GetParam().to);
  const fs::path file = fs::temp_directory_path() / (std::string("baizetrace-bad-") + GetParam().what + ".setup.toml");
  std::ofstream(file) << text;
  const auto setup = read_setup(file.string());
  fs::remove(file);
  ASSERT_FALSE(setup);
  EXPECT_THAT(setup.error().what, testing::HasSubstr(GetParam().says));
  EXPECT_THAT(setup.error().what, testing::HasSubstr(".setup.toml:"));
  EXPECT_EQ(setup.error().what.find('\n'), std::string::npos);
}
INSTANTIATE_TEST_SUITE_P(
    All, BadSetup,
    testing::Values(Bad{"key", "height = 0.20", "heigth = 0.20", "did you mean \"shot.height\"?"},
                    Bad{"overlap", "[0.520, 0.200]", "[0.030, 0.310]", "overlaps white"},
                    Bad{"off", "[0.520, 0.200]", "[0.880, 0.200]", "off the bed"},
                    Bad{"ball", "pot    = \"red-1\"", "pot    = \"red-2\"", "not among the setup's balls"},
                    Bad{"pocket", "into   = \"middle-right\"", "into   = \"midle-right\"",
                        "did you mean \"middle-right\"?"},
                    Bad{"cushion", "[\"right\"]", "[\"rihgt\"]", "is no cushion"},
                    Bad{"miscue", "height = 0.20", "height = 0.70", "miscue"},
                    Bad{"colour", "pink  = \"spot\"", "pimk  = \"spot\"", "did you mean \"pink\"?"}),
    [](const auto& bad) { return bad.param.what; });

}  // namespace
}  // namespace baizetrace::practice
