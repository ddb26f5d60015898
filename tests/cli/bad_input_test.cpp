// Bad input: one clear line on standard error, exit code 1, nothing written.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>

#include "support/program.hpp"

namespace baizetrace {
namespace {
namespace fs = std::filesystem;
using tests::run_program;
using tests::ScratchFolder;

const std::string kProgram = BAIZETRACE_PROGRAM;
const std::string kSamples = std::string(BAIZETRACE_SOURCE) + "/samples/";

void write(const std::string& file, const std::string& text) { std::ofstream(file, std::ios::binary) << text; }

std::string read(const std::string& file) {
  std::ostringstream s;
  s << std::ifstream(file, std::ios::binary).rdbuf();
  return s.str();
}

// Runs, expects one line that holds all of `words`, exit 1, and no file in `out`.
void expect_refusal(const std::vector<std::string>& arguments, const std::vector<std::string>& words,
                    const fs::path& out) {
  const auto ran = run_program(kProgram, arguments);
  EXPECT_EQ(ran.code, 1) << ran.out << ran.err;
  EXPECT_EQ(ran.out, "");
  EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
  for (const std::string& w : words)
    EXPECT_NE(ran.err.find(w), std::string::npos) << "expected \"" << w << "\" in: " << ran.err;
  if (fs::exists(out))
    for (const auto& e : fs::directory_iterator(out)) ADD_FAILURE() << "left behind: " << e.path();
}

struct BadInput : testing::Test {
  ScratchFolder scratch;
  std::string out = scratch.file("out");
  void refuse(const std::string& clip, const std::vector<std::string>& words, std::vector<std::string> more = {}) {
    std::vector<std::string> arguments{"measure", clip, "-o", out};
    arguments.insert(arguments.end(), more.begin(), more.end());
    expect_refusal(arguments, words, out);
  }
};

TEST_F(BadInput, NoSuchFile) { refuse(scratch.file("nothing.mp4"), {"nothing.mp4", "no such file"}); }

TEST_F(BadInput, AFolder) { refuse(scratch.path().string(), {scratch.path().string()}); }

TEST_F(BadInput, NotAVideo) {
  write(scratch.file("notes.mp4"), std::string(20000, 'x') + "\nnot a video\n");
  refuse(scratch.file("notes.mp4"), {"notes.mp4", "video"});
}

TEST_F(BadInput, AnEmptyFile) {
  write(scratch.file("empty.mp4"), "");
  refuse(scratch.file("empty.mp4"), {"empty.mp4"});
}

TEST_F(BadInput, IndexMissing) {
  // A recording that was never closed: everything up to its index. The sample's index is at its front or its end;
  // either way the box that holds it is taken out of the file.
  std::string clip = read(kSamples + "green-for-brown.mp4");
  const auto at = clip.find("moov");
  ASSERT_NE(at, std::string::npos);
  clip.replace(at, 4, "xxxx");
  write(scratch.file("unclosed.mp4"), clip);
  refuse(scratch.file("unclosed.mp4"), {"unclosed.mp4", "index"});
}

TEST_F(BadInput, AVideoWithoutATable) {
  const std::string clip = scratch.file("colours.mp4");
  const std::string make =
      "ffmpeg -v error -f lavfi -i testsrc2=size=640x360:rate=25:duration=4 -pix_fmt yuv420p " + clip;
  if (std::system(make.c_str()) != 0) GTEST_SKIP() << "the ffmpeg program cannot make the test clip";
  refuse(clip, {"colours.mp4", "table"});
}

TEST_F(BadInput, RigOfAnotherSize) {
  // A 640 x 360 rig for a 1080p clip.
  write(scratch.file("small.rig.json"), R"({"format": "baizetrace/rig-1", "image": [640, 360],
    "K": [[500, 0, 320], [0, 500, 180], [0, 0, 1]], "distortion": [0, 0, 0, 0, 0],
    "camera_from_table": {"R": [[0, 1, 0], [1, 0, 0], [0, 0, -1]], "t": [0, 0, 3.3]},
    "readout": 0.016, "u_readout": 0.001, "table": {"half_width": 0.889, "half_length": 1.7845}, "spots": {}})");
  refuse(kSamples + "green-for-brown.mp4", {"small.rig.json", "640 x 360", "1920 x 1080"},
         {"--rig", scratch.file("small.rig.json")});
}

TEST_F(BadInput, UnknownKeyInASetup) {
  write(scratch.file("typo.setup.toml"),
        "format = \"baizetrace/setup-1\"\ntitle = \"x\"\ntable = \"full-size\"\n[balls]\nwhite = [0.0, 0.3]\n"
        "red-1 = [0.5, 0.2]\n[shot]\npot = \"red-1\"\nintoo = \"middle-right\"\nspeed = 1.4\n");
  refuse(kSamples + "green-for-brown.mp4", {"typo.setup.toml:9:", "intoo", "into"},
         {"--setup", scratch.file("typo.setup.toml")});
}

TEST_F(BadInput, SetupWithOverlappingBalls) {
  write(scratch.file("overlap.setup.toml"),
        "format = \"baizetrace/setup-1\"\ntitle = \"x\"\ntable = \"full-size\"\n[balls]\nwhite = [0.0, 0.3]\n"
        "red-1 = [0.03, 0.3]\n");
  refuse(kSamples + "green-for-brown.mp4", {"overlap.setup.toml", "white", "red-1"},
         {"--setup", scratch.file("overlap.setup.toml")});
}

TEST_F(BadInput, SetupWithABallOffTheBed) {
  write(scratch.file("off.setup.toml"),
        "format = \"baizetrace/setup-1\"\ntitle = \"x\"\ntable = \"full-size\"\n[balls]\nwhite = [0.95, 0.3]\n");
  refuse(kSamples + "green-for-brown.mp4", {"off.setup.toml", "white", "bed"},
         {"--setup", scratch.file("off.setup.toml")});
}

TEST_F(BadInput, TableNobodyHas) {
  refuse(kSamples + "green-for-brown.mp4", {"full-sise", "full-size"}, {"--table", "full-sise"});
}

TEST_F(BadInput, WrongUsageIsCodeTwo) {
  EXPECT_EQ(run_program(kProgram, {}).code, 2);
  EXPECT_EQ(run_program(kProgram, {"measure"}).code, 2);
  EXPECT_EQ(run_program(kProgram, {"measur", "x"}).code, 2);
  EXPECT_EQ(run_program(kProgram, {"--help"}).code, 0);
}

// A file cut short is measured up to the cut and says so.
TEST(CutShort, IsMeasuredUpToTheCut) {
  ScratchFolder scratch;
  const std::string whole = kSamples + "green-for-brown.mp4";
  // The index first, so that a cut leaves a file that opens, as a download that broke off does.
  const std::string front = scratch.file("front.mp4"), cut = scratch.file("cut.mp4");
  if (std::system(("ffmpeg -v error -i " + whole + " -c copy -movflags +faststart " + front).c_str()) != 0)
    GTEST_SKIP() << "the ffmpeg program is not there to move the index to the front";
  const std::string bytes = read(front);
  write(cut, bytes.substr(0, bytes.size() * 6 / 10));
  const auto ran = run_program(kProgram, {"measure", cut, "-o", scratch.file("out")});
  ASSERT_EQ(ran.code, 0) << ran.err;
  const std::string session = read(scratch.file("out") + "/session.json");
  EXPECT_NE(session.find("\"complete\":false"), std::string::npos);
  EXPECT_NE(session.find("cut short"), std::string::npos);
  EXPECT_NE(ran.out.find("cut short"), std::string::npos) << ran.out;
}

}  // namespace
}  // namespace baizetrace
