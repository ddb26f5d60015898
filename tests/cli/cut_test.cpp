// `cut` as a coach who films runs it: the clips beside what ffprobe and ffmpeg, as outside readers, make of them.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <iterator>
#include <map>
#include <regex>
#include <sstream>

#include "base/files.hpp"
#include "practice/session.hpp"
#include "report/captions.hpp"
#include "support/full_size.hpp"
#include "support/invented_session.hpp"
#include "support/program.hpp"

namespace baizetrace {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;

std::string sample(const std::string& name) { return (fs::path(BAIZETRACE_SOURCE) / "samples" / name).string(); }

std::string output_of(const std::string& command) {
  std::string out;
  std::FILE* pipe = ::popen(command.c_str(), "r");
  std::array<char, 65536> part{};
  while (const std::size_t n = std::fread(part.data(), 1, part.size(), pipe)) out.append(part.data(), n);
  EXPECT_EQ(::pclose(pipe), 0) << command;
  return out;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

// Times of the shown pictures, s, as ffprobe tells them.
std::vector<double> picture_times(const std::string& file) {
  std::vector<double> times;
  for (const std::string& line : lines_of(
           output_of("ffprobe -v error -select_streams v -show_entries frame=pts_time -of csv=p=0 '" + file + "'")))
    if (!line.empty()) times.push_back(std::stod(line));
  return times;
}

struct VttCue {
  double from = 0, to = 0;
  std::string text;
};

// Reads a WebVTT file as W3C's WebVTT says it must be written (https://www.w3.org/TR/webvtt1/, section 4.1, as far as
// a file of plain cues goes): the header line, an empty line, then cues; optional identifier; times with at least two
// digits of hours, ends after beginnings, beginnings in order; text without "-->", bare "&" or "<", or empty lines.
std::vector<VttCue> read_webvtt(const std::string& text) {
  std::vector<VttCue> cues;
  EXPECT_EQ(text.find('\r'), std::string::npos);
  EXPECT_TRUE(text.ends_with("\n"));
  const auto lines = lines_of(text);
  static const std::regex timing(R"((\d{2,}):([0-5]\d):([0-5]\d\.\d{3}) --> (\d{2,}):([0-5]\d):([0-5]\d\.\d{3}))"),
      reference("&(amp|lt|gt|nbsp|lrm|rlm);");
  if (lines.size() < 2 || lines[0] != "WEBVTT" || !lines[1].empty()) {
    ADD_FAILURE() << "the header is not a WebVTT file's";
    return cues;
  }
  for (std::size_t k = 2; k < lines.size();) {
    EXPECT_FALSE(lines[k].empty()) << "line " << k + 1;
    if (lines[k].find("-->") == std::string::npos) ++k;  // the identifier
    std::smatch m;
    if (k >= lines.size() || !std::regex_match(lines[k], m, timing)) {
      ADD_FAILURE() << "line " << k + 1 << " is no cue timing";
      return cues;
    }
    const auto seconds = [&](int i) { return 3600 * std::stod(m[i]) + 60 * std::stod(m[i + 1]) + std::stod(m[i + 2]); };
    VttCue cue{seconds(1), seconds(4), ""};
    EXPECT_LT(cue.from, cue.to) << lines[k];
    if (!cues.empty()) {
      EXPECT_GE(cue.from, cues.back().from);
    }
    for (++k; k < lines.size() && !lines[k].empty(); ++k) {
      EXPECT_EQ(lines[k].find("-->"), std::string::npos) << lines[k];
      const std::string bare = std::regex_replace(lines[k], reference, "");
      EXPECT_EQ(bare.find_first_of("&<"), std::string::npos) << lines[k];
      cue.text += (cue.text.empty() ? "" : "\n") + lines[k];
    }
    EXPECT_FALSE(cue.text.empty());
    cues.push_back(cue);
    ++k;
  }
  return cues;
}

// A sound track of invented knocks: bursts of noise that die away, over a quiet hiss. Times are the recording's own.
void write_knocks(const std::string& file, double duration, double shift, double gain, std::uint32_t seed) {
  constexpr int kRate = 16000;
  constexpr std::array kKnocks{0.62, 1.95, 2.31, 3.40, 3.87, 5.66, 6.02, 7.71, 8.83};
  std::vector<std::int16_t> samples(static_cast<std::size_t>(duration * kRate));
  std::uint32_t state = seed, knock_state = 77;
  const auto noise = [](std::uint32_t& s) {
    s = s * 1664525U + 1013904223U;
    return (s >> 8) / 8388608.0 - 1;
  };
  std::vector<double> heard(samples.size());
  for (double& h : heard) h = 0.004 * noise(state);
  for (const double at : kKnocks)
    for (int i = 0; i < kRate / 20; ++i) {
      const double sound = 0.6 * noise(knock_state) * std::exp(-i / (0.006 * kRate));
      const auto k = static_cast<std::ptrdiff_t>((at + shift) * kRate) + i;
      if (k >= 0 && k < std::ssize(heard)) heard[static_cast<std::size_t>(k)] += sound;
    }
  for (std::size_t k = 0; k < heard.size(); ++k)
    samples[k] = static_cast<std::int16_t>(std::clamp(gain * heard[k], -1.0, 1.0) * 32000);
  const auto put = [](std::string& s, std::uint32_t v, int bytes) {
    for (int i = 0; i < bytes; ++i) s += static_cast<char>(v >> (8 * i) & 0xff);
  };
  std::string wav = "RIFF";
  const auto size = static_cast<std::uint32_t>(2 * samples.size());
  put(wav, 36 + size, 4);
  wav += "WAVEfmt ";
  for (const auto& [v, n] : {std::pair(16U, 4), std::pair(1U, 2), std::pair(1U, 2), std::pair(16000U, 4),
                             std::pair(32000U, 4), std::pair(2U, 2), std::pair(16U, 2)})
    put(wav, v, n);
  wav += "data";
  put(wav, size, 4);
  for (const std::int16_t s : samples) put(wav, static_cast<std::uint16_t>(s), 2);
  ASSERT_TRUE(write_atomically(file, wav));
}

constexpr double kAhead = 1.275;  // s: the second recording was started so much earlier

// The sample with a sound track, measured once; a second recording of the same evening.
class Cut : public testing::Test {
 public:
  static void SetUpTestSuite() {
    folder = new tests::ScratchFolder;
    write_knocks(folder->file("one.wav"), 9.4, 0, 1, 1);
    write_knocks(folder->file("two.wav"), 12, kAhead, 0.3, 2);
    clip = folder->file("evening.mp4");
    second = folder->file("stand.mp4");
    output_of("ffmpeg -nostdin -v error -y -i '" + sample("green-for-brown.mp4") + "' -i '" + folder->file("one.wav") +
              "' -c:v copy -c:a aac '" + clip + "'");
    output_of("ffmpeg -nostdin -v error -y -f lavfi -i testsrc2=size=640x360:rate=25:duration=12 -i '" +
              folder->file("two.wav") + "' -c:v libx264 -preset ultrafast -c:a aac '" + second + "'");
    const tests::Ran ran = tests::run_program(BAIZETRACE_PROGRAM, {"measure", clip, "-o", folder->file("m"), "--setup",
                                                                   sample("green-for-brown.setup.toml")});
    ASSERT_EQ(ran.code, 0) << ran.err;
    session = *practice::read_session(folder->file("m") + "/session.json");
    ASSERT_EQ(session.attempts.size(), 1U);
  }
  static void TearDownTestSuite() {
    delete folder;
    folder = nullptr;
  }

 protected:
  // Runs it; the folder that it filled.
  static std::string cut(const std::string& to, std::vector<std::string> more) {
    more.insert(more.begin(), {"cut", folder->file("m"), "-o", folder->file(to)});
    const tests::Ran ran = tests::run_program(BAIZETRACE_PROGRAM, more);
    EXPECT_EQ(ran.code, 0) << ran.err;
    said = ran.err;
    return folder->file(to);
  }
  static double begins() { return std::max(0.0, session.attempts[0].strike_time - 2); }
  static double ends() { return *session.attempts[0].rest_time + 1; }

  static inline tests::ScratchFolder* folder = nullptr;
  static inline std::string clip, second, said;
  static inline practice::Session session;
};

std::string size_of(const std::string& file) {
  std::string s =
      output_of("ffprobe -v error -select_streams v -show_entries stream=width,height -of csv=p=0 '" + file + "'");
  while (!s.empty() && s.back() == '\n') s.pop_back();
  return s;
}

// From 2 s before the strike (here: the beginning) to 1 s after rest, sound in time, captions that say what happened.
TEST_F(Cut, OneClipAnAttemptWithCaptionsAndChapters) {
  const std::string out = cut("all", {});
  const auto times = picture_times(out + "/attempt-01.mp4");
  ASSERT_GT(times.size(), 100U);
  EXPECT_EQ(times.front(), 0);
  const double end = std::min(ends(), session.clip.duration);
  EXPECT_NEAR(times.back(), end - begins(), 0.05);
  EXPECT_EQ(size_of(out + "/attempt-01.mp4"), "1920,1080");
  const auto cues = read_webvtt(*read_text(out + "/attempt-01.vtt"));
  ASSERT_GE(cues.size(), 4U);
  EXPECT_EQ(cues[0].from, 0);
  EXPECT_THAT(cues[0].text, HasSubstr("Attempt 1: Green to its pocket"));
  EXPECT_THAT(cues[1].text, HasSubstr("Struck"));
  EXPECT_NEAR(cues[1].from, session.attempts[0].strike_time - begins(), 0.0011);
  EXPECT_THAT(cues.back().text, HasSubstr("Green in."));
  for (const VttCue& c : cues) EXPECT_LE(c.to, end - begins() + 0.05);
  // Another reader finds the same cues.
  const auto packets =
      lines_of(output_of("ffprobe -v error -show_entries packet=pts_time -of default=nokey=1:noprint_wrappers=1 '" +
                         out + "/attempt-01.vtt'"));
  ASSERT_EQ(packets.size(), cues.size());
  for (std::size_t k = 0; k < cues.size(); ++k) EXPECT_NEAR(std::stod(packets[k]), cues[k].from, 0.0015);
  const auto chapters = lines_of(*read_text(out + "/chapters.txt"));
  ASSERT_EQ(chapters.size(), 1U);
  EXPECT_THAT(chapters[0], testing::StartsWith("00:00 Attempt 1: Green in"));
  EXPECT_THAT(output_of("ffprobe -v error -show_entries stream=codec_type -of csv=p=0 '" + out + "/attempt-01.mp4'"),
              HasSubstr("audio"));
}

TEST_F(Cut, ShapesPlanAloneAndHold) {
  const std::string tall = cut("tall", {"--plan-only", "--shape", "9:16", "--mute"});
  EXPECT_EQ(size_of(tall + "/attempt-01.mp4"), "1080,1920");
  EXPECT_EQ(output_of("ffprobe -v error -select_streams a -show_entries stream=codec_type -of csv=p=0 '" + tall +
                      "/attempt-01.mp4'"),
            "");
  const std::string square = cut("square", {"--plan-only", "--shape", "1:1", "--hold"});
  EXPECT_EQ(size_of(square + "/attempt-01.mp4"), "1080,1080");
  // The meant path stands still for 2.5 s; what comes after, captions too, is that much later.
  const auto held = picture_times(square + "/attempt-01.mp4"), plain = picture_times(tall + "/attempt-01.mp4");
  EXPECT_NEAR(held.back() - plain.back(), 2.5, 1e-3);
  for (std::size_t k = 0; k + 1 < held.size(); ++k) EXPECT_LT(held[k + 1] - held[k], 0.2) << "a gap that players skip";
  const auto late = read_webvtt(*read_text(square + "/attempt-01.vtt")),
             usual = read_webvtt(*read_text(tall + "/attempt-01.vtt"));
  EXPECT_NEAR(late[1].from - usual[1].from, 2.5, 1e-6);
  EXPECT_EQ(late[0].from, 0);
}

// Without decoding: from the key frame before, the very same packets.
TEST_F(Cut, PlainCopiesFromTheKeyFrameBefore) {
  const std::string out = cut("plain", {"--plain"});
  EXPECT_THAT(said, HasSubstr("whoever is in it stays in it"));
  const auto packets = [](const std::string& file) {
    // Time, flags, and the data's own checksum of each packet.
    std::vector<std::vector<std::string>> all;
    for (const std::string& l :
         lines_of(output_of("ffprobe -v error -select_streams v -show_data_hash md5 -show_entries "
                            "packet=pts_time,flags,data_hash -of csv=p=0 '" +
                            file + "'"))) {
      std::vector<std::string> parts;
      std::istringstream in(l);
      for (std::string one; std::getline(in, one, ',');) parts.push_back(one);
      if (parts.size() >= 3) all.push_back(parts);
    }
    return all;
  };
  const auto source = packets(clip), copy = packets(out + "/attempt-01.mp4");
  ASSERT_FALSE(copy.empty());
  double key = 0;
  for (const auto& p : source)
    if (p[1].starts_with("K") && std::stod(p[0]) <= begins() + 1e-6) key = std::max(key, std::stod(p[0]));
  EXPECT_THAT(copy[0][1], testing::StartsWith("K"));
  std::map<std::string, double> at;
  for (const auto& p : source) at[p[2]] = std::stod(p[0]);
  for (const auto& p : copy) {
    ASSERT_TRUE(at.contains(p[2])) << "a packet that the recording does not have";
    EXPECT_NEAR(at[p[2]] - std::stod(p[0]), key, 1e-4);
  }
  const auto cues = read_webvtt(*read_text(out + "/attempt-01.vtt"));
  EXPECT_NEAR(cues[1].from, session.attempts[0].strike_time - key, 0.0011);
}

// A second recording is lined up by its sound to the frame, and its own pictures are shown.
TEST_F(Cut, WithASecondRecording) {
  const std::string out = cut("with", {"--with", second});
  std::smatch m;
  ASSERT_TRUE(std::regex_search(said, m, std::regex("runs ([0-9.]+) s (ahead of|behind)"))) << said;
  EXPECT_NEAR(std::stod(m[1]), kAhead, 0.004);
  EXPECT_EQ(m[2], "ahead of");
  EXPECT_THAT(said, HasSubstr("the second recording is shown whole"));
  const auto times = picture_times(out + "/attempt-01.mp4");
  EXPECT_NEAR(times.back(), std::min(ends(), session.clip.duration) - begins(), 0.09);
  EXPECT_NEAR(times[1] - times[0], 1 / 25.0, 1e-3) << "the second recording's own pictures";
  const auto cues = read_webvtt(*read_text(out + "/attempt-01.vtt"));
  EXPECT_NEAR(cues[1].from, session.attempts[0].strike_time - begins(), 0.045);
}

TEST_F(Cut, WhatDoesNotGoIsOneLineAndLeavesNothing) {
  const std::string silent = folder->file("silent.mp4"), other = folder->file("other.mp4");
  output_of(
      "ffmpeg -nostdin -v error -y -f lavfi -i testsrc2=size=320x180:rate=25:duration=10 -c:v libx264 "
      "-preset ultrafast '" +
      silent + "'");
  output_of(
      "ffmpeg -nostdin -v error -y -f lavfi -i testsrc2=size=320x180:rate=25:duration=10 -f lavfi -i "
      "sine=frequency=300:duration=10 -c:v libx264 -preset ultrafast -c:a aac '" +
      other + "'");
  const std::string m = folder->file("m"), out = folder->file("none");
  for (const auto& [bad, words] : std::vector<std::pair<std::vector<std::string>, std::string>>{
           {{"--with", silent}, "has no sound"},
           {{"--with", other}, "no shift of their sounds stands out"},
           {{"--with", folder->file("nothing.mp4")}, "no such file"},
           {{"--attempts", "7"}, "has no attempt 7"},
           {{"--attempts", "x"}, "expected all, hits, best"},
           {{"--shape", "4:3"}, "expected 16:9"},
           {{"--plain", "--hold"}, "--plain copies"}}) {
    std::vector<std::string> arguments{"cut", m, "-o", out};
    arguments.insert(arguments.end(), bad.begin(), bad.end());
    const tests::Ran ran = tests::run_program(BAIZETRACE_PROGRAM, arguments);
    EXPECT_EQ(ran.code, 1) << bad[0];
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
    EXPECT_THAT(ran.err, HasSubstr(words));
    EXPECT_FALSE(fs::exists(out)) << bad[0];
  }
}

TEST_F(Cut, HitsBestAndNumbers) {
  // The sample's shot is no hit of a setup with a zone elsewhere; with its own it is.
  EXPECT_TRUE(fs::exists(cut("hits", {"--attempts", "hits", "--plan-only"}) + "/attempt-01.mp4"));
  EXPECT_TRUE(fs::exists(cut("best", {"--attempts", "best", "--plan-only"}) + "/attempt-01.mp4"));
  EXPECT_TRUE(fs::exists(cut("one", {"--attempts", "1", "--plan-only"}) + "/attempt-01.mp4"));
}

// The list of the whole recording: clips joined, whole seconds, from 00:00 on.
TEST(Chapters, OfSeveralClipsFromZeroInOrder) {
  practice::Session s = invented::session(4);
  s.clip.duration = 3590;
  s.more_clips.push_back({"two.mp4", 1920, 1080, 0, 60});
  s.attempts[0].strike_time = 30.4;
  s.attempts[1].strike_time = 3000;
  s.attempts[2].clip = 1;
  s.attempts[2].strike_time = 4.2;
  s.attempts[3].clip = 1;
  s.attempts[3].strike_time = 40;
  const auto chapters = report::chapters(s, test_support::full_size(), {}, 2);
  const auto lines = lines_of(report::chapter_list(chapters));
  ASSERT_EQ(lines.size(), 5U);
  EXPECT_EQ(lines[0], "00:00 Start");
  EXPECT_THAT(lines[1], testing::StartsWith("00:28 Attempt 1"));
  EXPECT_THAT(lines[2], testing::StartsWith("49:58 Attempt 2"));
  EXPECT_THAT(lines[3], testing::StartsWith("59:52 Attempt 3"));
  EXPECT_THAT(lines[4], testing::StartsWith("1:00:28 Attempt 4"));
  s.attempts[0].strike_time = 2.5;
  EXPECT_THAT(lines_of(report::chapter_list(report::chapters(s, test_support::full_size(), {}, 2)))[0],
              testing::StartsWith("00:00 Attempt 1"));
}

TEST(Captions, AnythingInATitleStaysAValidFile) {
  practice::Session s = invented::session(2);
  practice::Setup setup;
  setup.title = "A & B <b>--> \n\n x";
  const auto cues = report::captions(s.attempts[0], test_support::full_size(), {.setup = &setup}, {0, 12, 0});
  const auto read = read_webvtt(report::webvtt(cues));
  EXPECT_EQ(read.size(), cues.size());
}

}  // namespace
}  // namespace baizetrace
