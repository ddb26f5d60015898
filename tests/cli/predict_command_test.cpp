// predict: what it answers to a machine and to a player.
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>

#include "base/files.hpp"
#include "support/program.hpp"

namespace baizetrace {
namespace {
using tests::run_program;
using tests::ScratchFolder;

const std::string kProgram = BAIZETRACE_PROGRAM;
const std::string kSamples = std::string(BAIZETRACE_SOURCE) + "/samples/";
const std::string kSetup = kSamples + "round-the-angles.setup.toml";

TEST(PredictCommand, SquirtTellsWhereTheCuePoints) {
  const ScratchFolder scratch;
  const auto good = read_text(kSamples + "good-cloth.conditions.toml");
  ASSERT_TRUE(good);
  const std::string key = "squirt              = 0.0 ";
  std::string text = *good;
  const auto at = text.find(key);
  ASSERT_NE(at, std::string::npos);
  text.replace(at, key.size(), "squirt              = 0.05 ");
  const std::string file = scratch.file("squirt.conditions.toml");
  ASSERT_TRUE(write_atomically(file, text));
  const std::vector<std::string> shot{"predict", kSetup, "--heading", "20", "--right", "0.4"};
  const auto with = [&](std::vector<std::string> more) {
    more.insert(more.begin(), shot.begin(), shot.end());
    const auto ran = run_program(kProgram, more);
    EXPECT_EQ(ran.code, 0) << ran.err;
    return ran.out;
  };
  const auto plain = nlohmann::json::parse(with({"--json"}));
  EXPECT_EQ(plain["strike"]["cue_heading"], plain["strike"]["heading"]);
  EXPECT_EQ(with({}).find("squirt"), std::string::npos);
  // Side to the right sends the ball off to the left of the cue's line: the cue points that much to the right.
  const auto squirting = nlohmann::json::parse(with({"--json", "--conditions", file}));
  EXPECT_NEAR(squirting["strike"]["cue_heading"].get<double>() - squirting["strike"]["heading"].get<double>(),
              0.4 * 0.05, 1e-6);
  EXPECT_NE(with({"--conditions", file}).find("the cue points to 21.15 degrees"), std::string::npos);
}

TEST(PredictCommand, NapIsPlayedAndOneThatHoldsNoBallIsRefused) {
  const ScratchFolder scratch;
  const auto good = read_text(kSamples + "good-cloth.conditions.toml");
  ASSERT_TRUE(good);
  const auto with = [&](const std::string& nap) {
    const std::string file = scratch.file("nap.conditions.toml");
    EXPECT_TRUE(write_atomically(file, *good + "\nnap = " + nap + "\n"));
    return run_program(kProgram, {"predict", kSetup, "--heading", "20", "--json", "--conditions", file});
  };
  const auto none = with("[0, 0]"), some = with("[0.0004, 0.0002]");
  ASSERT_EQ(none.code + some.code, 0) << none.err << some.err;
  EXPECT_NE(none.out, some.out);
  for (const auto& [nap, told] : std::map<std::string, std::string>{
           {"[0.02, 0]", "expected -0.003 to 0.003 of g"}, {"[0.003]", "nap"}, {"0.001", "nap"}}) {
    const auto ran = with(nap);
    EXPECT_EQ(ran.code, 1) << nap;
    EXPECT_NE(ran.err.find(told), std::string::npos) << ran.err;
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
  }
}

}  // namespace
}  // namespace baizetrace
