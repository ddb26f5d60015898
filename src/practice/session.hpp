// A session: what was measured, as session.json holds it (format baizetrace/session-1).
//
// What is not known is absent (optional, empty), never invented. SI units, radians; `u` is a standard uncertainty.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "base/path.hpp"

namespace baizetrace::practice {

struct Warning {
  double time = 0;
  std::string what;
};
struct Refused {
  double from = 0, to = 0;
  std::string why;
};

// A value of the table's conditions and where it came from.
struct ConditionValue {
  double value = 0, u = 0;
  bool measured = false;
};

struct Potted {
  std::string ball, pocket;
  double time = 0;
};

struct GatePassed {
  std::string a, b;
  double time = 0;
  Vec2 at = Vec2::Zero();
  double clearance = 0;  // m, at the crossing: least centre distance to a post less R less the post's radius
};

struct PocketPassed {
  std::string pocket;
  double distance = 0;  // m, least distance of the centre to the fall line; 0 falls
  double time = 0;
};

// A path that was not seen but computed: predicted, meant or explained.
struct ComputedPath {
  std::vector<PathRow> path;
  std::vector<Contact> contacts;
  std::optional<Vec2> rest;
};

struct Strike {
  double speed = 0, heading = 0;
  std::optional<double> right, height;
  std::map<std::string, double> u;
};

struct Comparison {
  std::optional<double> first_contact_off;  // m
  std::optional<Vec2> rest_off;             // m, real less predicted
  std::optional<double> worst_off;          // m, along the common part of the paths at the same time
};

struct Leave {
  std::string ball, into;
  double cut = 0, fullness = 0, distance = 0;
  bool clear = false;
  std::optional<std::string> hampered_by;
};

struct ScorePart {
  std::string what;  // pot, cushions, gate, avoid, touch, zone, leave
  bool met = false;
  std::string note;
};
struct Score {
  double points = 0, of = 0;
  std::vector<ScorePart> parts;
};

enum class Ended { rest, hand, clip };

struct Attempt {
  int number = 0;
  double strike_time = 0;
  std::optional<double> rest_time;  // the last centre stops
  Ended ended = Ended::rest;
  std::map<std::string, Place> before, after;
  std::map<std::string, BallPath> balls;  // every ball that moved
  std::vector<Potted> potted;             // never the white
  std::optional<Potted> in_off;
  std::optional<bool> pot_made;  // the setup's shot, when there is one
  std::vector<GatePassed> gates;
  std::vector<PocketPassed> nearest_pockets;
  std::map<std::string, Vec2> placing_error;  // measured less mark
  std::optional<Strike> strike;
  std::optional<ComputedPath> prediction;
  std::string prediction_label;  // what the prediction was made with, in words
  std::optional<Comparison> comparison;
  std::optional<Leave> leave;
  std::optional<Score> score;
};

struct Session {
  bool complete = false;
  double measured_until = 0;
  std::vector<Warning> warnings;
  std::vector<Refused> refused;
  struct {
    std::string file;
    int width = 0, height = 0, frames = 0;
    double duration = 0;
  } clip;
  struct {
    std::string file;
    double rms_pixels = 0, rms = 0, readout = 0, u_readout = 0;
    std::string table = "full-size";  // name of the table's file
    double half_width = 0, half_length = 0;
    std::map<std::string, Vec2> spots;
  } rig;
  std::optional<std::pair<std::string, std::string>> setup;  // file, title
  std::map<std::string, ConditionValue> conditions;          // rolling, sliding, cushion_restitution
  std::vector<Attempt> attempts;
};

[[nodiscard]] std::string session_json(const Session& session);
// Errors: no such file, not JSON, another format, a field of the wrong kind: one line with file and field.
[[nodiscard]] Result<Session> read_session(const std::string& file);

}  // namespace baizetrace::practice
