#include <fmt/format.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <memory>

#include "base/files.hpp"
#include "cli/command.hpp"
#include "cli/measuring.hpp"
#include "report/words.hpp"
#include "table/table.hpp"

namespace baizetrace::cli {
namespace {

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

std::string summary_of(const practice::Session& s, const MeasureOptions& o) {
  std::string out;
  for (const practice::Warning& w : s.warnings)
    out += w.time > 0 ? fmt::format("note, {:.1f} s: {}\n", w.time, w.what) : fmt::format("note: {}\n", w.what);
  for (const practice::Refused& r : s.refused)
    out += fmt::format("refused, {:.1f} to {:.1f} s: {}\n", r.from, r.to, r.why);
  if (s.attempts.empty()) out += "No attempt was found: nothing was struck in this recording.\n";
  if (const auto spec = table::read_spec(s.rig.table)) {
    const table::Table table(*spec);
    for (const practice::Attempt& a : s.attempts) {
      out += fmt::format("{}. {}", a.number, report::words_of(a, table).sentence);
      if (a.score) out += fmt::format(" {:g} of {:g}.", a.score->points, a.score->of);
      out += "\n";
    }
  }
  out += fmt::format("report: {}/report.html\n", o.folder);
  return out;
}

}  // namespace

Run declare_measure(CLI::App& app) {
  auto o = std::make_shared<MeasureOptions>();
  auto json = std::make_shared<bool>(false);
  app.add_option("CLIP", o->clip, "the recording")->required();
  app.add_option("-o,--output", o->folder, "folder for session.json, report.html and the pictures (made if missing)")
      ->required();
  app.add_option("--rig", o->rig, "rig file from `register`; without one the table is found in the clip");
  app.add_option("--setup", o->setup, "setup file: names the shot and the goal; never feeds the measurement");
  app.add_option("--conditions", o->conditions, "conditions file for the prediction");
  app.add_option("--table", o->table, "table's name in calibration/tables or a file")->capture_default_str();
  app.add_option("--readout", o->readout, "s from the first to the last row of a picture, when known")
      ->check(CLI::Range(0.0, 0.1));
  app.add_flag("--json", *json, "print session.json on standard output");
  return [o, json]() -> Result<Done> {
    Result<practice::Session> session = fail("not run");
    {
      ProgressLine line;
      o->progress = [&line](double share, const std::string& doing) { line(share, doing); };
      session = measure(*o);
      o->progress = nullptr;
    }
    if (!session) return pass_on(session);
    if (*json)
      fmt::print("{}", practice::session_json(*session));
    else
      fmt::print("{}", summary_of(*session, *o));
    return Done{};
  };
}

}  // namespace baizetrace::cli
