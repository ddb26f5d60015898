// inspect, lens and register's helps, run as a user runs them.
#include <gtest/gtest.h>

#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "support/program.hpp"

namespace baizetrace {
namespace {
namespace fs = std::filesystem;

std::string sample() { return (fs::path(BAIZETRACE_SOURCE) / "samples" / "green-for-brown.mp4").string(); }

void expect_one_line(const tests::Ran& ran, const std::string& part) {
  EXPECT_EQ(ran.code, 1);
  EXPECT_TRUE(ran.out.empty()) << ran.out;
  EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
  EXPECT_NE(ran.err.find(part), std::string::npos) << ran.err;
}

TEST(Inspect, AnswersWithNumbers) {
  const tests::Ran ran = tests::run_program(BAIZETRACE_PROGRAM, {"inspect", sample(), "--json"});
  ASSERT_EQ(ran.code, 0) << ran.err;
  const auto j = nlohmann::json::parse(ran.out);
  EXPECT_EQ(j["format"], "baizetrace/inspection-1");
  EXPECT_TRUE(j["measurable"].get<bool>());
  std::map<std::string, nlohmann::json> by_topic;
  for (const auto& f : j["findings"]) by_topic[f["topic"].get<std::string>()] = f;
  for (const char* topic :
       {"recording", "timing", "light", "table", "size", "sharpness", "hidden", "steadiness", "accuracy"})
    ASSERT_TRUE(by_topic.count(topic)) << topic;
  EXPECT_NEAR(by_topic["table"]["numbers"]["length"].get<double>(), 3.569, 0.013);
  EXPECT_EQ(by_topic["hidden"]["numbers"]["parts"].get<double>(), 0);
  EXPECT_LT(by_topic["steadiness"]["numbers"]["usual_shift"].get<double>(), 0.3);
  EXPECT_EQ(by_topic["timing"]["numbers"]["gaps"].get<double>(), 0);
}

TEST(Inspect, BadInputIsOneLine) {
  expect_one_line(tests::run_program(BAIZETRACE_PROGRAM, {"inspect", "/absent.mp4"}), "/absent.mp4");
  expect_one_line(tests::run_program(BAIZETRACE_PROGRAM, {"inspect", sample(), "--table", "no-such"}), "no-such");
  EXPECT_EQ(tests::run_program(BAIZETRACE_PROGRAM, {"inspect"}).code, 2);
}

TEST(Lens, PrintsATargetAndRefusesClipsWithoutOne) {
  const tests::ScratchFolder scratch;
  EXPECT_EQ(tests::run_program(BAIZETRACE_PROGRAM, {"lens", "--target", scratch.file("t.svg"), "--paper", "a3"}).code,
            0);
  EXPECT_TRUE(fs::exists(scratch.file("t.svg")));
  expect_one_line(tests::run_program(BAIZETRACE_PROGRAM, {"lens", "--target", scratch.file("u.svg"), "--paper", "b1"}),
                  "a4 or a3");
  EXPECT_FALSE(fs::exists(scratch.file("u.svg")));
  expect_one_line(tests::run_program(BAIZETRACE_PROGRAM, {"lens", sample(), "-o", scratch.file("x.lens.json")}),
                  "target is not seen");
  EXPECT_FALSE(fs::exists(scratch.file("x.lens.json")));
  expect_one_line(tests::run_program(BAIZETRACE_PROGRAM, {"lens"}), "expected a clip");
}

TEST(Register, ATapeTellsTheSizeThatNoPictureTells) {
  const tests::ScratchFolder scratch;
  const std::string rig = scratch.file("a.rig.json");
  const auto with = [&](const char* length, const char* width) {
    return tests::run_program(BAIZETRACE_PROGRAM, {"register", sample(), "-o", rig, "--json", "--size", length, width});
  };
  // As the sample's truth has it.
  const tests::Ran taped = with("3.569", "1.778");
  ASSERT_EQ(taped.code, 0) << taped.err;
  const auto j = nlohmann::json::parse(taped.out);
  EXPECT_NEAR(j["table"]["half_length"].get<double>(), 1.7845, 0.001);
  EXPECT_NEAR(j["table"]["half_width"].get<double>(), 0.8890, 0.001);
  EXPECT_LT(j["expected_uncertainty"]["median"].get<double>(), 0.0007);  // m; 1 mm without
  fs::remove(rig);
  // A table of another shape: nothing is written.
  const tests::Ran other = with("3.569", "1.740");
  expect_one_line(other, "has not the shape that the picture shows");
  EXPECT_FALSE(fs::exists(rig));
  expect_one_line(with("1.778", "3.569"), "--size: 1.778 3.569: expected length and width");
  expect_one_line(with("3.569", "nan"), "--size: 3.569 nan: expected length and width");
}

TEST(Register, HelpsAreTakenAndTheMapIsTold) {
  const tests::ScratchFolder scratch;
  const std::string rig = scratch.file("a.rig.json"), again = scratch.file("b.rig.json");
  const tests::Ran first = tests::run_program(BAIZETRACE_PROGRAM, {"register", sample(), "--output", rig, "--json"});
  ASSERT_EQ(first.code, 0) << first.err;
  const auto j = nlohmann::json::parse(first.out);
  EXPECT_EQ(j["format"], "baizetrace/rig-1");
  EXPECT_EQ(j["expected_uncertainty"]["map"].size(), 7U * 13U);
  EXPECT_GT(j["expected_uncertainty"]["median"].get<double>(), 0.0001);
  EXPECT_LE(j["expected_uncertainty"]["median"].get<double>(), j["expected_uncertainty"]["worst"].get<double>());
  EXPECT_TRUE(fs::exists(scratch.file("a.rig.png")));
  // The rig's own lens and height as help: the same table, better known.
  const double height =
      -(j["camera_from_table"]["R"][0][2].get<double>() * j["camera_from_table"]["t"][0].get<double>() +
        j["camera_from_table"]["R"][1][2].get<double>() * j["camera_from_table"]["t"][1].get<double>() +
        j["camera_from_table"]["R"][2][2].get<double>() * j["camera_from_table"]["t"][2].get<double>());
  const tests::Ran helped = tests::run_program(
      BAIZETRACE_PROGRAM,
      {"register", sample(), "-o", again, "--json", "--lens", rig, "--height", fmt::format("{:.3f}", height)});
  ASSERT_EQ(helped.code, 0) << helped.err;
  const auto k = nlohmann::json::parse(helped.out);
  EXPECT_NEAR(k["table"]["half_length"].get<double>(), j["table"]["half_length"].get<double>(), 0.002);
  EXPECT_LT(k["expected_uncertainty"]["median"].get<double>(), j["expected_uncertainty"]["median"].get<double>());
  expect_one_line(
      tests::run_program(BAIZETRACE_PROGRAM, {"register", sample(), "-o", again, "--lens", "/absent.lens.json"}),
      "/absent.lens.json");
}

}  // namespace
}  // namespace baizetrace
