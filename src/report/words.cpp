#include "report/words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "practice/pot.hpp"
#include "practice/statistics.hpp"
#include "practice/stop.hpp"
#include "report/names.hpp"

namespace baizetrace::report {
namespace {

constexpr std::size_t kMostContacts = 6;  // named in a sentence; the page's table holds all
constexpr double kCloseGap = 0.105;       // m, two balls' widths: a gate nobody asked for is told when narrower
constexpr double kClosePocket = 0.0525;   // m: a pocket is told when the white's edge came within a ball's width of it
using practice::kSurely;

std::string joined(const std::vector<std::string>& words) {
  std::string s;
  for (std::size_t k = 0; k < words.size(); ++k) s += (k == 0 ? "" : k + 1 == words.size() ? " and " : ", ") + words[k];
  return s;
}

const BallPath* white_of(const practice::Attempt& a) {
  const auto w = a.balls.find("white");
  return w == a.balls.end() ? nullptr : &w->second;
}

// What became of the balls, and of the shot that was meant.
void outcome(const practice::Attempt& a, const practice::Setup* setup, AttemptWords& words) {
  std::vector<std::string> in, where;
  for (const practice::Potted& p : a.potted) {
    in.push_back(ball_name(p.ball));
    where.push_back(ball_name(p.ball) + " in the " + table::trade_name_of_pocket(p.pocket));
  }
  const bool meant_to_pot = setup && setup->shot && setup->shot->kind == practice::Shot::Kind::pot;
  const std::string& target = meant_to_pot ? setup->shot->ball : std::string();
  const auto fell = std::find_if(a.potted.begin(), a.potted.end(), [&](const auto& p) { return p.ball == target; });
  const bool cut_short = a.ended != practice::Ended::rest;
  std::vector<std::string> gone = practice::gone_of(a);
  for (std::string& ball : gone) ball = "the " + ball_name(ball);
  if (!gone.empty() && !cut_short)
    words.cannot_tell.push_back(
        fmt::format("What became of {}: {} not seen again.", joined(gone), gone.size() > 1 ? "they were" : "it was"));
  for (const auto& [ball, path] : a.balls)
    if (!path.contacts.empty() && path.contacts.back().kind == ContactKind::pocket && path.contacts.back().inferred)
      words.cannot_tell.push_back(fmt::format(
          "How the {0} fell: it was not seen on its way, but was hit straight at the {1} and lay nowhere afterwards.",
          ball_name(ball), table::trade_name_of_pocket(path.contacts.back().with)));
  if (meant_to_pot && a.pot_made.has_value()) {
    if (*a.pot_made) {
      words.verdict = capital(ball_name(target)) + " in.";
      where.clear();
      for (const practice::Potted& p : a.potted)
        where.push_back(p.ball == target ? ball_name(p.ball) + " in"
                                         : ball_name(p.ball) + " in the " + table::trade_name_of_pocket(p.pocket));
    } else if (fell != a.potted.end()) {
      words.verdict = capital(ball_name(target)) + " in the wrong pocket.";
    } else {
      words.verdict = capital(ball_name(target)) + (cut_short ? " not in so far." : " missed.");
      where.insert(where.begin(), ball_name(target) + (cut_short ? " not in as far as was seen" : " missed"));
    }
  } else if (!in.empty()) {
    words.verdict = capital(joined(in)) + " in.";
  } else {
    // What the white met out of sight may be a ball that nobody saw at all.
    const BallPath* white = white_of(a);
    const bool in_part = cut_short || !gone.empty() || (white && white->told_until);
    words.verdict = in_part ? "Nothing potted as far as was seen." : "Nothing potted.";
  }
  words.sentence = where.empty() ? words.verdict : capital(joined(where)) + ".";
  if (a.in_off) {
    words.verdict += " In-off.";
    words.sentence += " In-off: white in the " + table::trade_name_of_pocket(a.in_off->pocket) + ".";
  }
}

bool is_named(const practice::GatePassed& g, const practice::Setup* setup) {
  if (!setup || !setup->goal) return false;
  return std::any_of(setup->goal->gates.begin(), setup->goal->gates.end(), [&](const auto& n) {
    return (n.first == g.a && n.second == g.b) || (n.first == g.b && n.second == g.a);
  });
}

// The white's way in order of time: what it touched, and the gates worth telling.
void route(const practice::Attempt& a, const WordsOptions& o, AttemptWords& words) {
  const BallPath* white = white_of(a);
  if (!white) return;
  if (!white->followed()) {
    words.cannot_tell.push_back(
        fmt::format("Which way the white went: what was seen of it lies {:.0f} mm beside any run of a ball that was "
                    "found for it.",
                    1000 * white->rms));
    return;
  }
  std::vector<std::pair<double, std::string>> steps;
  std::string why;
  const auto full = first_fullness(a, o.ball_radius, &why);
  bool first_ball = true;
  for (const Contact& c : white->contacts) {
    if (c.kind == ContactKind::pocket) continue;
    std::string step = touched(c);
    if (c.kind == ContactKind::ball && first_ball) {
      first_ball = false;
      if (full) step = fullness_words(full->cut) + " on the " + step;
    }
    if (c.inferred) step += " (out of sight)";
    steps.emplace_back(c.time, std::move(step));
  }
  const std::size_t more = steps.size() > kMostContacts ? steps.size() - kMostContacts : 0;
  steps.resize(steps.size() - more);
  const bool lost = white->told_until && !white->goes_on();
  if (white->told_until && !lost) steps.emplace_back(*white->told_until, "something unseen");
  const practice::GatePassed* tightest = nullptr;
  for (const practice::GatePassed& g : a.gates) {
    if (is_named(g, o.setup)) {
      steps.emplace_back(g.time, fmt::format("between {} and {} with {} to spare", post_name(g.a), post_name(g.b),
                                             ball_widths(g.clearance, o.ball_radius)));
    } else if (g.clearance < kCloseGap && (!tightest || g.clearance < tightest->clearance)) {
      tightest = &g;
    }
  }
  if (tightest)
    steps.emplace_back(tightest->time,
                       fmt::format("between {} and {} with {} to spare", post_name(tightest->a), post_name(tightest->b),
                                   ball_widths(tightest->clearance, o.ball_radius)));
  std::stable_sort(steps.begin(), steps.end(), [](const auto& x, const auto& y) { return x.first < y.first; });
  std::vector<std::string> way;
  for (auto& s : steps) way.push_back(std::move(s.second));
  if (more > 0) way.push_back(fmt::format("{} more contact{}", more, more == 1 ? "" : "s"));
  if (lost) way.emplace_back(way.empty() ? "lost from sight" : "then lost from sight");
  if (way.empty()) {
    if (!a.in_off) words.sentence += " White touched nothing.";
  } else {
    words.sentence += " White: ";
    for (std::size_t k = 0; k < way.size(); ++k) words.sentence += (k ? ", " : "") + way[k];
    words.sentence += ".";
  }
  if (!why.empty()) words.cannot_tell.push_back(why);
  if (white->told_until)
    words.cannot_tell.push_back(
        lost ? fmt::format("What the white touched from {:.1f} s after the strike on: it was not followed.",
                           *white->told_until - a.strike_time)
             : "What the white touched where it turned: that was not seen.");
  const auto hidden = std::count_if(white->contacts.begin(), white->contacts.end(), [](auto& c) { return c.inferred; });
  if (hidden > 0)
    words.cannot_tell.push_back(
        fmt::format("{} of the white's contacts {} out of sight: worked out from the motion "
                    "before and after.",
                    hidden, hidden == 1 ? "was" : "were"));
  if (a.in_off) return;
  for (const practice::PocketPassed& p : a.nearest_pockets) {
    const double gap = p.distance - o.ball_radius;
    if (gap < 0 || gap > kClosePocket) continue;
    words.sentence += fmt::format(" It came within {} of the {}.", ball_widths(gap, o.ball_radius),
                                  table::trade_name_of_pocket(p.pocket));
  }
}

// "42 cm from the baulk cushion, 52 cm from the yellow-side cushion": the nearer end, the nearer side. Or "in the jaws
// of the green pocket".
std::string place_on_table(const Vec2& at, const table::Table& table, double ball_radius) {
  if (const table::Pocket* p = table.between_jaws(at, ball_radius))
    return fmt::format("in the jaws of the {}", table::trade_name_of_pocket(p->name));
  const double end = table.half_length() - std::abs(at.y()), side = table.half_width() - std::abs(at.x());
  return fmt::format("{:.0f} cm from the {}, {:.0f} cm from the {}", 100 * end,
                     table::trade_name_of_cushion(at.y() < 0 ? "baulk" : "top"), 100 * side,
                     table::trade_name_of_cushion(at.x() < 0 ? "left" : "right"));
}

void stop(const practice::Attempt& a, const table::Table& table, const WordsOptions& o, AttemptWords& words) {
  if (a.in_off || !white_of(a)) return;
  const auto found = practice::rest_of(a);
  if (!found) {
    words.cannot_tell.emplace_back(
        a.ended == practice::Ended::hand
            ? "Where the white would have stopped: it was not seen any more before it rested."
        : a.ended == practice::Ended::clip ? "Where the white stops: the recording ends before it rests."
                                           : "Where the white stopped: it was not seen at rest.");
    return;
  }
  const practice::Zone* zone = o.setup && o.setup->goal && o.setup->goal->zone ? &*o.setup->goal->zone : nullptr;
  const Place* rest = &found->place;
  if (found->extrapolated)
    words.cannot_tell.push_back(
        fmt::format("Where the white would have stopped, surely: it was not seen any more while it rolled; the place "
                    "told is where it "
                    "was going to, good to {:.0f} cm.",
                    100 * std::max(0.01, rest->u.maxCoeff())));
  words.sentence += found->extrapolated ? " Would have stopped " : " Stopped ";
  if (zone) {
    const double by = zone->depth(rest->at), u = rest->u.maxCoeff();
    if (std::abs(by) <= kSurely * u) {
      words.sentence += "on the zone's edge: too close to call";
      words.cannot_tell.push_back(
          fmt::format("Whether the white is in the zone: it lies {:.1f} mm from its edge and is "
                      "known to {:.1f} mm.",
                      1000 * std::abs(by), 1000 * kSurely * u));
    } else if (by > 0) {
      words.sentence += "in the zone";
    } else {
      words.sentence += fmt::format("{:.0f} cm outside the zone", std::max(1.0, -100 * by));
    }
    if (const auto beside = stop_beside(a, *o.setup)) {
      const double least =
          std::max(0.005, kSurely * beside->u);  // half a centimetre: what is printed is rounded to one
      if (std::abs(beside->along) > least)
        words.sentence += fmt::format(", {:.0f} cm {} of its middle", 100 * std::abs(beside->along),
                                      beside->along < 0 ? "short" : "long");
      if (std::abs(beside->across) > least)
        words.sentence += fmt::format(", {:.0f} cm {} of the line", 100 * std::abs(beside->across),
                                      beside->across > 0 ? "left" : "right");
    } else {
      words.sentence += fmt::format(", {:.0f} cm from its middle", 100 * (rest->at - zone->middle()).norm());
    }
    words.sentence += ".";
  } else {
    words.sentence += place_on_table(rest->at, table, o.ball_radius) + ".";
  }
  if (!a.leave) return;
  const practice::Leave& l = *a.leave;
  words.sentence += found->extrapolated ? fmt::format(" Would leave the {} about ", ball_name(l.ball))
                                        : fmt::format(" Leaves the {} ", ball_name(l.ball));
  if (l.cut >= kPi / 2)
    words.sentence += fmt::format("no pot into the {}", table::trade_name_of_pocket(l.into));
  else
    words.sentence +=
        fmt::format("{} (cut {:.0f} degrees), {:.0f} cm", fullness_words(l.cut), degrees(l.cut), 100 * l.distance);
  if (!l.clear) words.sentence += ", not clear";
  if (l.hampered_by) words.sentence += ", hampered by the " + post_name(*l.hampered_by);
  words.sentence += ".";
}

void pace(const practice::Attempt& a, AttemptWords& words) {
  if (!a.strike) {
    words.cannot_tell.emplace_back("How hard it was struck: the start of the white's run was not seen well enough.");
    return;
  }
  if (!a.strike->speed_told()) {
    const double u = a.strike->u.at("speed");
    words.cannot_tell.push_back(
        fmt::format("How hard it was struck: {:.{}f} m/s give or take {:.{}f}, {} to tell better.", a.strike->speed,
                    u < 0.1 ? 2 : 1, u, u < 0.1 ? 2 : 1,
                    a.strike->from == "whole motion" ? "its motion does not fit one strike well enough"
                                                     : "its first run was too short"));
    return;
  }
  words.sentence += fmt::format(" Struck at {} m/s, {}.", pace_number(*a.strike), pace_words(a.strike->speed));
}

}  // namespace

std::string capital(std::string words) {
  if (!words.empty() && words[0] >= 'a' && words[0] <= 'z') words[0] = static_cast<char>(words[0] - 'a' + 'A');
  return words;
}

std::string pace_words(double speed) {
  if (speed < 1.0) return "very soft";
  if (speed < 1.8) return "soft";
  if (speed < 3.2) return "medium";
  if (speed < 5.0) return "firm";
  return "power";
}

std::string pace_number(const practice::Strike& strike) {
  constexpr double kTwoDecimals = 0.05;  // m/s: known to less than half of the first
  const auto u = strike.u.find("speed");
  return fmt::format("{:.{}f}", strike.speed, u == strike.u.end() || u->second < kTwoDecimals ? 2 : 1);
}

std::optional<Fullness> first_fullness(const practice::Attempt& a, double ball_radius, std::string* why) {
  const BallPath* white = white_of(a);
  if (!white) return std::nullopt;
  const auto c = std::find_if(white->contacts.begin(), white->contacts.end(),
                              [](const Contact& x) { return x.kind == ContactKind::ball; });
  if (c == white->contacts.end()) return std::nullopt;
  const auto stood = a.before.find(c->with);
  if (stood == a.before.end()) return std::nullopt;
  if (c->inferred) {
    if (why) *why = fmt::format("How full the {} was hit: that was out of sight.", ball_name(c->with));
    return std::nullopt;
  }
  const Vec2 to = stood->second.at - c->at;
  const double u = std::hypot(c->u.maxCoeff(), stood->second.u.maxCoeff());
  // Balls of one set differ by less than 1 mm in diameter where they are not pool's lighter white; the touching
  // distance must come out within that and what the places are good to.
  constexpr double kSets = 0.001;  // m
  if (std::abs(to.norm() - 2 * ball_radius) > kSets + 3 * u) {
    if (why)
      *why = fmt::format(
          "How full the {} was hit: its place and the white's at the contact lie {:.1f} mm apart, a "
          "ball's width is {:.1f} mm.",
          ball_name(c->with), 1000 * to.norm(), 2000 * ball_radius);
    return std::nullopt;
  }
  Fullness f;
  f.ball = c->with;
  f.cut = std::abs(wrap_angle(heading_of(to) - c->heading_in));
  f.u = std::hypot(u / (2 * ball_radius), c->u_heading_in);
  if (f.cut > kPi / 2) return std::nullopt;
  return f;
}

AttemptWords words_of(const practice::Attempt& attempt, const table::Table& table, const WordsOptions& options) {
  AttemptWords words;
  outcome(attempt, options.setup, words);
  route(attempt, options, words);
  const std::size_t before = words.sentence.size();
  stop(attempt, table, options, words);
  if (words.sentence.size() > before + 1) words.stop = words.sentence.substr(before + 1);
  pace(attempt, words);
  return words;
}

SessionWords words_of(const practice::Session& session, const table::Table& table, const WordsOptions& options) {
  SessionWords words;
  const std::size_t n = session.attempts.size();
  if (n == 0) {
    words.verdict = "No shot found.";
    words.sentence =
        fmt::format("No struck ball was followed in the {:.0f} s that were measured.", session.measured_until);
    return words;
  }
  if (n == 1) {
    const AttemptWords one = words_of(session.attempts[0], table, options);
    words = {one.verdict, one.sentence};
  } else {
    std::size_t in = 0, judged = 0, hits = 0, scored = 0, unjudged = 0, in_off = 0, hand = 0, cut = 0, potted = 0;
    for (const practice::Attempt& a : session.attempts) {
      judged += a.pot_made.has_value() ? 1 : 0;
      in += a.pot_made.value_or(false) ? 1 : 0;
      scored += a.score ? 1 : 0;
      hits += practice::is_hit(a).value_or(false) ? 1 : 0;
      unjudged += !a.not_judged.empty() && a.ended != practice::Ended::clip ? 1 : 0;
      in_off += a.in_off ? 1 : 0;
      hand += a.ended == practice::Ended::hand ? 1 : 0;
      cut += a.ended == practice::Ended::clip ? 1 : 0;
      potted += a.potted.size();
    }
    words.verdict = judged == n  ? fmt::format("{} played, {} in.", n, in)
                    : judged > 0 ? fmt::format("{} played, {} of {} pots in.", n, in, judged)
                                 : fmt::format("{} shots, {} {} potted.", n, potted, potted == 1 ? "ball" : "balls");
    std::vector<std::string> more;
    if (unjudged > 0) more.push_back(fmt::format("{} not judged", unjudged));
    if (scored > 0) more.push_back(fmt::format("{} of {} met the whole goal", hits, scored));
    if (in_off > 0) more.push_back(fmt::format("{} in-off", in_off));
    if (hand > 0) more.push_back(fmt::format("in {} the white was not seen to stop", hand));
    if (cut > 0) more.push_back(fmt::format("{} cut off by the end of the recording", cut));
    if (!more.empty()) words.sentence = capital(joined(more)) + ".";
  }
  if (!session.complete)
    words.sentence +=
        fmt::format("{}Measured up to {:.1f} s only: it was stopped there, or the recording is cut short or damaged.",
                    words.sentence.empty() ? "" : " ", session.measured_until);
  return words;
}

}  // namespace baizetrace::report
