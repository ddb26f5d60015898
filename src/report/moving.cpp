#include "report/moving.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "report/stretches.hpp"

namespace baizetrace::report {
namespace {

constexpr Ink kWhite{{255, 255, 255}};
constexpr Ink kCasing{{8, 18, 26}, 0.8};
constexpr Ink kGuess{{255, 214, 64}};
constexpr Ink kSoft{{255, 255, 255}, 0.75};
constexpr double kFlash = 0.45;     // s that a contact stands out
constexpr double kSameTime = 2e-4;  // s: a row's time is kept to 1e-7, its row of the picture to a pixel or so

void cased(Pen& pen, const std::vector<Vec2>& line, const Ink& ink, double width, double casing,
           const std::vector<double>& dash = {}) {
  pen.line(line, kCasing, width + casing, dash);
  pen.line(line, ink, width, dash);
}

void cross(Pen& pen, const Vec2& c, double r, const Ink& ink, double letter) {
  const double arm = r + 0.3 * letter;
  for (const auto& [i, width] : {std::pair{kCasing, 0.16}, std::pair{ink, 0.07}}) {
    pen.circle(c, r, i, width * letter);
    for (const Vec2& d : {Vec2(1, 0), Vec2(-1, 0), Vec2(0, 1), Vec2(0, -1)})
      pen.line({c + d * r, c + d * arm}, i, width * letter);
  }
}

// What of a way is past at `time`; out of sight it is dotted, as on the pictures.
void way_until(Pen& pen, const Onto& onto, const BallPath& path, double time, const Ink& ink, double width,
               double casing, double letter) {
  for (const Stretch& s : stretches_of(path.rows)) {
    std::vector<Vec2> line;
    for (const PathRow& r : s.rows) {
      if (r.time > time + onto.later(r.at) + kSameTime) break;
      if (const auto p = onto.pixel(r.at)) line.push_back(*p);
    }
    if (s.seen)
      cased(pen, line, ink, width, casing);
    else
      cased(pen, line, ink, 0.7 * width, casing, {0.01 * letter, 0.3 * letter});
  }
}

std::optional<Vec2> place_at(const BallPath& path, double time) {
  if (path.rows.empty() || time < path.rows.front().time) return std::nullopt;
  for (std::size_t k = 0; k + 1 < path.rows.size(); ++k) {
    const PathRow &a = path.rows[k], &b = path.rows[k + 1];
    if (time > b.time) continue;
    const double share = b.time > a.time ? (time - a.time) / (b.time - a.time) : 1;
    return a.at + share * (b.at - a.at);
  }
  return path.rows.back().at;
}

}  // namespace

double over_at(const practice::Attempt& a) {
  double over = a.strike_time;
  for (const auto& [name, path] : a.balls)
    if (!path.rows.empty()) over = std::max(over, path.rows.back().time);
  if (a.rest_time) over = std::max(over, *a.rest_time);
  return over;
}

std::vector<std::pair<std::string, Vec2>> named_balls_at(const practice::Attempt& a, double time) {
  std::vector<std::pair<std::string, Vec2>> out;
  for (const auto& [name, place] : a.before) {
    const auto path = a.balls.find(name);
    if (path == a.balls.end()) {
      out.emplace_back(name, place.at);
      continue;
    }
    if (path->second.pocket && time >= path->second.pocket_time) continue;
    out.emplace_back(name, place_at(path->second, time).value_or(place.at));
  }
  return out;
}

std::vector<Vec2> balls_at(const practice::Attempt& a, double time) {
  std::vector<Vec2> out;
  constexpr double kSmear = 0.012;  // s either side: a ball's picture is swept over an exposure
  for (const double t : {time - kSmear, time, time + kSmear, time + 2 * kSmear})
    for (const auto& [name, at] : named_balls_at(a, t)) out.push_back(at);
  if (time < a.strike_time)
    for (const auto& [name, place] : a.before) out.push_back(place.at);
  if (time > over_at(a))
    for (const auto& [name, place] : a.after) out.push_back(place.at);
  return out;
}

void draw_dashed(Pen& pen, const Onto& onto, const std::vector<Vec2>& places, const std::optional<Vec2>& rest,
                 double letter) {
  std::vector<Vec2> line;
  for (const Vec2& at : places)
    if (const auto p = onto.pixel(at)) line.push_back(*p);
  cased(pen, line, kGuess, 0.1 * letter, 0.09 * letter, {0.7 * letter, 0.45 * letter});
  if (!rest) return;
  if (const auto c = onto.pixel(*rest)) cross(pen, *c, onto.ball(*rest) + 0.1 * letter, kGuess, letter);
}

void draw_moving(Pen& pen, const Onto& onto, const practice::Attempt& a, double time, const MovingLook& look) {
  const double letter = look.letter;
  if (look.prediction && a.prediction) {
    std::vector<Vec2> places;
    for (const PathRow& r : a.prediction->path) places.push_back(r.at);
    draw_dashed(pen, onto, places, a.prediction->rest, letter);
  }
  for (const auto& [name, path] : a.balls)
    if (name != "white") way_until(pen, onto, path, time, kSoft, 0.07 * letter, 0.08 * letter, letter);
  const auto white = a.balls.find("white");
  if (white == a.balls.end()) return;
  way_until(pen, onto, white->second, time, kWhite, 0.14 * letter, 0.09 * letter, letter);
  int number = 0;
  for (const Contact& c : white->second.contacts) {
    ++number;
    const double since = time + onto.later(c.at) + kSameTime - c.time;
    if (since < 0) break;
    const auto at = onto.pixel(c.at);
    if (!at) continue;
    const double r = onto.ball(c.at), swell = since < kFlash ? 1 + 1.4 * (1 - since / kFlash) : 1;
    const std::vector<double> dash =
        c.inferred ? std::vector<double>{0.15 * letter, 0.2 * letter} : std::vector<double>{};
    pen.circle(*at, swell * r, kCasing, 0.17 * letter);
    pen.circle(*at, swell * r, kWhite, 0.08 * letter, dash);
    if (!look.numbers) continue;
    const Vec2 label = *at + Vec2(r + 0.6 * letter, -r - 0.5 * letter);
    pen.disc(label, 0.6 * letter, kWhite);
    pen.disc(label, 0.52 * letter, {{12, 44, 84}});
    pen.text_about(label, fmt::format("{}", number), 0.8 * letter, kWhite, true);
  }
  if (white->second.rest && time >= white->second.rest_time)
    if (const auto c = onto.pixel(white->second.rest->at))
      cross(pen, *c, 1.5 * onto.ball(white->second.rest->at), kWhite, letter);
}

}  // namespace baizetrace::report
