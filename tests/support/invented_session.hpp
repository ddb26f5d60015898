// An invented session to test drawings, words and pages with. Nothing here was measured: the places, times and
// speeds are made up, plausible, and no claim about any table.
#pragma once

#include <cmath>
#include <string>
#include <vector>

#include "base/path.hpp"
#include "practice/session.hpp"

namespace baizetrace::invented {

// A waypoint of an invented path: where, what is touched there, the speed on leaving it.
struct Waypoint {
  Vec2 at;
  ContactKind kind = ContactKind::cushion;
  std::string with;  // "" at the start and at the end
  double speed_out = 0;
};

// Straight legs, each slowing evenly from the speed on leaving its first end to `arrives` at its other end.
inline BallPath path_through(const std::string& ball, const std::vector<Waypoint>& points, double from,
                             double frame_interval = 1.0 / 30) {
  BallPath path;
  path.ball = ball;
  double t = from, arrived = 0;
  for (std::size_t k = 0; k < points.size(); ++k) {
    const Waypoint& p = points[k];
    const bool last = k + 1 == points.size();
    if (!p.with.empty()) {
      Contact c;
      c.time = t;
      c.u_time = 0.0012;
      c.kind = p.kind;
      c.with = p.with;
      c.at = p.at;
      c.u = Vec2(0.0009, 0.0011);
      c.speed_in = arrived;
      c.speed_out = last ? 0 : p.speed_out;
      const Vec2 in = k > 0 ? p.at - points[k - 1].at : Vec2(0, 1);
      c.heading_in = heading_of(in);
      c.heading_out = last ? c.heading_in : heading_of(points[k + 1].at - p.at);
      c.u_speed_in = 0.004;
      c.u_heading_in = 0.002;
      path.contacts.push_back(c);
      path.rows.push_back({t, p.at});
    } else if (k == 0) {
      path.rows.push_back({t, p.at});
    }
    if (last) {
      if (p.with.empty()) {
        path.rest = Place{p.at, Vec2(0.0005, 0.0006)};
        path.rest_time = t;
        path.rows.push_back({t, p.at});
      } else if (p.kind == ContactKind::pocket) {
        path.pocket = p.with;
        path.pocket_time = t;
      }
      break;
    }
    const Vec2 leg = points[k + 1].at - p.at;
    const double length = leg.norm();
    const bool stops = k + 2 == points.size() && points[k + 1].with.empty();
    arrived = stops ? 0.0 : 0.82 * p.speed_out;
    const double lasts = 2 * length / (p.speed_out + arrived);
    Piece piece;
    piece.from = t;
    piece.to = t + lasts;
    piece.place = p.at;
    piece.velocity = leg / length * p.speed_out;
    piece.acceleration = leg / length * ((arrived - p.speed_out) / lasts);
    for (double s = std::ceil((t + 1e-6) / frame_interval) * frame_interval; s < piece.to - 1e-6; s += frame_interval)
      path.rows.push_back({s, piece.at(s)});
    path.pieces.push_back(piece);
    t += lasts;
  }
  path.rms = 0.0011;
  return path;
}

inline practice::ComputedPath computed(const BallPath& p) {
  practice::ComputedPath c{p.rows, p.contacts, std::nullopt};
  if (p.rest) c.rest = p.rest->at;
  return c;
}

inline practice::Attempt attempt(int number, double strike_time, double pot_error, double pace) {
  const Vec2 white(0.160, -0.580), green(-0.292, -1.0475);
  const Vec2 touch = green + 0.0525 * along_heading(heading_of(white - green) - radians(30));  // about half-ball
  practice::Attempt a;
  a.number = number;
  a.strike_time = strike_time;
  const Vec2 u(0.0004, 0.0005);
  a.before = {{"white", {white + Vec2(0.0004, -0.0002), u}},
              {"green", {green, u}},
              {"brown", {{0.0005, -1.046}, u}},
              {"yellow", {{0.1791, -1.6210}, u}},
              {"blue", {{0.0008, 0.0008}, u}},
              {"pink", {{-0.0018, 0.8945}, u}},
              {"black", {{-0.0011, 1.4593}, u}}};
  const double s = pace;
  a.balls["white"] = path_through("white",
                                  {{white, ContactKind::ball, "", 3.27 * s},
                                   {touch, ContactKind::ball, "green", 1.05 * s},
                                   {{-0.8649, -1.258 + pot_error}, ContactKind::cushion, "left", 0.82 * s},
                                   {{-0.322, -1.7604}, ContactKind::cushion, "baulk", 0.43 * s},
                                   {Vec2(-0.322, -1.7604) + s * s * Vec2(0.689, 0.395), ContactKind::ball, "", 0}},
                                  strike_time);
  const double hit = a.balls["white"].contacts.front().time;
  const bool in = std::abs(pot_error) < 0.02;
  if (in) {
    a.balls["green"] = path_through(
        "green", {{green, ContactKind::ball, "", 2.9}, {{-0.8708, -1.7937}, ContactKind::pocket, "baulk-left", 0}},
        hit);
    a.potted.push_back({"green", "baulk-left", a.balls["green"].pocket_time});
  } else {
    a.balls["green"] = path_through("green",
                                    {{green, ContactKind::ball, "", 2.9},
                                     {{-0.8649, -1.69}, ContactKind::jaw, "baulk-left", 0.9},
                                     {{-0.70, -1.7604}, ContactKind::cushion, "baulk", 0.3},
                                     {{-0.55, -1.64}, ContactKind::ball, "", 0}},
                                    hit);
  }
  Contact struck = a.balls["white"].contacts.front();  // the object ball's side of the same contact
  struck.with = "white";
  struck.at = green;
  struck.heading_out = heading_of(green - touch);
  struck.speed_in = 0;
  struck.speed_out = 2.9;
  a.balls["green"].contacts.insert(a.balls["green"].contacts.begin(), struck);
  a.pot_made = in;
  a.after = a.before;
  a.after["white"] = *a.balls["white"].rest;
  a.after.erase("green");
  if (!in) a.after["green"] = *a.balls["green"].rest;
  a.rest_time = a.balls["white"].rest_time;
  a.gates = {{"brown", "yellow", a.balls["white"].contacts.back().time + 1.4, {0.14, -1.4955}, 0.079}};
  a.nearest_pockets = {{"baulk-left", 0.3988, strike_time + 1.5},  {"baulk-right", 0.6590, strike_time + 6.5},
                       {"middle-left", 1.0912, strike_time + 0.5}, {"middle-right", 0.9258, strike_time},
                       {"top-left", 2.5744, strike_time},          {"top-right", 2.4611, strike_time}};
  a.placing_error = {{"white", {0.0004, -0.0002}}, {"green", {0.0, 0.0}}, {"brown", {0.0005, 0.0015}}};
  a.strike =
      practice::Strike{3.27 * s, radians(-135.3), std::nullopt, std::nullopt, {{"speed", 0.02}, {"heading", 0.001}}};
  const BallPath guess = path_through("white",
                                      {{white, ContactKind::ball, "", 3.27},
                                       {touch + Vec2(0.004, -0.006), ContactKind::ball, "green", 1.05},
                                       {{-0.8649, -1.20}, ContactKind::cushion, "left", 0.82},
                                       {{-0.25, -1.7604}, ContactKind::cushion, "baulk", 0.43},
                                       {{0.56, -1.31}, ContactKind::ball, "", 0}},
                                      strike_time);
  a.prediction = computed(guess);
  a.prediction_label = "the measured strike, no side; rolling and rebound measured on this table, the rest assumed";
  practice::Comparison cmp;
  cmp.first_contact_off = 0.0072;
  cmp.rest_off = a.after["white"].at - *a.prediction->rest;
  cmp.worst_off = 0.081;
  a.comparison = cmp;
  return a;
}

// Six attempts of one setup: four in, a miss, one whose white was picked up before it rested.
inline practice::Session session(int attempts = 6) {
  practice::Session s;
  s.complete = true;
  s.measured_until = 12.0 * attempts;
  s.clip.file = "invented.mp4";
  s.clip.width = 1920;
  s.clip.height = 1080;
  s.clip.frames = 360 * attempts;
  s.clip.duration = 12.0 * attempts;
  s.rig.file = "invented.rig.json";
  s.rig.rms_pixels = 0.31;
  s.rig.rms = 0.0007;
  s.rig.readout = 0.016;
  s.rig.u_readout = 0.0;
  s.rig.table = "full-size";
  s.rig.half_width = 0.889;
  s.rig.half_length = 1.7845;
  s.setup = {"invented.setup.toml", "Invented: green from its spot, white off two cushions for the brown"};
  s.conditions = {{"rolling", {0.0092, 0.0004, true}},
                  {"sliding", {0.20, 0.04, false}},
                  {"cushion_restitution", {0.84, 0.03, true}}};
  for (int k = 0; k < attempts; ++k) {
    const double error = k % 6 == 3 ? 0.03 : 0.004 * std::sin(2.1 * k);
    s.attempts.push_back(attempt(k + 1, 1.9547 + 12.0 * k, error, 1.0 + 0.05 * std::sin(1.7 * k)));
  }
  if (attempts > 4) {
    practice::Attempt& a = s.attempts[4];
    a.ended = practice::Ended::hand;
    a.rest_time.reset();
    a.after.erase("white");
    BallPath& w = a.balls["white"];
    w.rest.reset();
    w.rows.resize(w.rows.size() - 25);
    w.pieces.back().to = w.rows.back().time;
    a.comparison.reset();
    a.balls["white"].contacts[1].inferred = true;
    s.warnings.push_back({40.2, "a hand covered the brown for 1.1 s"});
    s.refused.push_back({61.0, 63.5, "the picture moved: somebody touched the mount <here> & left it"});
  }
  return s;
}

}  // namespace baizetrace::invented
