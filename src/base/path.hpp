// Where balls were at rest, how they moved, and what they touched. The structs that flow from `path` upwards.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/units.hpp"

namespace baizetrace {

// A place with its standard uncertainty (1 sigma), metres.
struct Place {
  Vec2 at = Vec2::Zero();
  Vec2 u = Vec2::Zero();  // along x and y; random and rig's share together
};

enum class ContactKind { ball, cushion, jaw, pocket };
// As it stands in files.
constexpr const char* word_of(ContactKind kind) {
  constexpr const char* words[] = {"ball", "cushion", "jaw", "pocket"};
  return words[static_cast<int>(kind)];
}

// An instant at which a ball's motion changes.
struct Contact {
  double time = 0;    // s
  double u_time = 0;  // s, readout's uncertainty included
  ContactKind kind = ContactKind::cushion;
  std::string with;        // a ball's name, a cushion's (`left`) or a pocket's (`baulk-left`; for jaws too)
  Vec2 at = Vec2::Zero();  // the ball's centre
  Vec2 u = Vec2::Zero();
  double speed_in = 0, speed_out = 0;      // m/s the instant before and after
  double heading_in = 0, heading_out = 0;  // radians; see units.hpp
  double u_speed_in = 0, u_heading_in = 0;
  bool inferred = false;  // out of sight: from the motion before and after
};

// One piece of free motion: p(t) = place + velocity dt + acceleration dt^2 / 2, dt = t - from.
struct Piece {
  enum class Phase { slide, roll, rest };
  double from = 0, to = 0;  // s
  Phase phase = Phase::roll;
  Vec2 place = Vec2::Zero(), velocity = Vec2::Zero(), acceleration = Vec2::Zero();
  bool seen = true;  // false: reconstructed out of sight

  [[nodiscard]] Vec2 at(double t) const {
    const double dt = t - from;
    return place + velocity * dt + acceleration * (0.5 * dt * dt);
  }
  [[nodiscard]] Vec2 velocity_at(double t) const { return velocity + acceleration * (t - from); }
};

// A row of `path` in session.json.
struct PathRow {
  double time = 0;
  Vec2 at = Vec2::Zero();
  bool seen = true;  // false: no sighting of this frame stands behind it (hidden by a hand, a lamp)
};

// The whole motion of one ball in one attempt.
struct BallPath {
  std::string ball;
  std::vector<Piece> pieces;          // in time's order, joined end to end
  std::vector<Contact> contacts;      // in time's order
  std::vector<PathRow> rows;          // at every frame in which the ball moves, at every contact, first at its start
  std::optional<Place> rest;          // absent: potted, taken away by hand before it rested, or the clip ended
  double rest_time = 0;               // s, centre stops; meaningful when rest is there
  std::optional<std::string> pocket;  // fell there
  double pocket_time = 0;
  double rms = 0;  // m, of sightings from the fitted path
  // s: from here on what it touched is not known: it turned where nobody saw by what, or was not followed any more.
  std::optional<double> told_until;

  // Whether free motion between contacts follows what was seen: if not, nothing is to be told from its contacts.
  [[nodiscard]] bool followed() const {
    constexpr double kFollowed = 0.012;  // m RMS; a fair path is 0.3 to 3 mm
    return rms <= kFollowed;
  }
  // It goes on behind where it is told: a turn out of sight. Otherwise it was lost there.
  [[nodiscard]] bool goes_on() const { return told_until && !rows.empty() && rows.back().time > *told_until; }
  [[nodiscard]] std::optional<Vec2> at(double t) const {
    for (const Piece& p : pieces)
      if (t >= p.from && t <= p.to) return p.at(t);
    return std::nullopt;
  }
};

}  // namespace baizetrace
