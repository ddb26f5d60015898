// Films of the sample clip, as a user makes them; the ffprobe and ffmpeg programs are the outside readers.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <cstdio>
#include <fstream>
#include <memory>
#include <nlohmann/json.hpp>
#include <regex>
#include <sstream>

#include "support/program.hpp"

namespace baizetrace {
namespace {
namespace fs = std::filesystem;
using testing::HasSubstr;
using tests::run_program;
using tests::ScratchFolder;

const std::string kProgram = BAIZETRACE_PROGRAM;
const std::string kSamples = std::string(BAIZETRACE_SOURCE) + "/samples/";
const std::string kClip = kSamples + "green-for-brown.mp4";

std::string output_of(const std::string& command) {
  std::string out;
  std::FILE* pipe = popen(command.c_str(), "r");
  std::array<char, 65536> part{};
  while (const std::size_t n = std::fread(part.data(), 1, part.size(), pipe)) out.append(part.data(), n);
  pclose(pipe);
  while (!out.empty() && out.back() == '\n') out.pop_back();
  return out;
}

std::string probe(const std::string& file, const std::string& what) {
  return output_of("ffprobe -v error " + what + " -of csv=p=0 '" + file + "'");
}

std::vector<double> times_of(const std::string& file) {
  std::istringstream lines(probe(file, "-select_streams v -show_entries frame=best_effort_timestamp_time"));
  std::vector<double> out;
  for (std::string line; std::getline(lines, line);)
    if (!line.empty()) out.push_back(std::stod(line));
  return out;
}

std::string text_of(const std::string& file) {
  std::ostringstream s;
  s << std::ifstream(file).rdbuf();
  return s.str();
}

// The sample measured once, with its overlay.
struct CutTest : testing::Test {
  static void SetUpTestSuite() {
    scratch = std::make_unique<ScratchFolder>();
    measured = run_program(kProgram, {"measure", kClip, "--setup", kSamples + "green-for-brown.setup.toml", "--readout",
                                      "0.016", "--overlay", "-o", session()});
  }
  static void TearDownTestSuite() { scratch.reset(); }
  static std::string session() { return scratch->file("session"); }
  static std::string folder(const std::string& name) { return scratch->file(name); }
  static void cut(const std::string& name, std::vector<std::string> more = {}) {
    std::vector<std::string> arguments{"cut", session(), "-o", folder(name)};
    arguments.insert(arguments.end(), more.begin(), more.end());
    const auto ran = run_program(kProgram, arguments);
    ASSERT_EQ(ran.code, 0) << ran.err;
    for (const auto& e : fs::directory_iterator(folder(name)))
      EXPECT_NE(e.path().filename().string()[0], '.') << "half written: " << e.path();
  }
  void SetUp() override { ASSERT_EQ(measured.code, 0) << measured.err; }
  static std::unique_ptr<ScratchFolder> scratch;
  static tests::Ran measured;
};
std::unique_ptr<ScratchFolder> CutTest::scratch;
tests::Ran CutTest::measured;

TEST_F(CutTest, OverlayKeepsEveryFramesTime) {
  const std::string file = session() + "/overlay.mp4";
  EXPECT_EQ(probe(file, "-select_streams v -show_entries stream=codec_name,width,height"), "h264,1920,1080");
  const auto before = times_of(kClip), after = times_of(file);
  ASSERT_EQ(before.size(), after.size());
  double worst = 0;
  for (std::size_t k = 0; k < before.size(); ++k)
    worst = std::max(worst, std::abs((before[k] - before[0]) - (after[k] - after[0])));
  RecordProperty("worst_us", std::to_string(1e6 * worst));
  EXPECT_LT(worst, 2e-6);  // ffprobe prints microseconds
}

TEST_F(CutTest, AClipFromTwoSecondsBeforeToOneAfter) {
  cut("wide");
  const auto j = nlohmann::json::parse(text_of(session() + "/session.json"));
  const auto& a = j.at("attempts").at(0);
  const std::string file = folder("wide") + "/attempt-01.mp4";
  EXPECT_EQ(probe(file, "-select_streams v -show_entries stream=codec_name,width,height"), "h264,1920,1080");
  const auto times = times_of(file);
  ASSERT_GT(times.size(), 60u);
  EXPECT_EQ(times.front(), 0);
  const double strike = a.at("strike_time"), clip_end = times_of(kClip).back();
  const double from = std::max(0.0, strike - 2), to = std::min(clip_end, a.at("rest_time").get<double>() + 1);
  EXPECT_NEAR(times.back(), to - from, 0.08);  // to the frames that there are
  const std::string vtt = text_of(folder("wide") + "/attempt-01.vtt");
  EXPECT_THAT(vtt, testing::StartsWith("WEBVTT\n\n1\n00:00:00.000 --> "));
  EXPECT_THAT(vtt, HasSubstr("Struck"));
  EXPECT_THAT(text_of(folder("wide") + "/chapters.txt"), testing::StartsWith("00:00 "));
}

TEST_F(CutTest, ShapesAndTheDrawingAlone) {
  for (const auto& [shape, size] :
       {std::pair("16:9", "1920,1080"), std::pair("9:16", "1080,1920"), std::pair("1:1", "1080,1080")}) {
    const std::string name = "plan-" + std::string(size);
    cut(name, {"--plan-only", "--shape", shape});
    EXPECT_EQ(probe(folder(name) + "/attempt-01.mp4", "-select_streams v -show_entries stream=width,height"), size);
  }
}

TEST_F(CutTest, HoldFreezesFirstAndCaptionsFollow) {
  cut("held", {"--plan-only", "--hold"});
  const auto times = times_of(folder("held") + "/attempt-01.mp4");
  ASSERT_GT(times.size(), 2u);
  EXPECT_NEAR(times[1] - times[0], 2.5, 0.002);
  cut("free", {"--plan-only"});
  const auto struck = [&](const std::string& name) {
    std::smatch found;
    const std::string text = text_of(folder(name) + "/attempt-01.vtt");
    EXPECT_TRUE(std::regex_search(text, found, std::regex(R"(00:00:(\d\d\.\d{3}) --> [^\n]*\nStruck)"))) << text;
    return std::stod(found[1]);
  };
  EXPECT_NEAR(struck("held") - struck("free"), 2.5, 0.002);
}

TEST_F(CutTest, PlainIsTheRecordingItself) {
  cut("plain", {"--plain"});
  const std::string file = folder("plain") + "/attempt-01.mp4";
  EXPECT_EQ(probe(file, "-select_streams v -show_entries stream=codec_name"),
            probe(kClip, "-select_streams v -show_entries stream=codec_name"));
  // Each picture is one of the recording's, bit for bit.
  const auto sums = [](const std::string& f) {
    return output_of("ffmpeg -nostdin -v error -i '" + f +
                     "' -map 0:v -fps_mode passthrough -f framemd5 - | grep -v '#' | "
                     "sed 's/.*, //'");
  };
  const std::string whole = "\n" + sums(kClip) + "\n", part = "\n" + sums(file) + "\n";
  EXPECT_GT(part.size(), 1000u);
  EXPECT_NE(whole.find(part), std::string::npos);
}

TEST_F(CutTest, BadInputIsOneLine) {
  const auto refused = [&](std::vector<std::string> arguments, const std::vector<std::string>& words) {
    const std::string out = folder("refused");
    arguments.insert(arguments.end(), {"-o", out});
    const auto ran = run_program(kProgram, arguments);
    EXPECT_EQ(ran.code, 1) << ran.err;
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
    for (const std::string& w : words) EXPECT_THAT(ran.err, HasSubstr(w));
    EXPECT_FALSE(fs::exists(out));
  };
  refused({"cut", scratch->file("nothing.json")}, {"nothing.json"});
  refused({"cut", session(), "--attempts", "7"}, {"attempt 7"});
  refused({"cut", session(), "--attempts", "some"}, {"some", "hits"});
  refused({"cut", session(), "--shape", "4:3"}, {"4:3", "16:9"});
  refused({"cut", session(), "--plain", "--hold"}, {"--plain"});
  refused({"cut", session(), "--with", scratch->file("no.mp4")}, {"no.mp4"});
  refused({"cut", session(), "--with", kClip}, {"no sound"});
  EXPECT_EQ(run_program(kProgram, {"cut"}).code, 2);
}

TEST_F(CutTest, TheRecordingMayHaveMovedBesideTheSession) {
  // A session whose recording is named by a path that is gone.
  const std::string moved = folder("moved");
  fs::copy(session(), moved, fs::copy_options::recursive);
  auto j = nlohmann::json::parse(text_of(moved + "/session.json"));
  j["clip"]["file"] = "/gone/evening.mp4";
  std::ofstream(moved + "/session.json") << j.dump();
  const auto lost = run_program(kProgram, {"cut", moved, "-o", folder("lost")});
  EXPECT_EQ(lost.code, 1);
  EXPECT_THAT(lost.err, HasSubstr("evening.mp4"));
  fs::copy(kClip, moved + "/evening.mp4");
  EXPECT_EQ(run_program(kProgram, {"cut", moved, "--plain", "-o", folder("found")}).code, 0);
}

TEST(Card, IsWrittenByTheCommand) {
  const ScratchFolder scratch;
  const std::string setup = kSamples + "middle-red-off-the-side.setup.toml";
  const auto ran = run_program(kProgram, {"card", setup, "-o", scratch.file("red"), "--json"});
  ASSERT_EQ(ran.code, 0) << ran.err;
  EXPECT_TRUE(fs::exists(scratch.file("red.pdf")) && fs::exists(scratch.file("red.svg")));
  const auto j = nlohmann::json::parse(ran.out);
  EXPECT_NEAR(j["marks"][0]["noses"]["right"].get<double>(), 0.869, 1e-9);
  EXPECT_NEAR(j["marks"][0]["noses"]["top"].get<double>(), 1.4845, 1e-9);
  const auto one = run_program(kProgram, {"card", setup, "-o", scratch.file("only.pdf")});
  EXPECT_EQ(one.code, 0);
  EXPECT_FALSE(fs::exists(scratch.file("only.svg")));
  const auto bad = run_program(kProgram, {"card", scratch.file("none.setup.toml"), "-o", scratch.file("none")});
  EXPECT_EQ(bad.code, 1);
  EXPECT_EQ(std::count(bad.err.begin(), bad.err.end(), '\n'), 1) << bad.err;
  EXPECT_FALSE(fs::exists(scratch.file("none.pdf")));
  EXPECT_EQ(run_program(kProgram, {"card", setup, "-o", "/no/such/folder/x"}).code, 1);
}

}  // namespace
}  // namespace baizetrace
