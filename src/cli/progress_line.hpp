// How far a long job is, on a terminal.
#pragma once

#include <fmt/format.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <string>

namespace baizetrace::cli {

// One line that is rewritten on a terminal; nothing when piped.
class ProgressLine {
 public:
  void operator()(double share, const std::string& doing) {
    if (!::isatty(STDERR_FILENO)) return;
    const auto now = std::chrono::steady_clock::now();
    const double since = std::chrono::duration<double>(now - begun_).count();
    if (doing == doing_ && std::chrono::duration<double>(now - shown_).count() < kEvery) return;
    if (doing != doing_) begun_ = now;
    shown_ = now, doing_ = doing;
    std::string line = doing;
    if (share > 0.02 && since > 1)
      line += fmt::format(" {:3.0f} %, {:.0f} s left", 100 * share, since * (1 - share) / share);
    else if (share > 0)
      line += fmt::format(" {:3.0f} %", 100 * share);
    fmt::print(stderr, "\r\033[K{}", line);
    std::fflush(stderr);
    drawn_ = true;
  }
  ~ProgressLine() {
    if (drawn_) fmt::print(stderr, "\r\033[K");
  }

 private:
  static constexpr double kEvery = 0.2;  // s between redraws
  std::chrono::steady_clock::time_point begun_ = std::chrono::steady_clock::now(), shown_{};
  std::string doing_;
  bool drawn_ = false;
};

}  // namespace baizetrace::cli
