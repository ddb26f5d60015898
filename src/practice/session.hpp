// A session: what was measured, as session.json holds it (format baizetrace/session-1).
//
// What is not known is absent (optional, empty), never invented. SI units, radians; `u` is a standard uncertainty.
#pragma once

#include <array>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "base/path.hpp"

namespace baizetrace::practice {

// `clip`: which of the session's clips (0 first) the times belong to.
struct Warning {
  double time = 0;
  std::string what;
  int clip = 0;
};
struct Refused {
  double from = 0, to = 0;
  std::string why;
  int clip = 0;
};

// The camera stood elsewhere from a time on. Before the first move it stands as the rig's file says.
struct RigMove {
  double from = 0, to = 0;    // s: first seen to move, still again
  double pixels = 0;          // rms over the bed
  double metres = 0;          // the same on the bed
  Mat3 R = Mat3::Identity();  // camera_from_table afterwards
  Vec3 t = Vec3::Zero();
  int clip = 0;  // index among the session's clips
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
  std::optional<double> right{}, height{};  // absent: not known well enough to be a number
  std::map<std::string, double> u{};
  // Where only a bound is known (a tip's place that shows less the further out it is), ball radii.
  std::optional<double> right_at_least{}, right_at_most{}, height_at_least{}, height_at_most{};
  std::map<std::string, std::array<double, 2>> interval{};  // 95 %, of speed, heading, right, height; absent: open
  std::string from{};  // "first run" as measured before anything was touched, or "whole motion"; "" not said
  std::optional<double> elevation{};  // rad, of the cue, where the motion shows it

  // Whether the speed is known well enough to be said as a number, and to be compared between attempts.
  [[nodiscard]] bool speed_told() const {
    constexpr double kSurely = 0.035;  // of the speed: worse, and soft and hard strikes of a session are not told apart
    const auto known = u.find("speed");
    return known == u.end() || known->second <= kSurely * speed;
  }
};

struct Comparison {
  std::optional<double> first_contact_off;  // m
  std::optional<Vec2> rest_off;             // m, real less predicted
  std::optional<double> worst_off;          // m, along the common part of the paths at the same time
  // How far apart at each contact that both have, in order ("top", "pink", ...), m.
  std::vector<std::pair<std::string, double>> at_contacts{};
  // Where the real one leaves the other by more than the uncertainty.
  std::optional<PathRow> parts{};
};

// Why the white came to rest elsewhere than meant: what each departure alone adds, m at the resting place. Placing,
// aim, pace, side and height add up to explained less meant; left over is real less explained.
struct Miss {
  Vec2 placing = Vec2::Zero(), aim = Vec2::Zero(), pace = Vec2::Zero(), side = Vec2::Zero(), height = Vec2::Zero();
  Vec2 left_over = Vec2::Zero();
  std::map<std::string, double> u;      // m, of each part's length, one standard deviation; absent: not known
  std::vector<std::string> not_told;    // parts that are not known, or within their 95 % interval of nothing
  std::optional<double> aim_at_ball;    // m at the object ball, off the line that pots; positive: thick
  std::optional<double> u_aim_at_ball;  // m
  std::string sentence;                 // for the player
};

struct Leave {
  std::string ball, into;
  double cut = 0, fullness = 0, distance = 0;
  bool clear = false;
  std::optional<std::string> hampered_by{};
  std::optional<std::string> blocked_by{};
  // Which side of the straight line through ball and pocket the white is on, seen towards the pocket: "left", "right".
  std::string side{};
};

// How the object ball ran at its pocket; see pot.hpp.
struct PotLine {
  std::optional<double> at_mouth;            // m off the middle of the mouth, square to the ball's way
  double half_opening = 0;                   // m, half of the mouth as seen along that way; not kept in files
  std::optional<std::string> thick_or_thin;  // "thick", "thin"
  std::optional<std::string> jaw;            // "near", "far"
};

// The shot played on from where the attempt left the white: not an attempt of its own.
struct FollowOn {
  double time = 0;                  // s, its strike
  std::vector<Potted> potted;       // what fell
  std::vector<std::string> unseen;  // balls of which nobody saw what became
  std::optional<bool> next_potted;  // the ball that the goal names next; absent: it names none, or one of the unseen
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
  int clip = 0;                  // which of the session's clips, 0 first
  int group = 0;                 // number of its group (Session::groups); 0: none
  std::optional<bool> pot_made;  // the setup's shot, when there is one
  PotLine pot_line;
  std::optional<Place> rest_extrapolated;  // of a white that was taken or cut off while it rolled
  std::map<std::string, Vec2> off_group;   // measured less its group's mark
  std::optional<FollowOn> follow_on;
  std::vector<GatePassed> gates;
  std::vector<PocketPassed> nearest_pockets;
  std::map<std::string, Vec2> placing_error;  // measured less mark
  std::optional<Strike> strike;
  std::optional<ComputedPath> prediction;
  std::string prediction_label;  // what the prediction was made with, in words
  std::optional<Comparison> comparison;
  std::optional<ComputedPath> meant;      // the setup's shot from its marks
  std::optional<ComputedPath> explained;  // the strike found, from where the balls really lay
  std::optional<Miss> miss;
  std::string not_explained;  // why there is no explained path or no miss; ""
  std::optional<Leave> leave;
  std::optional<Score> score;
  std::string not_judged;  // why there is no score although its setup is known; ""
};

// Attempts of one arrangement: the same marks.
struct Group {
  int number = 0;                     // 1, 2, ...
  std::map<std::string, Vec2> marks;  // the session's marks: where the balls stood at its first attempt
  std::optional<std::pair<std::string, std::string>> setup;  // file, title; absent: no setup is known
  std::map<std::string, Vec2> off_setup;                     // marks less the setup file's, m
  std::string note;                                          // "the white's mark is 62 mm off the setup's"; or ""
};

struct ClipInfo {
  std::string file;
  int width = 0, height = 0, frames = 0;
  double duration = 0;
};

struct Session {
  bool complete = false;
  double measured_until = 0;
  std::vector<Warning> warnings;
  std::vector<Refused> refused;
  ClipInfo clip;                     // the only clip, or the first
  std::vector<ClipInfo> more_clips;  // the others in order
  struct {
    std::string file;
    double rms_pixels = 0, rms = 0, readout = 0, u_readout = 0;
    std::string table = "full-size";  // name of the table's file
    double half_width = 0, half_length = 0;
    std::map<std::string, Vec2> spots;
    std::vector<RigMove> moves;  // in time's order
  } rig;
  std::optional<std::pair<std::string, std::string>> setup;  // file, title
  std::map<std::string, ConditionValue> conditions;          // rolling, sliding, cushion_restitution
  std::vector<Group> groups;
  std::vector<Attempt> attempts;
  std::string summary;  // JSON text of `summary` as summary_json() makes it; "" or "{}": nothing summed up

  [[nodiscard]] const Group* group(int number) const {
    for (const Group& g : groups)
      if (g.number == number) return &g;
    return nullptr;
  }
};

[[nodiscard]] std::string session_json(const Session& session);
// Errors: no such file, not JSON, another format, a field of the wrong kind: one line with file and field.
[[nodiscard]] Result<Session> read_session(const std::string& file);

}  // namespace baizetrace::practice
