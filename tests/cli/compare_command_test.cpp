// compare, tune and a region of routes: what they write and say, and what they refuse.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "base/files.hpp"
#include "support/program.hpp"
#include "video/still.hpp"

namespace baizetrace {
namespace {
namespace fs = std::filesystem;
using tests::run_program;
using tests::ScratchFolder;

const std::string kProgram = BAIZETRACE_PROGRAM;
const std::string kSamples = std::string(BAIZETRACE_SOURCE) + "/samples/";

// The invented table test, copied to where it may be written.
std::string copied(const ScratchFolder& scratch) {
  const std::string folder = scratch.file("evening");
  fs::create_directories(folder);
  fs::copy_file(kSamples + "table-test.session.json", folder + "/session.json");
  return folder;
}

TEST(TuneCommand, WritesConditionsThatPredictReads) {
  const ScratchFolder scratch;
  const std::string out = scratch.file("ours.conditions.toml");
  const auto ran = run_program(kProgram, {"tune", kSamples + "table-test.session.json", "-o", out});
  ASSERT_EQ(ran.code, 0) << ran.err;
  EXPECT_NE(ran.out.find("it predicts better"), std::string::npos) << ran.out;
  EXPECT_NE(ran.out.find("not told by these attempts"), std::string::npos) << ran.out;
  const auto predicted =
      run_program(kProgram, {"predict", kSamples + "round-the-angles.setup.toml", "--conditions", out, "--json"});
  EXPECT_EQ(predicted.code, 0) << predicted.err;
}

TEST(CompareCommand, SaysWhyAndKeepsItInTheSession) {
  const ScratchFolder scratch;
  const std::string folder = copied(scratch), ours = scratch.file("ours.conditions.toml");
  ASSERT_EQ(run_program(kProgram, {"tune", folder, "-o", ours}).code, 0);
  const auto ran = run_program(kProgram, {"compare", folder, "--setup", kSamples + "round-the-angles.setup.toml",
                                          "--conditions", ours, "--json"});
  ASSERT_EQ(ran.code, 0) << ran.err;
  const auto j = nlohmann::json::parse(ran.out);
  int with = 0;
  for (const auto& a : j["attempts"]) {
    ASSERT_TRUE(a.contains("strike"));
    EXPECT_EQ(a["strike"]["from"], "whole motion");
    if (!a.contains("miss")) continue;
    ++with;
    double x = 0, y = 0;
    for (const char* part : {"placing", "aim", "pace", "side", "height"})
      x += a["miss"][part][0].get<double>(), y += a["miss"][part][1].get<double>();
    // Kept to 1e-7 m each.
    EXPECT_NEAR(x, a["explained"]["rest"][0].get<double>() - a["meant"]["rest"][0].get<double>(), 1e-6);
    EXPECT_NEAR(y, a["explained"]["rest"][1].get<double>() - a["meant"]["rest"][1].get<double>(), 1e-6);
    EXPECT_TRUE(a["comparison"].contains("rest_off"));
    EXPECT_FALSE(a["miss"]["sentence"].get<std::string>().empty());
  }
  EXPECT_EQ(with, 3);  // the attempts of that setup
  const auto kept = read_text(folder + "/session.json");
  ASSERT_TRUE(kept);
  EXPECT_EQ(*kept, ran.out);
  const auto page = read_text(folder + "/report.html");
  ASSERT_TRUE(page);
  EXPECT_NE(page->find("Why it stopped there"), std::string::npos);
  // Asked what if: an answer, and nothing is written.
  const auto asked = run_program(kProgram, {"compare", folder, "--conditions", ours, "--attempt", "7", "--what-if",
                                            "no-side", "--what-if", "softer=10"});
  EXPECT_EQ(asked.code, 0) << asked.err;
  EXPECT_NE(asked.out.find("softer=10"), std::string::npos) << asked.out;
  const auto after = read_text(folder + "/session.json");
  ASSERT_TRUE(after);
  EXPECT_EQ(*after, *kept);
  const auto alone = run_program(kProgram, {"compare", folder, "--conditions", ours, "--attempt", "7"});
  ASSERT_EQ(alone.code, 0) << alone.err;
  EXPECT_NE(alone.out.find("\n7. "), std::string::npos) << alone.out;
  EXPECT_EQ(alone.out.find("\n8. "), std::string::npos) << alone.out;
  EXPECT_EQ(run_program(kProgram, {"compare", folder, "--attempt", "7", "--json"}).code, 2) << "that prints all";
}

TEST(CompareCommand, KeepsThePictureWhileItHolds) {
  const ScratchFolder scratch;
  const std::string folder = copied(scratch);
  const auto compared = [&] {
    EXPECT_EQ(run_program(kProgram, {"compare", folder}).code, 0);
    const auto page = read_text(folder + "/report.html");
    return page && page->find("data:image/jpeg") != std::string::npos;
  };
  EXPECT_FALSE(compared());  // no film, no picture
  ASSERT_TRUE(write_atomically(folder + "/attempt-07.png",
                               as_content(video::png_of(cv::Mat(60, 80, CV_8UC3, cv::Scalar(40, 90, 30))))));
  EXPECT_TRUE(compared());
  const auto said_otherwise = [&](double factor) {
    const auto text = read_text(folder + "/session.json");
    ASSERT_TRUE(text);
    auto j = nlohmann::json::parse(*text);
    auto& strike = j["attempts"][6]["strike"];
    strike["speed"] = strike["speed"].get<double>() * factor;
    ASSERT_TRUE(write_atomically(folder + "/session.json", j.dump()));
  };
  said_otherwise(1.002);  // another last digit
  EXPECT_TRUE(compared());
  said_otherwise(1.05);  // a picture that says another pace
  EXPECT_FALSE(compared());
}

TEST(CompareCommand, Refuses) {
  const ScratchFolder scratch;
  const std::string folder = copied(scratch);
  const auto before = read_text(folder + "/session.json");
  const std::string setup = kSamples + "round-the-angles.setup.toml";
  for (const auto& [arguments, words] : std::vector<std::pair<std::vector<std::string>, std::string>>{
           {{"compare", folder, "--setup", "/nowhere.toml"}, "/nowhere.toml"},
           {{"compare", folder, "--setup", kSamples + "pool-eight-for-the-nine.setup.toml"}, "is for the table"},
           {{"compare", folder, "--conditions", "/nowhere.toml"}, "/nowhere.toml"},
           {{"compare", folder, "--attempt", "99", "--what-if", "no-side"}, "no such attempt"},
           {{"compare", folder, "--attempt", "7", "--what-if", "louder"}, "expected no-side"},
           {{"tune", "/nowhere.json", "-o", scratch.file("x.toml")}, "/nowhere.json"},
           {{"tune", folder, "--from", "/nowhere.toml", "-o", scratch.file("x.toml")}, "/nowhere.toml"},
           {{"routes", setup, "--region", "0.5", "0.5", "-0.5", "0.6"}, "lower left one first"},
           {{"routes", setup, "--region", "-2", "0", "0.5", "0.6"}, "off the bed"},
           {{"routes", setup, "--player", "Ada"}, "looked up in a journal"}}) {
    const auto ran = run_program(kProgram, arguments);
    EXPECT_EQ(ran.code, 1) << words;
    EXPECT_NE(ran.err.find(words), std::string::npos) << ran.err;
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
  }
  EXPECT_FALSE(fs::exists(scratch.file("x.toml")));
  const auto after = read_text(folder + "/session.json");
  ASSERT_TRUE(before && after);
  EXPECT_EQ(*before, *after);
}

TEST(RoutesCommand, MapsARegionTheSameOnOneThreadOrTwo) {
  const ScratchFolder scratch;
  const std::string setup = kSamples + "middle-red-off-the-side.setup.toml", out = scratch.file("out");
  const std::vector<std::string> where{"routes", setup, "--json", "-o", out, "--region", "-0.2", "0.1", "0.2", "0.5"};
  std::string answers[2];
  for (const int threads : {1, 2}) {
    auto arguments = where;
    arguments.insert(arguments.begin() + 2, {"--threads", std::to_string(threads)});
    const auto ran = run_program(kProgram, arguments);
    ASSERT_EQ(ran.code, 0) << ran.err;
    answers[threads - 1] = ran.out;
  }
  EXPECT_EQ(answers[0], answers[1]);
  const auto j = nlohmann::json::parse(answers[0]);
  EXPECT_EQ(j["format"], "baizetrace/region-1");
  EXPECT_EQ(j["places"].size(), 64U);
  for (const auto& p : j["places"]) EXPECT_TRUE(p.contains("route") != p.contains("why"));
  EXPECT_TRUE(fs::exists(fs::path(out) / "region.svg"));
}

}  // namespace
}  // namespace baizetrace
