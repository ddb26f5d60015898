// baizetrace routes SETUP: every route the shot offers, and how much each forgives.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>

#include "base/files.hpp"
#include "cli/command.hpp"
#include "cli/given_setup.hpp"
#include "cli/player_spread.hpp"
#include "compare/region.hpp"
#include "compare/routes.hpp"
#include "report/names.hpp"
#include "report/plan.hpp"
#include "report/strike_window.hpp"

namespace baizetrace::cli {
namespace {
using Json = nlohmann::ordered_json;
namespace fs = std::filesystem;

struct Arguments {
  std::string setup, conditions, spread = "club", player, output;
  std::vector<double> region;
  int strikes = 10000, threads = 2;
  bool json = false;
};

constexpr std::size_t kMostShown = 8;

std::string letter(std::size_t k) { return std::string(1, static_cast<char>('A' + k)); }

std::string route_words(const compare::OneRoute& r) {
  std::string out;
  for (const std::string& c : r.cushions) out += (out.empty() ? "" : ", ") + table::trade_name_of_cushion(c);
  if (out.empty()) out = "no cushion";
  for (const auto& [a, b] : r.gates)
    out += fmt::format("; between {} and {}", report::post_name(a), report::post_name(b));
  return out;
}

std::string leave_words(const motion::Leave& l) {
  if (!l.on) return "not on";
  std::string out = fmt::format("{} to {}, {:.2f} m", practice::fullness_words(l.cut),
                                table::trade_name_of_pocket(l.into), l.distance);
  if (!l.clear) out += l.blocked_by.empty() ? ", not clear" : ", " + report::post_name(l.blocked_by) + " in the way";
  if (l.hampered_by) out += ", hampered";
  return out;
}

std::string mm(double off, double radius, const char* plus, const char* minus) {
  const double v = 1000 * radius * std::abs(off);
  return v < 0.5 ? std::string("centre") : fmt::format("{:.0f} mm {}", v, off > 0 ? plus : minus);
}

void print(const compare::Routes& found, double radius) {
  fmt::print("{} strikes tried: {} can be aimed", found.tried, found.aimed);
  if (found.not_potted > 0) fmt::print(", {} of them do not pot", found.not_potted);
  if (found.in_off > 0) fmt::print(", {} go in-off", found.in_off);
  fmt::print("\n");
  if (found.routes.empty()) {
    fmt::print("No strike pots the ball and keeps the white on the table.\n");
    return;
  }
  for (std::size_t k = 0; k < std::min(kMostShown, found.routes.size()); ++k) {
    const compare::OneRoute& r = found.routes[k];
    fmt::print("\n{}  {}\n", letter(k), route_words(r));
    fmt::print("   {} strikes; {:.2f} to {:.2f} m/s; tip {} to {}, {} to {}\n", r.strikes, r.speed[0], r.speed[1],
               mm(r.right[0], radius, "right", "left"), mm(r.right[1], radius, "right", "left"),
               mm(r.height[0], radius, "high", "low"), mm(r.height[1], radius, "high", "low"));
    fmt::print("   stops about ({:.2f}, {:.2f}), half of them within {:.0f} cm; nearest to an in-off: {}, {:.0f} mm\n",
               r.stops.x(), r.stops.y(), 100 * r.stops_spread, table::trade_name_of_pocket(r.nearest_pocket),
               1000 * r.nearest);
    if (found.has_goal) fmt::print("   {} of them reach the whole goal\n", r.with_goal);
    if (r.leave) fmt::print("   leaves the {}: {}\n", r.leave->ball, leave_words(*r.leave));
    if (r.tried > 0)
      fmt::print("   most forgiving: {:.2f} m/s, tip {}, {}; {} kept {:.0f} % of the time ({:.0f} to {:.0f}), {}\n",
                 r.best.speed, mm(r.best.right, radius, "right", "left"), mm(r.best.height, radius, "high", "low"),
                 r.with_goal > 0 ? "the goal is" : "the route is", 100.0 * r.held / r.tried, 100 * r.low, 100 * r.high,
                 found.spread.name);
  }
  if (found.routes.size() > kMostShown)
    fmt::print("\n{} rarer routes are not listed.\n", found.routes.size() - kMostShown);
  fmt::print("\nThe scatter {}: {:.2f} degrees, {:.0f} % pace, {:.1f} mm tip, {:.1f} mm mark.\n",
             found.spread.measured ? fmt::format("of {}, as measured{}", found.spread.name,
                                                 found.spread.tip_measured ? "" : " (the tip's is common practice)")
                                   : fmt::format("\"{}\" is common practice, no source", found.spread.name),
             degrees(found.spread.direction), 100 * found.spread.pace, 1000 * found.spread.tip,
             1000 * found.spread.mark);
}

Json json_of(const compare::Routes& found, const practice::Setup& setup, const std::string& conditions) {
  Json j{{"format", "baizetrace/routes-1"},
         {"setup", {{"file", setup.file}, {"title", setup.title}}},
         {"conditions", {{"from", "assumed"}, {"file", conditions}}},
         {"strikes", found.tried},
         {"aimed", found.aimed},
         {"not_potted", found.not_potted},
         {"in_off", found.in_off},
         {"spread",
          {{"name", found.spread.name},
           {"direction", found.spread.direction},
           {"pace", found.spread.pace},
           {"tip", found.spread.tip},
           {"tip_measured", found.spread.tip_measured},
           {"mark", found.spread.mark}}}};
  j["routes"] = Json::array();
  for (const compare::OneRoute& r : found.routes) {
    Json one{{"cushions", r.cushions},
             {"strikes", r.strikes},
             {"speed", r.speed},
             {"right", r.right},
             {"height", r.height},
             {"stops", {r.stops.x(), r.stops.y()}},
             {"stops_spread", r.stops_spread}};
    one["gates"] = Json::array();
    for (const auto& [a, b] : r.gates) one["gates"].push_back({a, b});
    one["nearest_pocket"] = {{"pocket", r.nearest_pocket}, {"distance", r.nearest}};
    if (found.has_goal) one["with_goal"] = r.with_goal;
    if (r.leave)
      one["leave"] = {{"ball", r.leave->ball},
                      {"into", r.leave->into},
                      {"cut", r.leave->cut},
                      {"fullness", r.leave->fullness},
                      {"distance", r.leave->distance},
                      {"clear", r.leave->clear},
                      {"on", r.leave->on}};
    one["best"] = {{"speed", r.best.speed},
                   {"heading", r.best.heading},
                   {"right", r.best.right},
                   {"height", r.best.height},
                   {"rest", {r.best.rest.x(), r.best.rest.y()}}};
    if (r.tried > 0)
      one["kept"] = {{"what", r.with_goal > 0 ? "goal" : "route"},
                     {"share", static_cast<double>(r.held) / r.tried},
                     {"interval", {r.low, r.high}},
                     {"of", r.tried}};
    j["routes"].push_back(one);
  }
  return j;
}

std::vector<PathRow> rows_of(const BallPath& path) {
  constexpr double kEvery = 1.0 / 60;  // s
  std::vector<PathRow> rows;
  for (const Piece& p : path.pieces) {
    if (p.phase == Piece::Phase::rest) continue;
    for (double t = p.from; t < p.to; t += kEvery) rows.push_back({t, p.at(t)});
    rows.push_back({p.to, p.at(p.to)});
  }
  return rows;
}

// The families: of each route its best strike and some more of its strikes, thin.
Result<std::string> families(const compare::Routes& found, const practice::Setup& setup, const table::Table& table,
                             const table::BallSet& set, const motion::Conditions& conditions) {
  report::Plan plan;
  plan.title = setup.title + ": the routes";
  plan.table = table;
  for (const motion::Ball& b : practice::balls_of(setup, table, set))
    plan.balls.push_back({b.name, b.place, b.radius, false});
  constexpr std::size_t kFamilies = 4, kOfEach = 5;
  for (std::size_t k = 0; k < std::min(kFamilies, found.routes.size()); ++k) {
    std::vector<const compare::Outcome*> of;
    for (const compare::Outcome& x : found.outcomes)
      if (x.route == static_cast<int>(k)) of.push_back(&x);
    std::vector<const compare::Outcome*> shown{&found.routes[k].best};
    for (std::size_t i = 1; i < kOfEach; ++i) shown.push_back(of[i * (of.size() - 1) / kOfEach]);
    for (const compare::Outcome* x : shown) {
      practice::Overrides o;
      o.speed = x->speed, o.heading = x->heading, o.right = x->right, o.height = x->height;
      const auto p = practice::predict_setup(setup, table, set, conditions, o);
      if (!p) return pass_on(p);
      const BallPath* white = p->motion.ball("white");
      report::PlanPath path;
      path.style = report::PathStyle::predicted;
      path.one_of_many = true;
      path.mark = letter(k);
      if (x == shown.front()) path.words = letter(k) + ": " + route_words(found.routes[k]);
      path.rows = rows_of(*white);
      path.rest = white->rest;
      plan.paths.push_back(std::move(path));
    }
  }
  plan.description =
      fmt::format("Plan of the table with the white's paths of {} routes.", std::min(kFamilies, found.routes.size()));
  return report::plan_svg(plan);
}

// The window at the pace nearest to the best of the first route: which tip takes which route.
std::string window(const compare::Routes& found, const practice::Setup& setup, double radius) {
  report::StrikeWindow chart;
  chart.radius = radius;
  const double wanted = found.routes.front().best.speed;
  double pace = found.outcomes.front().speed;
  for (const compare::Outcome& x : found.outcomes)
    if (std::abs(x.speed - wanted) < std::abs(pace - wanted)) pace = x.speed;
  chart.title = fmt::format("{}: which tip takes which route, at {:.2f} m/s", setup.title, pace);
  for (const compare::Outcome& x : found.outcomes) {
    if (x.speed != pace || !x.aimed) continue;
    const bool shown = x.route >= 0 && x.route < static_cast<int>(kMostShown);
    chart.cells.push_back({x.right, x.height, shown ? letter(static_cast<std::size_t>(x.route)) : "", shown && x.goal,
                           shown ? x.route : -1});
  }
  // Routes that this pace does not offer are not on the chart and not named below it.
  for (std::size_t k = 0; k < std::min(kMostShown, found.routes.size()); ++k)
    if (std::any_of(chart.cells.begin(), chart.cells.end(),
                    [&](const auto& c) { return c.route == static_cast<int>(k); }))
      chart.legend.emplace_back(letter(k), route_words(found.routes[k]));
  return report::strike_window_svg(chart);
}

// A letter a place: which route is the natural one from there. Lower case: no strike tried reaches the goal.
Result<Done> run_region(const Arguments& a, const practice::Setup& setup, const table::Table& table,
                        const table::BallSet& set, const motion::Conditions& conditions) {
  compare::RegionOptions o;
  o.low = Vec2(a.region[0], a.region[1]);
  o.high = Vec2(a.region[2], a.region[3]);
  o.threads = a.threads;
  const auto map = compare::map_region(setup, table, set, conditions, o);
  if (!map) return pass_on(map);
  const auto words = [&](std::size_t k) {
    compare::OneRoute r;
    r.cushions = map->routes[k];
    return route_words(r);
  };
  const auto mark = [&](const compare::RegionPlace& p) -> std::string {
    if (p.route < 0) return ".";
    if (p.route >= static_cast<int>(kMostShown)) return "+";
    const std::string l = letter(static_cast<std::size_t>(p.route));
    return p.goal || !setup.goal ? l : std::string(1, static_cast<char>(l[0] - 'A' + 'a'));
  };
  if (!a.output.empty()) {
    report::Plan plan;
    plan.title = setup.title + ": the natural route from each place";
    plan.table = table;
    for (const motion::Ball& b : practice::balls_of(setup, table, set))
      if (b.name != set.kinds[0].name) plan.balls.push_back({b.name, b.place, b.radius, false});
    for (const compare::RegionPlace& p : map->places) plan.letters.push_back({p.at, mark(p)});
    for (std::size_t k = 0; k < std::min(kMostShown, map->routes.size()); ++k)
      plan.letter_words.emplace_back(letter(k), words(k));
    if (map->routes.size() > kMostShown) plan.letter_words.emplace_back("+", "a rarer route");
    if (setup.goal) plan.letter_words.emplace_back("a", "a small letter: no strike tried reaches the goal");
    plan.letter_words.emplace_back(".", "no strike tried does it from there");
    plan.description = "Plan of the table with a letter at each place of the white: its natural route.";
    if (auto made = make_folder(a.output); !made) return made;
    if (auto w = write_atomically(fs::path(a.output) / "region.svg", report::plan_svg(plan)); !w) return w;
  }
  if (a.json) {
    Json j{{"format", "baizetrace/region-1"},
           {"setup", {{"file", setup.file}, {"title", setup.title}}},
           {"routes", map->routes},
           {"places", Json::array()}};
    for (const compare::RegionPlace& p : map->places) {
      Json one{{"at", {p.at.x(), p.at.y()}}};
      if (p.route >= 0)
        one["route"] = p.route, one["share"] = p.share, one["goal"] = p.goal;
      else
        one["why"] = p.why;
      j["places"].push_back(one);
    }
    fmt::print("{}\n", j.dump(1));
    return Done{};
  }
  fmt::print("{}\nThe white at x {:.2f} to {:.2f}, y {:.2f} to {:.2f}; each row a y, the top one first.\n", setup.title,
             o.low.x(), o.high.x(), o.low.y(), o.high.y());
  for (int row = map->along - 1; row >= 0; --row) {
    fmt::print("  y {:+.2f}  ", map->places[static_cast<std::size_t>(row * map->across)].at.y());
    for (int k = 0; k < map->across; ++k)
      fmt::print(" {}", mark(map->places[static_cast<std::size_t>(row * map->across + k)]));
    fmt::print("\n");
  }
  for (std::size_t k = 0; k < std::min(kMostShown, map->routes.size()); ++k)
    fmt::print("{}  {}\n", letter(k), words(k));
  if (map->routes.size() > kMostShown) fmt::print("+  a rarer route\n");
  if (setup.goal) fmt::print("A small letter: no strike that was tried reaches the goal from there.\n");
  fmt::print(".  no strike that was tried does it from there\n");
  return Done{};
}

Result<Done> run(const Arguments& a) {
  const auto given = read_given_setup(a.setup, a.conditions);
  if (!given) return pass_on(given);
  const auto& [setup, table, set, conditions] = *given;
  const auto spread = player_spread(a.spread, a.player, setup.title, set.kinds[0].radius);
  if (!spread) return pass_on(spread);
  if (a.strikes < 100 || a.strikes > 200000) return fail("--strikes {}: expected 100 to 200000", a.strikes);
  if (a.threads < 1 || a.threads > 64) return fail("--threads {}: expected 1 to 64", a.threads);
  if (!a.region.empty()) return run_region(a, setup, table, set, conditions);
  compare::RoutesOptions o;
  o.threads = a.threads;
  // The tips' square holds 4 / pi times the disc's; twice as fine across as in pace.
  o.tips = std::max(5, static_cast<int>(std::cbrt(1.5 * a.strikes * 4 / kPi)) | 1);
  o.paces = std::max(3, static_cast<int>(std::lround(a.strikes / (kPi / 4 * o.tips * o.tips))));
  const auto found = compare::find_routes(setup, table, set, conditions, *spread, o);
  if (!found) return pass_on(found);
  const double radius = set.kinds[0].radius;
  if (!a.output.empty()) {
    if (found->routes.empty()) return fail("{}: no route to draw: no strike pots the ball and stays up", a.setup);
    const auto drawn = families(*found, setup, table, set, conditions);
    if (!drawn) return pass_on(drawn);
    if (auto made = make_folder(a.output); !made) return made;
    if (auto w = write_atomically(fs::path(a.output) / "routes.svg", *drawn); !w) return w;
    if (auto w = write_atomically(fs::path(a.output) / "strike-window.svg", window(*found, setup, radius)); !w)
      return w;
  }
  if (a.json) {
    fmt::print("{}\n", json_of(*found, setup, a.conditions).dump(1));
    return Done{};
  }
  fmt::print("{}\n{}; {}\n", setup.title, table.spec().title,
             a.conditions.empty() ? "a good club cloth, assumed" : a.conditions);
  print(*found, radius);
  return Done{};
}

}  // namespace

Run declare_routes(CLI::App& app) {
  auto a = std::make_shared<Arguments>();
  app.add_option("setup", a->setup, "a *.setup.toml")->required();
  app.add_option("--conditions", a->conditions,
                 "how the table plays, a *.conditions.toml (default: a good club cloth)");
  app.add_option("--spread", a->spread,
                 "the player's scatter: professional, good-club, club, or a journal's file (default: club)");
  app.add_option("--player", a->player, "with a journal: whose scatter (default: everybody's)");
  app.add_option("--region", a->region,
                 "x y x y, metres: two opposite corners of a region of the white; prints the natural route from each "
                 "place in it")
      ->expected(4);
  app.add_option("--strikes", a->strikes, "about how many strikes to try (default: 10000)");
  app.add_option("--threads", a->threads, "how many threads (default: 2); the numbers are the same with any");
  app.add_option("-o,--output", a->output, "writes routes.svg and strike-window.svg into this folder");
  app.add_flag("--json", a->json, "the routes as JSON on standard output");
  return [a] { return run(*a); };
}

}  // namespace baizetrace::cli
