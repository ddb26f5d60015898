// baizetrace predict SETUP: where the balls would go.
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <functional>
#include <nlohmann/json.hpp>

#include "base/files.hpp"
#include "cli/command.hpp"
#include "cli/given_setup.hpp"
#include "practice/setup.hpp"
#include "report/names.hpp"
#include "report/plan.hpp"

namespace baizetrace::cli {

namespace {
using Json = nlohmann::ordered_json;

struct Arguments {
  std::string setup, conditions, table, output;
  std::vector<double> speed, lengths, heading, right, height, elevation;
  bool json = false;
};

struct Shot {
  std::string words;  // what sets it apart from the first
  practice::SetupPrediction p;
};

constexpr double kRowEvery = 1.0 / 60;  // s
constexpr double kTip = 0.0095;         // m, a tip's width: common practice, no source
constexpr std::size_t kMostShots = 24;

std::vector<PathRow> rows_of(const BallPath& path) {
  std::vector<double> times;
  for (const Piece& p : path.pieces) {
    if (p.phase == Piece::Phase::rest) continue;
    times.push_back(p.from);
    for (double t = std::ceil(p.from / kRowEvery) * kRowEvery; t < p.to; t += kRowEvery)
      if (t > p.from) times.push_back(t);
    times.push_back(p.to);
  }
  times.erase(std::unique(times.begin(), times.end()), times.end());
  std::vector<PathRow> rows;
  for (const double t : times)
    if (const auto at = path.at(t)) rows.push_back({t, *at});
  return rows;
}

Json point(const Vec2& v) { return {v.x(), v.y()}; }

Json contacts_of(const BallPath& path) {
  Json out = Json::array();
  for (const Contact& c : path.contacts)
    out.push_back({{"time", c.time},
                   {"kind", word_of(c.kind)},
                   {"with", c.with},
                   {"at", point(c.at)},
                   {"speed_in", c.speed_in},
                   {"speed_out", c.speed_out},
                   {"heading_in", c.heading_in},
                   {"heading_out", c.heading_out}});
  return out;
}

Json path_of(const BallPath& path) {
  Json out = Json::array();
  for (const PathRow& r : rows_of(path)) out.push_back({r.time, r.at.x(), r.at.y()});
  return out;
}

Json json_of(const Shot& shot, const practice::Setup& setup, const table::Table& table,
             const motion::Conditions& conditions) {
  const practice::SetupPrediction& p = shot.p;
  Json j;
  j["strike"] = {{"speed", p.strike.speed},
                 {"heading", p.strike.heading},
                 {"cue_heading", motion::cue_heading(p.strike, conditions)},
                 {"right", p.strike.right},
                 {"height", p.strike.height},
                 {"elevation", p.strike.elevation}};
  const BallPath& white = *p.motion.ball("white");
  j["path"] = path_of(white);
  j["contacts"] = contacts_of(white);
  if (white.rest) {
    j["rest"] = point(white.rest->at);
    j["rest_time"] = white.rest_time;
  }
  j["potted"] = Json::array();
  j["in_off"] = nullptr;
  for (const BallPath& b : p.motion.balls) {
    if (!b.pocket) continue;
    if (b.ball == "white")
      j["in_off"] = {{"pocket", *b.pocket}, {"time", b.pocket_time}};
    else
      j["potted"].push_back({{"ball", b.ball}, {"pocket", *b.pocket}, {"time", b.pocket_time}});
  }
  Json route;
  route["cushions"] = p.route.cushions;
  route["gates"] = Json::array();
  for (const motion::GatePass& g : p.route.gates)
    route["gates"].push_back(
        {{"between", {g.a, g.b}}, {"time", g.time}, {"at", point(g.at)}, {"clearance", g.clearance}});
  route["nearest_pockets"] = Json::array();
  for (const motion::PocketPass& q : p.route.pockets)
    route["nearest_pockets"].push_back({{"pocket", q.pocket}, {"distance", q.distance}, {"time", q.time}});
  j["route"] = route;
  if (p.aim) {
    j["aim"] = {{"fullness", p.aim->fullness},
                {"cut", p.aim->cut},
                {"side", p.aim->hits_left ? "left" : "right"},
                {"distance", p.aim->distance}};
    if (p.meant_to_pot) {
      j["aim"]["pots"] = p.pots;
      if (p.aim->pots) {
        j["aim"]["thicker"] = p.aim->thicker;
        j["aim"]["thinner"] = p.aim->thinner;
      }
    }
  }
  if (p.leave) {
    const motion::Leave& l = *p.leave;
    j["leave"] = {{"ball", l.ball},         {"into", l.into},   {"cut", l.cut},          {"fullness", l.fullness},
                  {"distance", l.distance}, {"clear", l.clear}, {"hampered_by", nullptr}};
    if (l.hampered_by) j["leave"]["hampered_by"] = *l.hampered_by;
    if (!l.blocked_by.empty()) j["leave"]["blocked_by"] = l.blocked_by;
  }
  j["balls"] = Json::object();
  for (const BallPath& b : p.motion.balls) {
    if (b.ball == "white" || b.contacts.empty()) continue;
    j["balls"][b.ball] = {{"path", path_of(b)}, {"contacts", contacts_of(b)}};
    if (b.rest) j["balls"][b.ball]["rest"] = point(b.rest->at);
  }
  j["goal"] = Json::array();
  for (const practice::GoalPart& part : practice::judge(setup, table, p))
    j["goal"].push_back({{"what", part.what}, {"met", part.met}, {"note", part.note}});
  j["complete"] = p.motion.complete;
  if (!p.motion.complete) j["why"] = p.motion.why;
  return j;
}

// Nearest common name of a fullness.
std::string fullness_words(double fullness) {
  constexpr std::array<std::pair<double, const char*>, 7> kNames{{{1.0, "full"},
                                                                  {0.875, "seven-eighths"},
                                                                  {0.75, "three-quarter ball"},
                                                                  {0.5, "half ball"},
                                                                  {0.25, "quarter ball"},
                                                                  {0.125, "an eighth"},
                                                                  {0.0, "a feather"}}};
  const auto nearest = std::min_element(kNames.begin(), kNames.end(), [&](const auto& a, const auto& b) {
    return std::abs(a.first - fullness) < std::abs(b.first - fullness);
  });
  const double off = fullness - nearest->first;
  std::string out = nearest->second;
  if (off > 0.03 && nearest->first < 1) out = "thicker than " + out;
  if (off < -0.03) out = "thinner than " + out;
  return out;
}

std::string tip_words(const motion::Strike& s, double radius) {
  const auto one = [&](double off, const char* plus, const char* minus) {
    return fmt::format("{:.0f} mm ({:.1f} tips) {}", std::abs(off) * radius * 1000, std::abs(off) * radius / kTip,
                       off > 0 ? plus : minus);
  };
  std::vector<std::string> parts;
  if (s.height != 0) parts.push_back(one(s.height, "above centre", "below centre"));
  if (s.right != 0) parts.push_back(one(s.right, "right", "left"));
  return parts.empty() ? std::string("centre ball") : fmt::format("{}", fmt::join(parts, ", "));
}

// Spin along the path over rolling spin.
double roll_share(const Contact& c, const Vec3& spin, double radius) {
  if (c.speed_in <= 0) return 0;
  const Vec2 way = along_heading(c.heading_in);
  return radius * (spin.y() * way.x() - spin.x() * way.y()) / c.speed_in;
}

std::string spin_words(double share) {
  if (std::abs(share) <= 0.15) return "stun";
  if (share < 0) return "screw";
  if (share > 0.97 && share < 1.03) return "rolling";
  return share > 1 ? "top" : fmt::format("some roll, {:.0f} %", 100 * share);
}

// How the cue ball's side works at a cushion.
std::string side_words(const Contact& c, const Vec3& spin, double radius) {
  double along = 0;
  const Vec2 v = c.speed_in * along_heading(c.heading_in);
  if (c.with == "top") along = v.x();
  if (c.with == "baulk") along = -v.x();
  if (c.with == "right") along = -v.y();
  if (c.with == "left") along = v.y();
  const double side = radius * spin.z();
  if (std::abs(side) < 0.1 * c.speed_in) return "plain";
  return side * along > 0 ? "running side" : "check side";
}

std::string place_words(const Vec2& at, const table::Table& table) {
  const double x = table.half_width() - std::abs(at.x()), y = table.half_length() - std::abs(at.y());
  return fmt::format("{:.0f} cm off the {}, {:.0f} cm off the {}", 100 * y,
                     table::trade_name_of_cushion(at.y() >= 0 ? "top" : "baulk"), 100 * x,
                     table::trade_name_of_cushion(at.x() >= 0 ? "right" : "left"));
}

void print_shot(const Shot& shot, const practice::Setup& setup, const table::Table& table,
                const motion::Conditions& conditions) {
  const practice::SetupPrediction& p = shot.p;
  const BallPath& white = *p.motion.ball("white");
  const auto cue =
      std::find_if(p.balls.begin(), p.balls.end(), [](const motion::Ball& b) { return b.name == "white"; });
  const double radius = cue->radius;
  const auto index = static_cast<std::size_t>(cue - p.balls.begin());
  fmt::print("Strike   {:.2f} m/s", p.strike.speed);
  if (const auto l = motion::lengths_of(p.strike.speed, table, conditions, *cue))
    fmt::print(" (a pace of {:.2f} lengths)", *l);
  fmt::print(", {}, heading {:.2f} degrees, cue raised {:.0f} degrees\n", tip_words(p.strike, radius),
             degrees(p.strike.heading), degrees(p.strike.elevation));
  if (conditions.squirt != 0 && p.strike.right != 0) {
    const double pointed = motion::cue_heading(p.strike, conditions);
    fmt::print("         the cue points to {:.2f} degrees: the ball leaves its line by {:.2f} (squirt)\n",
               degrees(pointed), degrees(std::abs(wrap_angle(pointed - p.strike.heading))));
  }
  if (p.aim) {
    const auto first = std::find_if(white.contacts.begin(), white.contacts.end(),
                                    [](const Contact& c) { return c.kind == ContactKind::ball; });
    if (first != white.contacts.end())
      fmt::print("Aim      {} on its {} side, {} (cut {:.1f} degrees)", report::ball_name(first->with),
                 p.aim->hits_left ? "left" : "right", fullness_words(p.aim->fullness), degrees(p.aim->cut));
    if (p.meant_to_pot && p.aim->pots)
      fmt::print("; falls from {:.1f} mm thick to {:.1f} mm thin at the ball", 1000 * p.aim->thicker * p.aim->distance,
                 1000 * p.aim->thinner * p.aim->distance);
    fmt::print("\n");
  }
  if (p.meant_to_pot && !p.pots) fmt::print("         {} is not potted\n", report::ball_name(setup.shot->ball));
  fmt::print("\nWhite\n");
  fmt::print("  {:>7}  {:<34} {:>14}  {:>17}  {}\n", "s", "what", "pace m/s", "heading, degrees", "");
  for (std::size_t k = 0; k < white.contacts.size(); ++k) {
    const Contact& c = white.contacts[k];
    const Vec3& spin = p.motion.spins[index][k].first;
    std::string more;
    if (c.kind == ContactKind::ball) more = spin_words(roll_share(c, spin, radius));
    if (c.kind == ContactKind::cushion) more = side_words(c, spin, radius);
    fmt::print("  {:>7.3f}  {:<34} {:>5.2f} to {:>5.2f}  {:>7.1f} to {:>6.1f}  {}\n", c.time, report::touched(c),
               c.speed_in, c.speed_out, degrees(c.heading_in), degrees(c.heading_out), more);
  }
  if (white.contacts.empty()) fmt::print("           touches nothing\n");
  if (white.rest)
    fmt::print("  {:>7.3f}  stops {}  ({:.3f}, {:.3f})\n", white.rest_time, place_words(white.rest->at, table),
               white.rest->at.x(), white.rest->at.y());
  for (const BallPath& b : p.motion.balls) {
    if (b.ball == "white" || b.contacts.empty()) continue;
    if (b.pocket)
      fmt::print("{}: {} after {:.2f} s\n", report::ball_name(b.ball), table::trade_name_of_pocket(*b.pocket),
                 b.pocket_time);
    else if (b.rest)
      fmt::print("{}: stops {}\n", report::ball_name(b.ball), place_words(b.rest->at, table));
  }
  for (const motion::GatePass& g : p.route.gates)
    fmt::print("Passes between {} and {} with {:.0f} mm to spare ({:.1f} balls)\n", report::post_name(g.a),
               report::post_name(g.b), 1000 * g.clearance, g.clearance / (2 * radius));
  if (!p.route.pockets.empty() && !white.pocket) {
    const auto nearest = std::min_element(p.route.pockets.begin(), p.route.pockets.end(),
                                          [](const auto& a, const auto& b) { return a.distance < b.distance; });
    fmt::print("Nearest pocket: {}, {:.0f} mm from falling ({:.1f} balls)\n",
               table::trade_name_of_pocket(nearest->pocket), 1000 * nearest->distance,
               nearest->distance / (2 * radius));
  }
  if (p.leave) {
    const motion::Leave& l = *p.leave;
    fmt::print("Leaves   {} for the {}: ", report::ball_name(l.ball), table::trade_name_of_pocket(l.into));
    if (!l.on)
      fmt::print("not on");
    else
      fmt::print("{} (cut {:.0f} degrees), {:.0f} cm", fullness_words(l.fullness), degrees(l.cut), 100 * l.distance);
    if (!l.blocked_by.empty()) fmt::print(", {} in the way", report::ball_name(l.blocked_by));
    if (l.hampered_by) fmt::print(", hampered by {}", report::post_name(*l.hampered_by));
    fmt::print("\n");
  }
  for (const practice::GoalPart& part : practice::judge(setup, table, p))
    fmt::print("Goal     {:<9} {}{}{}\n", part.what, part.met ? "met" : "not met", part.note.empty() ? "" : ": ",
               part.note);
  if (!p.motion.complete) fmt::print("Not played out: {}\n", p.motion.why);
}

report::Plan plan_of(const std::vector<Shot>& shots, const practice::Setup& setup, const table::Table& table) {
  report::Plan plan;
  plan.title = setup.title;
  plan.table = table;
  for (const motion::Ball& b : shots.front().p.balls) plan.balls.push_back({b.name, b.place, b.radius, false});
  for (const Shot& s : shots) {
    const bool first = &s == &shots.front();
    for (const BallPath& b : s.p.motion.balls) {
      if (b.contacts.empty() && b.ball != "white") continue;
      if (!first && b.ball != "white") continue;  // what-ifs differ in the cue ball; the pot is the same
      report::PlanPath path;
      path.style = first ? report::PathStyle::predicted : report::PathStyle::what_if;
      path.words = b.ball == "white" ? (first && shots.size() == 1 ? std::string("predicted") : s.words)
                                     : report::ball_name(b.ball);
      path.ball = b.ball;
      path.rows = rows_of(b);
      path.contacts = b.contacts;
      path.rest = b.rest;
      plan.paths.push_back(std::move(path));
    }
  }
  if (setup.goal && setup.goal->zone) {
    const practice::Zone& z = *setup.goal->zone;
    report::PlanZone zone;
    if (z.centre) zone.circle = std::pair(*z.centre, z.radius);
    zone.corners = z.corners;
    if (z.corners.size() == 2) {
      const Vec2 a = z.corners[0], b = z.corners[1];
      zone.corners = {a, Vec2(b.x(), a.y()), b, Vec2(a.x(), b.y())};
    }
    plan.zone = zone;
  }
  return plan;
}

Result<Done> run(const Arguments& a) {
  const auto given = read_given_setup(a.setup, a.conditions, a.table);
  if (!given) return pass_on(given);
  const auto& [setup, table, set, conditions] = *given;
  // Every combination of the values given; the first is the shot, the others are laid beside it.
  std::vector<std::pair<std::string, practice::Overrides>> asked{{"", {}}};
  const auto vary = [&](const std::vector<double>& values, std::optional<double> practice::Overrides::*member,
                        const std::function<std::string(double)>& name, bool angle) {
    if (values.empty()) return;
    std::vector<std::pair<std::string, practice::Overrides>> more;
    for (const auto& [words, o] : asked)
      for (const double v : values) {
        practice::Overrides changed = o;
        changed.*member = angle ? radians(v) : v;
        std::string label = words;
        if (values.size() > 1) label += fmt::format("{}{}", words.empty() ? "" : ", ", name(v));
        more.emplace_back(label, changed);
      }
    asked = std::move(more);
  };
  using O = practice::Overrides;
  const double radius = set.kinds[0].radius;
  const auto tip = [&](const char* plus, const char* minus) {
    return [=](double off) {
      if (off == 0) return std::string("centre ball");
      return fmt::format("tip {:.0f} mm {}", 1000 * radius * std::abs(off), off > 0 ? plus : minus);
    };
  };
  const auto with = [](const char* unit) { return [=](double v) { return fmt::format("{} {}", v, unit); }; };
  vary(a.speed, &O::speed, with("m/s"), false);
  vary(a.lengths, &O::lengths, with("lengths"), false);
  vary(a.heading, &O::heading, with("degrees of heading"), true);
  vary(a.right, &O::right, tip("right", "left"), false);
  vary(a.height, &O::height, tip("high", "low"), false);
  vary(a.elevation, &O::elevation, with("degrees of elevation"), true);
  if (asked.size() > kMostShots) return fail("{} strikes asked for, expected at most {}", asked.size(), kMostShots);
  std::vector<Shot> shots;
  for (auto& [words, o] : asked) {
    auto p = practice::predict_setup(setup, table, set, conditions, o);
    if (!p) return fail("{}{}{}", words, words.empty() ? "" : ": ", p.error().what);
    shots.push_back({words, std::move(*p)});
  }
  if (!a.output.empty()) {
    const auto written = write_atomically(a.output, report::plan_svg(plan_of(shots, setup, table)));
    if (!written) return written;
  }
  const std::string made_with = a.conditions.empty() ? "a good club cloth, assumed" : a.conditions;
  if (a.json) {
    Json j;
    j["format"] = "baizetrace/prediction-1";
    j["setup"] = {{"file", setup.file}, {"title", setup.title}};
    j["conditions"] = {{"from", "assumed"}, {"file", a.conditions}};
    if (shots.size() == 1) {
      j.update(json_of(shots.front(), setup, table, conditions));
    } else {
      j["predictions"] = Json::array();
      for (const Shot& s : shots) {
        Json one{{"what", s.words}};
        one.update(json_of(s, setup, table, conditions));
        j["predictions"].push_back(one);
      }
    }
    fmt::print("{}\n", j.dump(1));
    return Done{};
  }
  fmt::print("{}\n{}; {}\n", setup.title, table.spec().title, made_with);
  for (const Shot& s : shots) {
    fmt::print("\n");
    if (!s.words.empty()) fmt::print("-- {}\n", s.words);
    print_shot(s, setup, table, conditions);
  }
  return Done{};
}
}  // namespace

Run declare_predict(CLI::App& app) {
  auto a = std::make_shared<Arguments>();
  app.add_option("setup", a->setup, "a *.setup.toml")->required();
  app.add_option("--conditions", a->conditions,
                 "how the table plays, a *.conditions.toml (default: a good club cloth)");
  app.add_option("--table", a->table, "another table than the setup's: a name in calibration/tables or a path");
  const auto list = [&](const char* name, std::vector<double>& into, const char* help) {
    app.add_option_function<std::string>(
        name,
        [&into, name](const std::string& text) {
          into.clear();
          for (std::size_t from = 0; from <= text.size();) {
            const std::size_t comma = std::min(text.find(',', from), text.size());
            const std::string word = text.substr(from, comma - from);
            char* end = nullptr;
            const double value = std::strtod(word.c_str(), &end);
            if (word.empty() || *end != 0 || !std::isfinite(value))
              throw CLI::ValidationError(name, "\"" + text + "\": expected a number, or several with commas");
            into.push_back(value);
            from = comma + 1;
          }
        },
        help);
  };
  list("--speed", a->speed, "m/s of the ball; a list with commas lays several strikes side by side");
  list("--lengths", a->lengths, "pace: a plain strike from the baulk line would run so many table lengths");
  list("--heading", a->heading, "degrees from straight up the table, clockwise (default: the setup's aim)");
  list("--right", a->right, "tip to the right of centre, ball radii (negative: left)");
  list("--height", a->height, "tip above centre, ball radii (negative: below)");
  list("--elevation", a->elevation, "cue raised, degrees");
  app.add_option("-o,--output", a->output, "writes the plan drawing here (SVG)");
  app.add_flag("--json", a->json, "the prediction as JSON on standard output");
  return [a] { return run(*a); };
}

}  // namespace baizetrace::cli
