#include <fmt/format.h>
#include <memory>

#include "base/files.hpp"
#include "cli/clip_rig.hpp"
#include "cli/command.hpp"
#include "cli/explaining.hpp"
#include "cli/filming.hpp"
#include "cli/interrupt.hpp"
#include "cli/measuring.hpp"
#include "cli/progress_line.hpp"
#include "cli/session_file.hpp"
#include "journal/journal.hpp"
#include "report/session_words.hpp"
#include "report/words.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"

namespace baizetrace::cli {
namespace {

std::string summary_of(const practice::Session& s, const MeasureOptions& o) {
  std::string out;
  const auto when = [&](int clip, const std::string& time) {
    return s.more_clips.empty() ? time : fmt::format("clip {}{}{}", clip + 1, time.empty() ? "" : ", ", time);
  };
  const auto line = [](const std::string& what, const std::string& where, const std::string& words) {
    return fmt::format("{}{}{}: {}\n", what, where.empty() ? "" : ", ", where, words);
  };
  for (const practice::Warning& w : s.warnings)
    out += line("note", when(w.clip, w.time > 0 ? fmt::format("{:.1f} s", w.time) : ""), w.what);
  for (const practice::Refused& r : s.refused)
    out += line("refused", when(r.clip, r.to > 0 ? fmt::format("{:.1f} to {:.1f} s", r.from, r.to) : ""), r.why);
  const auto setups = setups_of(s);
  for (std::size_t k = 0; k < s.groups.size(); ++k) {
    const practice::Group& g = s.groups[k];
    if (s.groups.size() > 1 || !g.note.empty())
      out += fmt::format("group {}: {}{}{}\n", g.number, g.setup ? g.setup->second : "no setup known",
                         g.note.empty() ? "" : "; ", g.note);
    if (!g.setup) out += fmt::format("its marks to keep: {}/arrangement-{}.setup.toml\n", o.folder, g.number);
  }
  if (s.attempts.empty()) out += "No attempt was found: no struck ball was followed in this recording.\n";
  if (const auto spec = table::read_spec(s.rig.table)) {
    const table::Table table(*spec);
    for (const practice::Attempt& a : s.attempts) {
      const auto k = static_cast<std::size_t>(a.group) - 1;
      const practice::Setup* meant = k < setups.size() && setups[k] ? &*setups[k] : nullptr;
      out += fmt::format("{}. {}", a.number, report::words_of(a, table, {.setup = meant}).sentence);
      if (a.score) out += fmt::format(" {:g} of {:g}.", a.score->points, a.score->of);
      if (!a.not_judged.empty()) out += fmt::format(" Not judged: {}.", a.not_judged);
      out += "\n";
    }
  }
  for (std::size_t k = 0; k < s.groups.size() && s.attempts.size() > 1; ++k) {
    const practice::GroupSummary sum =
        practice::summarise(s, s.groups[k].number, k < setups.size() && setups[k] ? &*setups[k] : nullptr);
    const report::GroupWords words = report::group_words(sum);
    out += fmt::format("{} {}{}{}\n", words.verdict, words.lead,
                       words.advice.empty() ? "" : " One thing to try: ", words.advice);
  }
  out += fmt::format("report: {}/report.html\n", o.folder);
  return out;
}

struct VideoWanted {
  bool overlay = false, mute = false, only_the_bed = true;
  int slow = 1;
};

// After the measuring, in a pass of its own: plain measuring costs what it did.
Result<Done> draw_overlays(const practice::Session& session, const MeasureOptions& o, const VideoWanted& video) {
  const auto spec = table::read_spec(session.rig.table);
  if (!spec) return pass_on(spec);
  const auto balls = table::read_ball_set(spec->balls);
  if (!balls) return pass_on(balls);
  const auto setups = setups_of(session);
  for (std::size_t k = 0; k < o.clips.size(); ++k) {
    const auto rig = rig_of_clip(session, o.folder, static_cast<int>(k));
    if (!rig) return pass_on(rig);
    OverlayOptions how;
    how.clip = o.clips[k];
    how.output = o.folder + (o.clips.size() == 1 ? "/overlay.mp4" : fmt::format("/overlay-{}.mp4", k + 1));
    how.index = static_cast<int>(k);
    how.only_the_bed = video.only_the_bed;
    how.mute = video.mute;
    how.slow = std::max(1, video.slow);
    how.progress = o.progress;
    how.stopped = o.stopped;
    const auto drawn = overlay(session, *rig, camera::table_of(*rig, *spec), balls->radius_of("white"), setups, how);
    if (!drawn) return pass_on(drawn);
    for (const std::string& n : drawn->notes) fmt::print(stderr, "note: {}\n", n);
  }
  return Done{};
}

struct Explaining {
  std::string folder;  // "": not asked for
  std::vector<double> times;
};

Result<Done> explain(const practice::Session& session, const MeasureOptions& o, const Explaining& asked) {
  ExplainOptions how;
  how.session_folder = o.folder;
  how.folder = asked.folder;
  how.times = asked.times;
  how.progress = o.progress;
  how.stopped = o.stopped;
  const auto drawn = explain_frames(session, how);
  if (!drawn) return pass_on(drawn);
  if (drawn->left_out > 0)
    fmt::print(stderr,
               "note: the first {} frames that matter are explained, {} more are not: --explain-at names some\n",
               drawn->pictures, drawn->left_out);
  return Done{};
}

}  // namespace

Run declare_measure(CLI::App& app) {
  auto o = std::make_shared<MeasureOptions>();
  auto json = std::make_shared<bool>(false);
  auto journal = std::make_shared<std::string>();
  auto players = std::make_shared<std::vector<std::string>>();
  app.add_option("CLIP", o->clips, "the recordings of one session, in the order in which they were filmed")->required();
  app.add_option("-o,--output", o->folder, "folder for session.json, report.html and the pictures (made if missing)")
      ->required();
  app.add_option("--rig", o->rig, "rig file from `register`; without one the table is found in the clip");
  auto* setup =
      app.add_option("--setup", o->setup, "setup file: names the shot and the goal; never feeds the measurement");
  app.add_option("--setups", o->setups, "folder of setup files: which is played is told from where the balls stand")
      ->excludes(setup);
  app.add_option("--conditions", o->conditions, "conditions file for the prediction");
  app.add_option("--table", o->table, "table's name in calibration/tables or a file")->capture_default_str();
  app.add_option("--readout", o->readout, "s from the first to the last row of a picture, when known")
      ->check(CLI::Range(0.0, 0.1));
  auto* journal_option = app.add_option("--journal", *journal, "journal file to remember the session in");
  app.add_option("--players", *players, "who played, in turns: one name, or several separated by commas")
      ->delimiter(',')
      ->needs(journal_option);
  auto video = std::make_shared<VideoWanted>();
  app.add_flag("--overlay", video->overlay, "also writes the recording with the paths drawn in: overlay.mp4");
  app.add_flag("--slow{4}", video->slow, "the overlay runs so many times slower around contacts (without sound)");
  app.add_flag("--mute", video->mute, "the overlay has no sound");
  app.add_flag("--only-the-bed,!--whole-picture", video->only_the_bed,
               "in the overlay bed and cushions alone are shown, people over them covered (the default); "
               "--whole-picture shows all. Attempt pictures and the report never show more than the bed");
  auto explaining = std::make_shared<Explaining>();
  auto* explain_option =
      app.add_option("--explain", explaining->folder,
                     "folder for pictures of what was seen, kept and thrown away, and why, in the frames that matter. "
                     "They show whoever was filmed");
  app.add_option("--explain-at", explaining->times, "of the frames at these times (s, separated by commas) instead")
      ->delimiter(',')
      ->needs(explain_option);
  app.add_flag("--json", *json, "print session.json on standard output");
  return [o, json, journal, players, video, explaining]() -> Result<Done> {
    Result<practice::Session> session = fail("not run");
    if (!journal->empty())  // a journal that cannot be opened is told before an hour is spent
      if (auto opened = journal::Journal::open(*journal); !opened) return pass_on(opened);
    {
      listen_for_interrupts();
      o->stopped = interrupted;
      ProgressLine line;
      o->progress = [&line](double share, const std::string& doing) { line(share, doing); };
      session = measure(*o);
      if (session && video->overlay && !interrupted())
        if (auto drawn = draw_overlays(*session, *o, *video); !drawn) return drawn;
      if (session && !explaining->folder.empty() && !interrupted())
        if (auto drawn = explain(*session, *o, *explaining); !drawn) return drawn;
      o->progress = nullptr;
    }
    if (!session) return pass_on(session);
    if (!journal->empty()) {
      auto opened = journal::Journal::open(*journal);
      if (!opened) return pass_on(opened);
      if (auto added = opened->add(*session, *players, setups_of(*session)); !added) return pass_on(added);
    }
    if (*json)
      fmt::print("{}", practice::session_json(*session));
    else
      fmt::print("{}", summary_of(*session, *o));
    if (interrupted())
      return fail("stopped at {:.1f} s; what was measured so far is in {}", session->measured_until, o->folder);
    return Done{};
  };
}

}  // namespace baizetrace::cli
