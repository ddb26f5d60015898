#include "cli/judging.hpp"

#include <algorithm>
#include <filesystem>
#include <limits>

#include "base/files.hpp"
#include "practice/pot.hpp"
#include "practice/scoring.hpp"
#include "practice/sorting.hpp"
#include "practice/statistics.hpp"
#include "report/attempt_plan.hpp"
#include "report/page.hpp"
#include "report/words.hpp"

namespace baizetrace::cli {
namespace fs = std::filesystem;
namespace {

Shown shown_of(practice::Attempt x, const table::Table& table, const practice::Setup* setup) {
  Shown s;
  if (x.strike && x.strike->speed_told()) s.pace = x.strike->speed;
  x.strike.reset();
  s.outcome = report::words_of(x, table, {.setup = setup}).sentence;
  if (x.prediction)
    for (const PathRow& r : x.prediction->path) s.predicted.push_back(r.at);
  return s;
}

std::vector<Shown> all_shown(const OldSession& old, const std::vector<std::optional<practice::Setup>>& setups) {
  std::vector<Shown> shown;
  for (const practice::Attempt& x : old.session.attempts) {
    const auto k = static_cast<std::size_t>(x.group) - 1;
    shown.push_back(shown_of(x, old.table, k < setups.size() && setups[k] ? &*setups[k] : nullptr));
  }
  return shown;
}

// Nearest distance of a place from the corners of a line.
double off_line(const Vec2& place, const std::vector<Vec2>& line) {
  double nearest = std::numeric_limits<double>::infinity();
  for (std::size_t i = 1; i < line.size(); ++i) {
    const Vec2 leg = line[i] - line[i - 1];
    const double f = std::clamp((place - line[i - 1]).dot(leg) / std::max(leg.squaredNorm(), 1e-18), 0.0, 1.0);
    nearest = std::min(nearest, (place - line[i - 1] - f * leg).norm());
  }
  return nearest;
}

// Whether a picture made to show `was` may stand for `now`.
bool holds(const Shown& was, const Shown& now) {
  constexpr double kPace = 0.01;  // of the pace: less is not read from a picture
  constexpr double kLine = 0.01;  // m: half a line's width in a picture of the whole table
  if (was.outcome != now.outcome || was.pace.has_value() != now.pace.has_value()) return false;
  if (was.pace && std::abs(*was.pace - *now.pace) > kPace * *now.pace) return false;
  if (was.predicted.empty() != now.predicted.empty()) return false;
  const auto near = [&](const std::vector<Vec2>& places, const std::vector<Vec2>& line) {
    return std::all_of(places.begin(), places.end(), [&](const Vec2& p) { return off_line(p, line) <= kLine; });
  };
  return near(was.predicted, now.predicted) && near(now.predicted, was.predicted);
}

}  // namespace

Judged judged_before(const OldSession& old) {
  Judged j;
  j.setup_of_group = setups_of(old.session);
  j.shown = all_shown(old, j.setup_of_group);
  for (std::size_t i = 0; i < old.session.attempts.size(); ++i) j.was.push_back(i);
  return j;
}

Result<Judged> judge_by(OldSession& old, const practice::Setup& setup, const std::string& file) {
  if (setup.table != old.table_name)
    return fail("{}: is for the table {}, the session was measured on {}", file, setup.table, old.table_name);
  practice::Session& s = old.session;
  Judged out;
  out.shown = all_shown(old, setups_of(s));
  practice::Sorted sorted = practice::sort_shots(s.attempts, std::span(&setup, 1), old.table, old.balls);
  for (std::size_t i = 0; i < sorted.attempts.size(); ++i) {
    practice::Attempt& x = sorted.attempts[i];
    const practice::Attempt& was = s.attempts[sorted.shot_of[i]];
    x.number = was.number;
    if (!x.follow_on) x.follow_on = was.follow_on;
    if (x.follow_on && setup.goal && setup.goal->next)
      x.follow_on->next_potted = practice::next_potted(*x.follow_on, setup.goal->next->ball);
    const bool meant = sorted.setup_of_group[static_cast<std::size_t>(x.group - 1)] >= 0;
    practice::add_passing(x, old.table, old.balls,
                          meant && setup.goal ? setup.goal->gates : std::vector<motion::GateName>{});
    if (meant) {
      practice::score_attempt(x, setup, old.table, old.balls);
    } else {
      x.score.reset();
      x.not_judged.clear();
      x.pot_made.reset();
      x.leave.reset();
      x.placing_error.clear();
      x.meant.reset();
      x.miss.reset();
    }
  }
  for (auto& n : sorted.notes) s.warnings.push_back(std::move(n));
  s.groups = std::move(sorted.groups);
  s.attempts = std::move(sorted.attempts);
  s.setup = {setup.file, setup.title};
  for (const int k : sorted.setup_of_group) out.setup_of_group.push_back(k < 0 ? std::nullopt : std::optional(setup));
  out.was = std::move(sorted.shot_of);
  return out;
}

Result<Done> write_back(OldSession& old, const Judged& judged) {
  practice::Session& s = old.session;
  std::vector<practice::GroupSummary> summaries;
  report::PageInput page{s, old.table, nullptr, {}};
  for (std::size_t k = 0; k < s.groups.size(); ++k) {
    const bool known = k < judged.setup_of_group.size() && judged.setup_of_group[k];
    const practice::Setup* meant = known ? &*judged.setup_of_group[k] : nullptr;
    page.setup_of_group.push_back(meant);
    summaries.push_back(practice::summarise(s, s.groups[k].number, meant));
  }
  if (s.groups.size() == 1) page.setup = page.setup_of_group[0];
  s.summary = practice::summary_json(summaries);
  for (std::size_t i = 0; i < s.attempts.size(); ++i) {
    const practice::Attempt& x = s.attempts[i];
    const practice::Setup* meant = page.setup_for(x);
    const fs::path picture = fs::path(old.folder) / fmt::format("attempt-{:02}.png", x.number);
    page.pictures.push_back(holds(judged.shown[judged.was[i]], shown_of(x, old.table, meant)) ? picture.string()
                                                                                              : std::string());
    const fs::path plan = fs::path(old.folder) / fmt::format("attempt-{:02}.svg", x.number);
    if (auto w = write_atomically(plan, report::plan_svg(report::attempt_plan(x, old.table, meant))); !w) return w;
  }
  if (auto w = write_atomically(fs::path(old.folder) / "report.html", report::report_page(page)); !w) return w;
  return write_atomically(old.file, practice::session_json(s));
}

}  // namespace baizetrace::cli
