// journal: what was remembered of the sessions, in one file.
#include "journal/journal.hpp"

#include <fmt/format.h>

#include <memory>
#include <nlohmann/json.hpp>

#include "base/files.hpp"
#include "cli/command.hpp"
#include "cli/session_file.hpp"

namespace baizetrace::cli {
namespace {

using Json = nlohmann::ordered_json;
using journal::Journal;

struct Arguments {
  std::string file, out, player, setup, numbers;
  std::vector<std::string> sessions, players;
  int session = 0;
  bool json = false;
};

std::string share(int made, int of) {
  if (of == 0) return "-";
  const practice::Interval i = practice::wilson(made, of);
  return fmt::format("{} of {} ({:.0f} %, {:.0f}-{:.0f})", made, of, 100.0 * made / of, 100 * i.low, 100 * i.high);
}
std::string cm(const std::optional<double>& m) { return m ? fmt::format("{:.0f} cm", 100 * *m) : "-"; }
Json maybe(const std::optional<double>& v) { return v ? Json(*v) : Json(nullptr); }
Json maybe(const std::optional<bool>& v) { return v ? Json(*v) : Json(nullptr); }

// "3", "1-5,8": numbers of attempts.
Result<std::vector<int>> numbers_of(const std::string& text) {
  std::vector<int> out;
  std::size_t at = 0;
  while (at < text.size()) {
    const std::size_t comma = std::min(text.find(',', at), text.size());
    const std::string part = text.substr(at, comma - at);
    int from = 0, to = 0, used = 0;
    if (std::sscanf(part.c_str(), "%d-%d%n", &from, &to, &used) != 2 || used != static_cast<int>(part.size())) {
      used = 0;
      if (std::sscanf(part.c_str(), "%d%n", &from, &used) != 1 || used != static_cast<int>(part.size()))
        return fail("--attempts: \"{}\": expected numbers as in 1-5,8", text);
      to = from;
    }
    constexpr int kMost = 100'000;
    if (from < 1 || to < from || to > kMost) return fail("--attempts: \"{}\": expected numbers as in 1-5,8", text);
    for (int n = from; n <= to; ++n) out.push_back(n);
    at = comma + 1;
  }
  return out;
}

// Only a file that is there is opened: a mistyped name must not make an empty journal.
Result<Journal> open_old(const std::string& file) {
  std::error_code code;
  if (!std::filesystem::exists(file, code)) return fail("{}: no such file", file);
  return Journal::open(file);
}

Result<Done> add(const Arguments& a) {
  std::vector<OldSession> sessions;
  for (const std::string& where : a.sessions) {
    auto s = open_session(where);
    if (!s) return pass_on(s);
    sessions.push_back(std::move(*s));
  }
  auto j = Journal::open(a.file);
  if (!j) return pass_on(j);
  for (const OldSession& s : sessions) {
    const auto id = j->add(s.session, a.players, setups_of(s.session));
    if (!id) return pass_on(id);
    fmt::print("session {}: {} attempts from {}\n", *id, s.session.attempts.size(), s.file);
  }
  return Done{};
}

Result<Done> list(const Arguments& a) {
  const auto j = open_old(a.file);
  if (!j) return pass_on(j);
  const auto rows = j->sessions();
  if (!rows) return pass_on(rows);
  Json all = Json::array();
  for (const journal::SessionRow& r : *rows) {
    if (a.json)
      all.push_back({{"session", r.id},
                     {"recorded", r.recorded},
                     {"clip", r.clip},
                     {"attempts", r.attempts},
                     {"pots", r.pots},
                     {"pots_of", r.pots_of},
                     {"hits", r.hits},
                     {"judged", r.judged},
                     {"setups", r.setups},
                     {"players", r.players}});
    else
      fmt::print("{:4}  {:10}  {:4} played  pots {}  whole goal {}  {}{}{}\n", r.id,
                 r.recorded.empty() ? "no date" : r.recorded, r.attempts, share(r.pots, r.pots_of),
                 share(r.hits, r.judged), r.setups.empty() ? r.clip : r.setups, r.players.empty() ? "" : "  by ",
                 r.players);
  }
  if (a.json) fmt::print("{}\n", all.dump());
  if (!a.json && rows->empty()) fmt::print("No session yet.\n");
  return Done{};
}

Result<Done> show(const Arguments& a) {
  const auto j = open_old(a.file);
  if (!j) return pass_on(j);
  const auto rows = j->attempts({a.setup, a.player, a.session});
  if (!rows) return pass_on(rows);
  if (rows->empty()) return fail("{}: holds no such attempts in session {}", a.file, a.session);
  Json all = Json::array();
  for (const journal::AttemptRow& r : *rows) {
    if (a.json) {
      all.push_back({{"session", r.session},
                     {"number", r.number},
                     {"setup", r.setup},
                     {"player", r.player},
                     {"strike_time", r.strike_time},
                     {"ended", r.ended},
                     {"pot", maybe(r.pot)},
                     {"hit", maybe(r.hit)},
                     {"in_off", maybe(r.in_off)},
                     {"points", maybe(r.points)},
                     {"of", maybe(r.of)},
                     {"from_mark", maybe(r.from_mark)},
                     {"along", maybe(r.along)},
                     {"across", maybe(r.across)},
                     {"pace", maybe(r.pace)}});
      continue;
    }
    std::string line = fmt::format("{:4}  ", r.number);
    line += !r.pot                     ? r.points ? "          " : "not judged"
            : *r.pot                   ? "in        "
            : r.in_off.value_or(false) ? "in-off    "
                                       : "missed    ";
    line += r.from_mark ? fmt::format("  {:3.0f} cm from the mark", 100 * *r.from_mark) : "";
    if (r.along)
      line += fmt::format(", {:.0f} cm {}, {:.0f} cm {}", 100 * std::abs(*r.along), *r.along < 0 ? "short" : "long",
                          100 * std::abs(*r.across), *r.across > 0 ? "left" : "right");
    if (r.pace) line += fmt::format("  {:.2f} m/s", *r.pace);
    if (r.points) line += fmt::format("  {:g} of {:g}", *r.points, r.of.value_or(0));
    if (!r.player.empty()) line += "  " + r.player;
    fmt::print("{}\n", line);
  }
  if (a.json) fmt::print("{}\n", all.dump());
  return Done{};
}

Result<Done> trend(const Arguments& a) {
  const auto j = open_old(a.file);
  if (!j) return pass_on(j);
  const auto t = j->trend({a.setup, a.player, std::nullopt});
  if (!t) return pass_on(t);
  if (t->evenings.empty()) return fail("{}: holds no attempts of that setup and player", a.file);
  if (a.json) {
    Json all{{"evenings", Json::array()}};
    for (const journal::TrendRow& r : t->evenings)
      all["evenings"].push_back({{"session", r.session},
                                 {"recorded", r.recorded},
                                 {"attempts", r.attempts},
                                 {"median_from_mark", maybe(r.median_from_mark)},
                                 {"pots", r.pots},
                                 {"pots_of", r.pots_of},
                                 {"interval", {r.pot_interval.low, r.pot_interval.high}},
                                 {"along", maybe(r.along_mean)},
                                 {"along_sd", maybe(r.along_sd)},
                                 {"across", maybe(r.across_mean)},
                                 {"across_sd", maybe(r.across_sd)},
                                 {"pace_sd", maybe(r.pace_sd)}});
    all["spread_per_evening"] = maybe(t->spread_per_evening);
    if (t->spread_per_evening) all["spread_by_chance"] = t->spread_by_chance;
    if (t->tiring)
      all["tiring_per_attempt"] = {{"mean", t->tiring->mean},
                                   {"interval", {t->tiring_interval->low, t->tiring_interval->high}}};
    fmt::print("{}\n", all.dump());
    return Done{};
  }
  fmt::print("evening     played  half within  along          across         pots\n");
  for (const journal::TrendRow& r : t->evenings)
    fmt::print("{:10}  {:6}  {:>11}  {:>13}  {:>13}  {}\n",
               r.recorded.empty() ? fmt::format("{}", r.session) : r.recorded, r.attempts, cm(r.median_from_mark),
               r.along_mean ? fmt::format("{:+.0f} +- {:.0f} cm", 100 * *r.along_mean, 100 * *r.along_sd) : "-",
               r.across_mean ? fmt::format("{:+.0f} +- {:.0f} cm", 100 * *r.across_mean, 100 * *r.across_sd) : "-",
               share(r.pots, r.pots_of));
  if (!t->one_shot) {
    fmt::print("How it changes is told of one setup: name it with --setup.\n");
  } else if (t->spread_per_evening) {
    const double per = 100 * *t->spread_per_evening;
    constexpr double kRarely = 0.05;  // an order of evenings that chance makes more often is no trend
    if (t->spread_by_chance > kRarely)
      fmt::print("The spread: no change that the numbers carry.\n");
    else
      fmt::print("The spread {} by {:.1f} cm an evening.\n", per < 0 ? "shrinks" : "grows", std::abs(per));
  } else {
    fmt::print("No trend yet: it takes {} evenings with a known mark.\n", journal::kFewestEvenings);
  }
  if (t->halves) {
    const auto& [before, now] = *t->halves;
    const bool apart = before.high < now.low || now.high < before.low;
    fmt::print("Pots, first half of the evenings {:.0f}-{:.0f} %, second {:.0f}-{:.0f} %: {}.\n", 100 * before.low,
               100 * before.high, 100 * now.low, 100 * now.high,
               apart ? "a change" : "no change that the numbers carry");
  }
  if (t->tiring_interval && (t->tiring_interval->low > 0 || t->tiring_interval->high < 0))
    fmt::print("Within an evening the spread {} by {:.1f} cm in ten attempts ({:.1f} to {:.1f}).\n",
               t->tiring->mean > 0 ? "grows" : "shrinks", 1000 * std::abs(t->tiring->mean),
               1000 * t->tiring_interval->low, 1000 * t->tiring_interval->high);
  return Done{};
}

Result<Done> assign(const Arguments& a) {
  const auto numbers = numbers_of(a.numbers);
  if (!numbers) return pass_on(numbers);
  auto j = open_old(a.file);
  if (!j) return pass_on(j);
  const auto changed = j->assign(a.session, a.player, *numbers);
  if (!changed) return pass_on(changed);
  fmt::print("{} attempts of session {} are {}'s\n", *changed, a.session, a.player);
  return Done{};
}

Result<Done> to_csv(const Arguments& a) {
  const auto j = open_old(a.file);
  if (!j) return pass_on(j);
  const auto csv = j->csv({a.setup, a.player, std::nullopt});
  if (!csv) return pass_on(csv);
  if (a.out.empty()) {
    fmt::print("{}", *csv);
    return Done{};
  }
  return write_atomically(a.out, *csv);
}

Result<Done> backup(const Arguments& a) {
  const auto j = open_old(a.file);
  if (!j) return pass_on(j);
  if (auto done = j->backup(a.out); !done) return done;
  fmt::print("wrote {}\n", a.out);
  return Done{};
}

}  // namespace

Run declare_journal(CLI::App& app) {
  auto a = std::make_shared<Arguments>();
  app.require_subcommand(1);
  std::vector<std::pair<CLI::App*, Result<Done> (*)(const Arguments&)>> parts;
  const auto part = [&](const char* name, const char* words, Result<Done> (*what)(const Arguments&)) {
    CLI::App* sub = app.add_subcommand(name, words);
    sub->add_option("JOURNAL", a->file, "the journal's file")->required();
    parts.emplace_back(sub, what);
    return sub;
  };
  const auto filters = [&](CLI::App* sub) {
    sub->add_option("--setup", a->setup, "only attempts of the setup with this title");
    sub->add_option("--player", a->player, "only attempts of this player");
  };
  CLI::App* sub = part("add", "remember measured sessions; one that is there already is replaced, not doubled", add);
  sub->add_option("SESSION", a->sessions, "session.json files, or the folders that `measure` filled")->required();
  sub->add_option("--players", a->players, "who played, in turns: one name, or several separated by commas")
      ->delimiter(',');
  sub = part("list", "the sessions", list);
  sub->add_flag("--json", a->json, "as JSON");
  sub = part("show", "the attempts of a session", show);
  sub->add_option("SESSION", a->session, "its number, as `list` prints it")->required();
  filters(sub);
  sub->add_flag("--json", a->json, "as JSON");
  sub = part("trend", "how it changes from evening to evening, led by the spread", trend);
  filters(sub);
  sub->add_flag("--json", a->json, "as JSON");
  sub = part("assign", "say who played", assign);
  sub->add_option("SESSION", a->session, "its number, as `list` prints it")->required();
  sub->add_option("PLAYER", a->player, "a name")->required();
  sub->add_option("--attempts", a->numbers, "which, as in 1-5,8; without it all of the session");
  sub = part("export", "every attempt as a line of comma-separated values", to_csv);
  filters(sub);
  sub->add_option("-o,--output", a->out, "file; without it standard output");
  sub = part("backup", "a whole copy, also while others write", backup);
  sub->add_option("-o,--output", a->out, "file that does not exist yet")->required();
  return [a, parts]() -> Result<Done> {
    for (const auto& [which, what] : parts)
      if (which->parsed()) return what(*a);
    return fail("internal fault");
  };
}

}  // namespace baizetrace::cli
