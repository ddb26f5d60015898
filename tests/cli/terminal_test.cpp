// What a person sees who sits at a terminal, and that nothing of it is there when nobody does.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <poll.h>
#include <pty.h>
#include <sys/wait.h>

#include <chrono>
#include <csignal>
#include <regex>

#include "base/files.hpp"
#include "practice/session.hpp"
#include "support/program.hpp"

namespace baizetrace {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using testing::Not;
using Clock = std::chrono::steady_clock;

std::string sample(const std::string& name) { return (fs::path(BAIZETRACE_SOURCE) / "samples" / name).string(); }

// The program on a terminal of its own.
class Terminal {
 public:
  explicit Terminal(const std::vector<std::string>& arguments) {
    child_ = ::forkpty(&screen_, nullptr, nullptr, nullptr);
    if (child_ != 0) return;
    std::vector<char*> argv{const_cast<char*>(BAIZETRACE_PROGRAM)};
    for (const std::string& a : arguments) argv.push_back(const_cast<char*>(a.c_str()));
    argv.push_back(nullptr);
    ::execv(BAIZETRACE_PROGRAM, argv.data());
    ::_exit(127);
  }
  Terminal(const Terminal&) = delete;
  Terminal& operator=(const Terminal&) = delete;
  ~Terminal() {
    if (code_ < 0) ::kill(child_, SIGKILL), ::waitpid(child_, nullptr, 0);
    ::close(screen_);
  }

  // Reads until `enough` says so or the program has ended. False: four minutes went by.
  template <class Enough>
  bool read_until(Enough enough) {
    const auto end = Clock::now() + std::chrono::seconds(240);
    while (!enough(said_)) {
      if (Clock::now() > end) return false;
      pollfd waiting{screen_, POLLIN, 0};
      if (::poll(&waiting, 1, 200) <= 0) continue;
      char some[4096];
      const ssize_t n = ::read(screen_, some, sizeof some);
      if (n <= 0) return true;  // it has ended
      said_.append(some, static_cast<std::size_t>(n));
    }
    return true;
  }
  void press(char key) { ASSERT_EQ(::write(screen_, &key, 1), 1); }
  // Exit code; -1: ended by a signal.
  int ended() {
    if (!read_until([](const std::string&) { return false; })) return -2;
    int status = 0;
    ::waitpid(child_, &status, 0);
    code_ = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
    return code_;
  }
  [[nodiscard]] const std::string& said() const { return said_; }

 private:
  int screen_ = -1;
  pid_t child_ = -1;
  int code_ = -1;
  std::string said_;
};

// The largest share of the clip that was told while it was measured, per cent; -1: none.
int share_told(const std::string& said) {
  static const std::regex share("measuring +([0-9]+) %");
  int most = -1;
  for (std::sregex_iterator at(said.begin(), said.end(), share), none; at != none; ++at)
    most = std::max(most, std::stoi((*at)[1]));
  return most;
}

constexpr char kCtrlC = 3;

TEST(Terminal, ProgressTellsTheTimeLeftAndLeavesNothingBehind) {
  const tests::ScratchFolder folder;
  Terminal t({"measure", sample("green-for-brown.mp4"), "-o", folder.file("out"), "--rig", folder.file("none")});
  EXPECT_EQ(t.ended(), 1);
  EXPECT_THAT(t.said(), HasSubstr("no such file"));

  Terminal measuring({"measure", sample("green-for-brown.mp4"), "-o", folder.file("out")});
  ASSERT_EQ(measuring.ended(), 0) << measuring.said();
  const std::string& said = measuring.said();
  EXPECT_THAT(said, HasSubstr("finding the table"));
  EXPECT_TRUE(std::regex_search(said, std::regex("measuring +[0-9]+ %, [0-9]+ s left"))) << said;
  EXPECT_GE(share_told(said), 50);
  // The line is wiped before the answer is printed: after the last wiping nothing of it stands there.
  const std::size_t wiped = said.rfind("\033[K");
  ASSERT_NE(wiped, std::string::npos);
  EXPECT_THAT(said.substr(wiped), HasSubstr("1. "));
  EXPECT_THAT(said.substr(wiped), Not(HasSubstr(" left")));
  // The line never breaks on a terminal of 80 columns.
  for (std::size_t at = said.find("\r\033[K"); at + 1 < wiped; at = said.find("\r\033[K", at + 1))
    EXPECT_LT(said.find('\r', at + 1) - at, 84U) << said.substr(at, 120);
}

// Ctrl-C as it is pressed: what was measured so far is saved and said. The attempt under way is there, cut off.
TEST(Terminal, CtrlCEndsCleanlyWithTheAttemptUnderWay) {
  const tests::ScratchFolder folder;
  const std::string out = folder.file("out"), journal = folder.file("j.db");
  Terminal t({"measure", sample("green-for-brown.mp4"), "-o", out, "--journal", journal});
  ASSERT_TRUE(t.read_until([](const std::string& said) { return share_told(said) >= 50; })) << t.said();
  t.press(kCtrlC);
  ASSERT_EQ(t.ended(), 1) << t.said();
  EXPECT_THAT(t.said(), HasSubstr("stopped at"));
  EXPECT_THAT(t.said(), HasSubstr("what was measured so far is in"));
  const auto s = practice::read_session((fs::path(out) / "session.json").string());
  ASSERT_TRUE(s) << s.error().what;
  EXPECT_FALSE(s->complete);
  EXPECT_GT(s->measured_until, 0.4 * s->clip.duration);
  EXPECT_LT(s->measured_until, s->clip.duration);
  ASSERT_EQ(s->attempts.size(), 1U);
  EXPECT_EQ(s->attempts[0].ended, practice::Ended::clip);
  EXPECT_GT(s->attempts[0].balls.at("white").rows.size(), 30U);
  EXPECT_TRUE(fs::exists(fs::path(out) / "report.html"));
  EXPECT_TRUE(fs::exists(fs::path(out) / "attempt-01.png"));
  const tests::Ran list = tests::run_program(BAIZETRACE_PROGRAM, {"journal", "list", journal});
  EXPECT_THAT(list.out, HasSubstr("1 played"));
}

// While the table is being found too.
TEST(Terminal, CtrlCAtTheStart) {
  const tests::ScratchFolder folder;
  Terminal t({"measure", sample("green-for-brown.mp4"), "-o", folder.file("out")});
  ASSERT_TRUE(t.read_until([](const std::string& said) { return said.find("finding") != std::string::npos; }));
  t.press(kCtrlC);
  ASSERT_EQ(t.ended(), 1) << t.said();
  EXPECT_THAT(t.said(), HasSubstr("stopped at"));
  EXPECT_FALSE(practice::read_session(folder.file("out") + "/session.json")->complete);
}

}  // namespace
}  // namespace baizetrace
