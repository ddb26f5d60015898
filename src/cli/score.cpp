// score: a measured session judged again by a setup, without looking at the video again.
#include <fmt/format.h>

#include <filesystem>
#include <memory>
#include <opencv2/imgcodecs.hpp>

#include "base/files.hpp"
#include "cli/command.hpp"
#include "cli/session_file.hpp"
#include "compare/predicting.hpp"
#include "practice/extrapolate.hpp"
#include "practice/scoring.hpp"
#include "practice/sorting.hpp"
#include "practice/statistics.hpp"
#include "report/page.hpp"
#include "report/words.hpp"

namespace baizetrace::cli {
namespace {

namespace fs = std::filesystem;

struct Arguments {
  std::string session, setup;
  bool json = false;
};

Result<Done> run(const Arguments& a) {
  auto old = open_session(a.session);
  if (!old) return pass_on(old);
  const auto setup = practice::read_setup(a.setup);
  if (!setup) return pass_on(setup);
  if (setup->table != old->table_name)
    return fail("{}: is for the table {}, the session was measured on {}", a.setup, setup->table, old->table_name);
  practice::Session& s = old->session;
  std::vector<std::string> said;  // about each attempt, before
  const auto before = setups_of(s);
  for (const practice::Attempt& x : s.attempts) {
    const auto k = static_cast<std::size_t>(x.group) - 1;
    said.push_back(
        report::words_of(x, old->table, {.setup = k < before.size() && before[k] ? &*before[k] : nullptr}).sentence);
  }

  practice::Sorted sorted = practice::sort_shots(s.attempts, std::span(&*setup, 1), old->table, old->balls);
  std::vector<practice::Attempt> kept;
  for (std::size_t i = 0; i < sorted.attempts.size(); ++i) {
    practice::Attempt& x = sorted.attempts[i];
    const practice::Attempt& was = s.attempts[sorted.shot_of[i]];
    x.number = was.number;
    if (!x.follow_on) x.follow_on = was.follow_on;
    if (x.follow_on && setup->goal && setup->goal->next)
      x.follow_on->next_potted =
          std::any_of(x.follow_on->potted.begin(), x.follow_on->potted.end(),
                      [&](const practice::Potted& p) { return p.ball == setup->goal->next->ball; });
    const bool meant = sorted.setup_of_group[static_cast<std::size_t>(x.group - 1)] >= 0;
    practice::add_passing(x, old->table, old->balls,
                          meant && setup->goal ? setup->goal->gates : std::vector<motion::GateName>{});
    if (meant) {
      practice::score_attempt(x, *setup, old->table, old->balls);
    } else {
      x.score.reset();
      x.pot_made.reset();
      x.leave.reset();
      x.placing_error.clear();
    }
  }
  for (auto& n : sorted.notes) s.warnings.push_back(std::move(n));
  s.groups = std::move(sorted.groups);
  s.attempts = std::move(sorted.attempts);
  s.setup = {setup->file, setup->title};
  std::vector<practice::GroupSummary> summaries;
  report::PageInput page{s, old->table, nullptr, {}};
  for (std::size_t k = 0; k < s.groups.size(); ++k) {
    const practice::Setup* meant = sorted.setup_of_group[k] < 0 ? nullptr : &*setup;
    page.setup_of_group.push_back(meant);
    summaries.push_back(practice::summarise(s, s.groups[k].number, meant));
  }
  if (s.groups.size() == 1) page.setup = page.setup_of_group[0];
  s.summary = practice::summary_json(summaries);
  // A picture whose caption would say something else now is left out of the page; the plan stands there then.
  for (std::size_t i = 0; i < s.attempts.size(); ++i) {
    const practice::Attempt& x = s.attempts[i];
    const bool same = report::words_of(x, old->table, {.setup = page.setup_for(x)}).sentence == said[sorted.shot_of[i]];
    const fs::path picture = fs::path(old->folder) / fmt::format("attempt-{:02}.png", x.number);
    page.pictures.push_back(same ? cv::imread(picture.string(), cv::IMREAD_COLOR) : cv::Mat());
  }
  if (auto w = write_atomically(fs::path(old->folder) / "report.html", report::report_page(page)); !w) return w;
  if (auto w = write_atomically(old->file, practice::session_json(s)); !w) return w;
  if (a.json) {
    fmt::print("{}", practice::session_json(s));
    return Done{};
  }
  for (const practice::Attempt& x : s.attempts) {
    fmt::print("{}. ", x.number);
    if (!x.score) {
      fmt::print("{}\n", x.ended == practice::Ended::clip ? "cut off by the end of the recording: not judged"
                                                          : "not this setup: not judged");
      continue;
    }
    fmt::print("{:g} of {:g}", x.score->points, x.score->of);
    for (const practice::ScorePart& p : x.score->parts)
      fmt::print("; {} {}{}{}", p.what, p.met ? "met" : "not met", p.note.empty() ? "" : ": ", p.note);
    fmt::print("\n");
  }
  return Done{};
}

}  // namespace

Run declare_score(CLI::App& app) {
  auto a = std::make_shared<Arguments>();
  app.add_option("SESSION", a->session, "session.json, or the folder that `measure` filled")->required();
  app.add_option("--setup", a->setup, "setup file: the shot and the goal to judge by")->required();
  app.add_flag("--json", a->json, "print session.json on standard output");
  return [a] { return run(*a); };
}

}  // namespace baizetrace::cli
