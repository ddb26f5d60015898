// routes: its drawings, its machine's answer, and what it refuses.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "support/program.hpp"

namespace baizetrace {
namespace {
namespace fs = std::filesystem;
using tests::run_program;
using tests::ScratchFolder;

const std::string kProgram = BAIZETRACE_PROGRAM;
const std::string kSetup = std::string(BAIZETRACE_SOURCE) + "/samples/middle-red-off-the-side.setup.toml";

TEST(RoutesCommand, DrawsAndAnswers) {
  const ScratchFolder scratch;
  const std::string out = scratch.file("out");
  const auto ran = run_program(kProgram, {"routes", kSetup, "--strikes", "600", "--json", "-o", out});
  ASSERT_EQ(ran.code, 0) << ran.err;
  const auto j = nlohmann::json::parse(ran.out);
  EXPECT_EQ(j["format"], "baizetrace/routes-1");
  ASSERT_FALSE(j["routes"].empty());
  EXPECT_EQ(j["routes"][0]["cushions"][0], "right");  // the setup's goal asks for it
  const double share = j["routes"][0]["kept"]["share"];
  EXPECT_LE(j["routes"][0]["kept"]["interval"][0].get<double>(), share);
  EXPECT_GE(j["routes"][0]["kept"]["interval"][1].get<double>(), share);
  EXPECT_TRUE(fs::exists(fs::path(out) / "routes.svg"));
  EXPECT_TRUE(fs::exists(fs::path(out) / "strike-window.svg"));
}

TEST(RoutesCommand, Refuses) {
  const ScratchFolder scratch;
  const std::string out = scratch.file("out");
  for (const auto& [more, words] : std::vector<std::pair<std::vector<std::string>, std::string>>{
           {{"--spread", "expert"}, "expected professional, good-club or club"},
           {{"--strikes", "5"}, "expected 100 to 200000"},
           {{"--threads", "0"}, "expected 1 to 64"},
           {{"--conditions", "/nowhere.toml"}, "/nowhere.toml"}}) {
    std::vector<std::string> arguments{"routes", kSetup, "-o", out};
    arguments.insert(arguments.end(), more.begin(), more.end());
    const auto ran = run_program(kProgram, arguments);
    EXPECT_EQ(ran.code, 1);
    EXPECT_NE(ran.err.find(words), std::string::npos) << ran.err;
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
    EXPECT_FALSE(fs::exists(out));
  }
}

}  // namespace
}  // namespace baizetrace
