#include "report/attempt_plan.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "practice/statistics.hpp"
#include "practice/stop.hpp"
#include "report/names.hpp"
#include "report/picture.hpp"

namespace baizetrace::report {
namespace {

constexpr double kRadius = 0.02625;  // m, drawn size of a ball

constexpr std::size_t kMostMarked = 24;  // attempts: more numbers than that cannot be read side by side

std::optional<PlanZone> zone_of(const practice::Setup* setup) {
  if (!setup || !setup->goal || !setup->goal->zone) return std::nullopt;
  const practice::Zone& z = *setup->goal->zone;
  PlanZone zone;
  zone.words = "zone: where the white is wanted";
  if (z.centre) zone.circle = std::pair(*z.centre, z.radius);
  zone.corners = z.corners;
  if (z.corners.size() == 2) {
    const Vec2 a = z.corners[0], b = z.corners[1];
    zone.corners = {a, Vec2(b.x(), a.y()), b, Vec2(a.x(), b.y())};
  }
  return zone;
}

}  // namespace

std::string prediction_words(const practice::Attempt& a) {
  return a.prediction_label.empty() ? "predicted" : "predicted: " + a.prediction_label;
}

std::vector<practice::GatePassed> narrowest_gates(const practice::Attempt& a, std::size_t most) {
  std::vector<practice::GatePassed> gates = a.gates;
  std::stable_sort(gates.begin(), gates.end(), [](const auto& x, const auto& y) { return x.clearance < y.clearance; });
  if (gates.size() > most) gates.resize(most);
  return gates;
}

Plan explained_plan(const practice::Attempt& a, const table::Table& table) {
  Plan plan;
  plan.title = fmt::format("Attempt {}: the strike found, played by the model", a.number);
  plan.table = table;
  for (const auto& [name, place] : a.before) plan.balls.push_back({name, place.at, kRadius, false});
  if (const auto white = a.balls.find("white"); white != a.balls.end()) {
    PlanPath p;
    p.words = "white, measured";
    p.rows = white->second.rows;
    p.contacts = white->second.contacts;
    p.rest = white->second.rest;
    plan.paths.push_back(std::move(p));
  }
  PlanPath p;
  p.style = PathStyle::what_if;
  p.words = "the strike found, by the model";
  p.rows = a.explained->path;
  p.contacts = a.explained->contacts;
  if (a.explained->rest) p.rest = Place{*a.explained->rest, Vec2::Zero()};
  plan.paths.push_back(std::move(p));
  return plan;
}

Plan attempt_plan(const practice::Attempt& a, const table::Table& table, const practice::Setup* setup) {
  Plan plan;
  plan.title = fmt::format("Attempt {}", a.number);
  plan.table = table;
  for (const auto& [name, place] : a.before) plan.balls.push_back({name, place.at, kRadius, false});
  const auto add = [&](const std::string& name, const BallPath& path) {
    PlanPath p;
    p.words = name == "white" ? "white, measured" : ball_name(name) + ", measured";
    p.ball = name;
    p.rows = path.rows;
    p.contacts = path.contacts;
    p.rest = path.rest;
    if (name == "white" && !p.rest && a.rest_extrapolated) p.rest = a.rest_extrapolated, p.hollow_rest = true;
    plan.paths.push_back(std::move(p));
  };
  if (const auto white = a.balls.find("white"); white != a.balls.end()) add(white->first, white->second);
  if (a.prediction) {
    PlanPath p;
    p.style = PathStyle::predicted;
    p.words = prediction_words(a);
    p.rows = a.prediction->path;
    p.contacts = a.prediction->contacts;
    if (a.prediction->rest) p.rest = Place{*a.prediction->rest, Vec2::Zero()};
    plan.paths.push_back(std::move(p));
  }
  for (const auto& [name, path] : a.balls)
    if (name != "white") add(name, path);
  for (const practice::GatePassed& g : narrowest_gates(a)) {
    const auto from = post_place(g.a, a, table), to = post_place(g.b, a, table);
    if (!from || !to) continue;
    plan.gates.push_back({*from, *to, g.at,
                          fmt::format("passed between {} and {}, {:.0f} mm to spare", post_name(g.a), post_name(g.b),
                                      1000 * g.clearance)});
  }
  plan.zone = zone_of(setup);
  return plan;
}

Plan session_plan(const practice::Session& session, const table::Table& table, const practice::Setup* setup,
                  int group) {
  std::vector<const practice::Attempt*> of;
  for (const practice::Attempt& a : session.attempts)
    if (group == 0 || a.group == group) of.push_back(&a);
  Plan plan;
  plan.title = "All attempts";
  plan.table = table;
  plan.zone = zone_of(setup);
  plan.description = fmt::format("Plan of the table with the white's paths of {} attempts.", of.size());
  if (of.empty()) return plan;
  for (const auto& [name, place] : of.front()->before) plan.balls.push_back({name, place.at, kRadius, false});
  bool said_made = false, said_missed = false, said_unjudged = false;
  std::vector<Vec2> places;
  for (const practice::Attempt* one : of) {
    const practice::Attempt& a = *one;
    const auto white = a.balls.find("white");
    if (white == a.balls.end()) continue;
    PlanPath p;
    p.one_of_many = true;
    const auto hit = practice::is_hit(a);
    p.missed = hit ? !*hit : a.pot_made.has_value() && !*a.pot_made;
    p.rows = white->second.rows;
    p.rest = white->second.rest;
    if (const auto rest = practice::rest_of(a)) {
      places.push_back(rest->place.at);
      if (rest->extrapolated) p.rest = rest->place, p.hollow_rest = true;
    }
    if (of.size() <= kMostMarked) p.mark = fmt::format("{}", a.number);
    const bool judged = a.pot_made || hit;
    bool& said = p.missed ? said_missed : judged ? said_made : said_unjudged;
    if (!said)
      p.words = p.missed ? "white, measured: goal not met, broken, ends in a cross"
                : judged ? "white, measured: goal met, unbroken, ends in a ring"
                         : "white, measured: not judged, unbroken, ends in a ring";
    said = true;
    plan.paths.push_back(std::move(p));
  }
  constexpr int kFewest = 4;  // resting places: an ellipse of fewer says more than is known
  if (const auto s = practice::spread_about(places, Vec2::Zero()); s && s->n >= kFewest)
    plan.spread = PlanSpread{s->mean, s->major, s->minor, s->heading,
                             "where the white stops: mean, ellipses of 1 and 2 standard deviations"};
  return plan;
}

}  // namespace baizetrace::report
