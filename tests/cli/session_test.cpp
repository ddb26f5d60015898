// score, several clips, Ctrl-C: as a user runs them.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>

#include <chrono>
#include <csignal>
#include <thread>

#include "base/files.hpp"
#include "practice/session.hpp"
#include "practice/setup.hpp"
#include "support/invented_session.hpp"
#include "support/program.hpp"

namespace baizetrace {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;

std::string sample(const std::string& name) { return (fs::path(BAIZETRACE_SOURCE) / "samples" / name).string(); }

practice::Session measured() {
  practice::Session s = invented::session(6);
  s.setup.reset();
  for (practice::Attempt& a : s.attempts) a.placing_error.clear();
  return s;
}

TEST(Score, JudgesAgainWithoutTheVideoAndTheSameEveryTime) {
  const tests::ScratchFolder folder;
  const std::string file = folder.file("session.json");
  ASSERT_TRUE(write_atomically(file, practice::session_json(measured())));
  const std::string setup = sample("green-for-brown.setup.toml");
  const tests::Ran ran = tests::run_program(BAIZETRACE_PROGRAM, {"score", folder.path().string(), "--setup", setup});
  ASSERT_EQ(ran.code, 0) << ran.err;
  EXPECT_THAT(ran.out, HasSubstr("pot met"));
  EXPECT_THAT(ran.out, HasSubstr("pot not met"));
  const auto s = *practice::read_session(file);
  ASSERT_EQ(s.attempts.size(), 6U);
  EXPECT_TRUE(s.attempts[0].score);
  EXPECT_TRUE(*s.attempts[0].pot_made);
  EXPECT_FALSE(*s.attempts[3].pot_made);
  EXPECT_EQ(s.groups.size(), 1U);
  EXPECT_THAT(s.summary, HasSubstr("\"played\":6"));
  // Paths stay as they were measured.
  EXPECT_EQ(s.attempts[0].balls.at("white").rows.size(), measured().attempts[0].balls.at("white").rows.size());
  const std::string first = *read_text(file);
  ASSERT_EQ(tests::run_program(BAIZETRACE_PROGRAM, {"score", file, "--setup", setup}).code, 0);
  EXPECT_EQ(*read_text(file), first);
}

TEST(Score, BadInputIsOneLineAndChangesNothing) {
  const tests::ScratchFolder folder;
  const std::string file = folder.file("session.json");
  ASSERT_TRUE(write_atomically(file, practice::session_json(measured())));
  const std::string before = *read_text(file);
  for (const std::vector<std::string>& bad :
       {std::vector<std::string>{"score", folder.file("none"), "--setup", sample("green-for-brown.setup.toml")},
        {"score", file, "--setup", folder.file("none.setup.toml")},
        {"score", file, "--setup", sample("pool-eight-for-the-nine.setup.toml")},
        {"score", sample("README.md"), "--setup", sample("green-for-brown.setup.toml")}}) {
    const tests::Ran ran = tests::run_program(BAIZETRACE_PROGRAM, bad);
    EXPECT_EQ(ran.code, 1) << ran.err;
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
  }
  EXPECT_EQ(*read_text(file), before);
}

TEST(Measure, BadFoldersOfSetupsAndBadClipsAreToldBeforeAnythingIsMeasured) {
  const tests::ScratchFolder folder;
  const std::string clip = sample("green-for-brown.mp4"), out = folder.file("out");
  for (const std::vector<std::string>& bad :
       {std::vector<std::string>{"measure", clip, "-o", out, "--setups", folder.file("none")},
        {"measure", clip, "-o", out, "--setups", folder.path().string()},
        {"measure", clip, folder.file("none.mp4"), "-o", out},
        {"measure", clip, "-o", out, "--journal", folder.file("no/such/j.db")}}) {
    const tests::Ran ran = tests::run_program(BAIZETRACE_PROGRAM, bad);
    EXPECT_EQ(ran.code, 1) << ran.err;
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
  }
  EXPECT_FALSE(fs::exists(out));
}

// Ctrl-C: what was measured so far is saved and said; nothing else is printed where nobody watches.
TEST(Measure, CtrlCKeepsWhatWasMeasuredSoFar) {
  const tests::ScratchFolder folder;
  const std::string out = folder.file("out"), err = folder.file("err");
  const pid_t child = ::fork();
  if (child == 0) {
    for (const int stream : {1, 2}) ::dup2(::open(err.c_str(), O_WRONLY | O_CREAT | O_APPEND, 0600), stream);
    const std::string clip = sample("green-for-brown.mp4");
    ::execl(BAIZETRACE_PROGRAM, BAIZETRACE_PROGRAM, "measure", clip.c_str(), "-o", out.c_str(), nullptr);
    ::_exit(127);
  }
  std::this_thread::sleep_for(std::chrono::milliseconds(700));
  ::kill(child, SIGINT);
  int status = 0;
  ::waitpid(child, &status, 0);
  ASSERT_TRUE(WIFEXITED(status));
  EXPECT_EQ(WEXITSTATUS(status), 1);
  const std::string said = *read_text(err);
  EXPECT_THAT(said, HasSubstr("stopped at"));
  EXPECT_THAT(said, HasSubstr("what was measured so far is in"));
  EXPECT_EQ(said.find('\r'), std::string::npos);
  const auto s = practice::read_session((fs::path(out) / "session.json").string());
  ASSERT_TRUE(s) << s.error().what;
  EXPECT_FALSE(s->complete);
  EXPECT_LT(s->measured_until, s->clip.duration);
}

// Two recordings are one session; a folder of setups tells which is played; the journal remembers it once.
TEST(Measure, SeveralClipsWithAFolderOfSetupsAndAJournal) {
  const tests::ScratchFolder folder;
  const std::string clip = sample("green-for-brown.mp4"), out = folder.file("out"), journal = folder.file("j.db");
  const fs::path setups = folder.path() / "setups";
  ASSERT_TRUE(make_folder(setups));
  for (const char* name : {"green-for-brown.setup.toml", "long-red-from-the-d.setup.toml"})
    fs::copy_file(sample(name), setups / name);
  fs::copy_file(clip, folder.path() / "part-2.mp4");
  const tests::Ran ran =
      tests::run_program(BAIZETRACE_PROGRAM, {"measure", clip, folder.file("part-2.mp4"), "-o", out, "--setups",
                                              setups.string(), "--journal", journal, "--players", "Ann,Ben"});
  ASSERT_EQ(ran.code, 0) << ran.err;
  EXPECT_EQ(ran.err, "");
  const auto s = practice::read_session((fs::path(out) / "session.json").string());
  ASSERT_TRUE(s) << s.error().what;
  ASSERT_EQ(s->attempts.size(), 2U);
  EXPECT_EQ(s->attempts[1].clip, 1);
  EXPECT_EQ(s->more_clips.size(), 1U);
  ASSERT_EQ(s->groups.size(), 1U);
  ASSERT_TRUE(s->groups[0].setup);
  EXPECT_THAT(s->groups[0].setup->first, HasSubstr("green-for-brown"));
  EXPECT_TRUE(s->attempts[0].score && s->attempts[1].score);
  EXPECT_NEAR(s->attempts[0].strike_time, s->attempts[1].strike_time, 1e-6);
  EXPECT_TRUE(fs::exists(fs::path(out) / "found-2.rig.json"));
  const tests::Ran list = tests::run_program(BAIZETRACE_PROGRAM, {"journal", "list", journal});
  EXPECT_THAT(list.out, HasSubstr("2 played"));
  EXPECT_THAT(list.out, HasSubstr("by Ann, Ben"));
}

// Without a setup the first arrangement is written as one, and it can be read.
TEST(Measure, TheFirstArrangementBecomesASetup) {
  const tests::ScratchFolder folder;
  const std::string out = folder.file("out");
  const tests::Ran ran = tests::run_program(BAIZETRACE_PROGRAM, {"measure", sample("green-for-brown.mp4"), "-o", out});
  ASSERT_EQ(ran.code, 0) << ran.err;
  set_data_folder(BAIZETRACE_SOURCE);
  const auto setup = practice::read_setup((fs::path(out) / "arrangement-1.setup.toml").string());
  ASSERT_TRUE(setup) << setup.error().what;
  EXPECT_EQ(setup->balls.size(), practice::read_session(out + "/session.json")->attempts[0].before.size());
}

}  // namespace
}  // namespace baizetrace
