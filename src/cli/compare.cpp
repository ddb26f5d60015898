// compare: a measured session beside what was meant: the strike of each attempt, and why it ended where it did.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <optional>

#include "base/threads.hpp"
#include "cli/command.hpp"
#include "cli/judging.hpp"
#include "compare/beside.hpp"
#include "compare/miss.hpp"
#include "compare/what_if.hpp"
#include "report/miss_table.hpp"

namespace baizetrace::cli {
namespace {

struct Arguments {
  std::string session, setup, conditions;
  std::vector<std::string> what_if;
  std::optional<int> attempt;
  bool json = false;
};

Result<compare::KnownPlay> play_for(const Arguments& a, const practice::Session& s, std::string& words) {
  if (!a.conditions.empty()) {
    auto play = compare::read_known_play(a.conditions);
    if (play) words = play->tuned ? "conditions tuned on this table" : "conditions given, not tuned here";
    return play;
  }
  compare::KnownPlay play = compare::session_play({}, s.conditions);
  words = play.tuned ? "rolling and rebound measured on this table, the rest assumed" : "conditions assumed";
  return play;
}

void print(const practice::Attempt& x, double radius) {
  fmt::print("{}. ", x.number);
  if (x.miss)
    fmt::print("{}\n", x.miss->sentence);
  else
    fmt::print("Cannot tell why: {}.\n", x.not_explained.empty() ? "no setup says what was meant" : x.not_explained);
  if (const std::string line = report::strike_line(x, radius); !line.empty()) fmt::print("   {}\n", line);
  for (const report::MissRow& r : report::miss_rows(x))
    fmt::print("   {:<46} {:>14}  {}\n", r.what, r.how_far, r.known);
  if (const std::string line = report::parting_words(x); !line.empty()) fmt::print("   {}\n", line);
}

Result<Done> run(const Arguments& a) {
  auto old = open_session(a.session);
  if (!old) return pass_on(old);
  Judged judged;
  if (a.setup.empty()) {
    judged = judged_before(*old);
  } else {
    const auto setup = practice::read_setup(a.setup);
    if (!setup) return pass_on(setup);
    auto by = judge_by(*old, *setup, a.setup);
    if (!by) return pass_on(by);
    judged = std::move(*by);
  }
  practice::Session& s = old->session;
  std::string words;
  const auto play = play_for(a, s, words);
  if (!play) return pass_on(play);
  share_out(static_cast<int>(s.attempts.size()), kThreads, [&](int i) {
    practice::Attempt& one = s.attempts[static_cast<std::size_t>(i)];
    const auto k = static_cast<std::size_t>(one.group) - 1;
    const auto& setup = k < judged.setup_of_group.size() ? judged.setup_of_group[k] : std::nullopt;
    compare::explain_attempt(one, setup, old->table, old->balls, *play, words);
  });
  const auto x = std::find_if(s.attempts.begin(), s.attempts.end(),
                              [&](const practice::Attempt& one) { return one.number == a.attempt; });
  if (a.attempt && x == s.attempts.end()) return fail("--attempt {}: the session has no such attempt", *a.attempt);
  if (!a.what_if.empty()) {
    // Only asked, nothing written.
    const auto k = static_cast<std::size_t>(x->group) - 1;
    const practice::Setup* setup =
        k < judged.setup_of_group.size() && judged.setup_of_group[k] ? &*judged.setup_of_group[k] : nullptr;
    for (const std::string& change : a.what_if) {
      const auto shot = compare::what_if(*x, change, setup, old->table, old->balls, *play);
      if (!shot) return pass_on(shot);
      fmt::print("{}. {}: {}\n", x->number, change, report::what_if_words(shot->motion, shot->unchanged));
    }
    return Done{};
  }
  if (auto written = write_back(*old, judged); !written) return written;
  if (a.json) {
    fmt::print("{}", practice::session_json(s));
    return Done{};
  }
  fmt::print("{}\n", words);
  for (const practice::Attempt& one : s.attempts)
    if (!a.attempt || one.number == *a.attempt) print(one, old->balls.kinds[0].radius);
  return Done{};
}

}  // namespace

Run declare_compare(CLI::App& app) {
  auto a = std::make_shared<Arguments>();
  app.add_option("SESSION", a->session, "session.json, or the folder that `measure` filled")->required();
  app.add_option("--setup", a->setup, "setup file: the shot that was meant (default: what the session names)");
  app.add_option(
      "--conditions", a->conditions,
      "how the table plays, a *.conditions.toml, best one that `tune` wrote (default: what the session read)");
  auto* attempt = app.add_option("--attempt", a->attempt, "tell of this attempt alone; --what-if asks for one");
  app.add_option("--what-if", a->what_if,
                 "the strike found with one thing changed: no-side, on-the-mark, softer=10, harder=10 (percent), "
                 "right=.., height=.. (ball radii); more than one may be asked")
      ->needs(attempt);
  app.add_flag("--json", a->json, "print session.json on standard output, all of it")->excludes(attempt);
  return [a] { return run(*a); };
}

}  // namespace baizetrace::cli
