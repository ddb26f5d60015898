// What a fit of one shot goes by: measured places, each within a named flight of its ball, with their joint covariance.
//
// Places are compared flight by flight (from one contact of a ball to its next) at the same time after the strike, the
// model's flights running on a little past their ends. So nothing jumps where a contact comes a moment earlier or later
// than in the model.
#pragma once

#include <Eigen/Dense>
#include <string>
#include <vector>

#include "motion/motion.hpp"
#include "practice/session.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"

namespace baizetrace::compare {

// What a ball touched, as one number, so that orders can be laid beside each other.
struct Touched {
  ContactKind kind = ContactKind::cushion;
  std::size_t with = 0;  // ball: into Evidence::balls; cushion and pocket: into the table's
  friend bool operator==(const Touched&, const Touched&) = default;
};

// One measured place. `flight` counts from 0: of the cue ball 0 ends at its first contact, of the others 0 begins at
// theirs.
struct Fact {
  enum class When { before, moving, after };
  When when = When::moving;
  std::size_t ball = 0;
  std::size_t flight = 0;
  double time = 0;  // s after Evidence::begin
  Vec2 at = Vec2::Zero();
  double u = 0;  // m, of this place alone; what neighbours share is in the covariance
};

struct Evidence {
  std::vector<motion::Ball> balls;             // the cue ball first; those that moved or stood near a path
  std::size_t moved = 0;                       // the first `moved` of them moved
  double begin = 0;                            // s, the strike as measured
  std::vector<std::vector<Touched>> contacts;  // of each moved ball, as far as it is used
  std::vector<Fact> facts;
  Eigen::MatrixXd covariance;         // of the facts' x; the same of their y, independent
  std::vector<double> contact_times;  // s after `begin`, of the cue ball's contacts that are used
  // Of the cue ball: whether it is used up to its rest, and how many cushions it met while it is.
  bool to_rest = false;
  int cushions = 0;
};

struct EvidenceOptions {
  bool before_first_cushion = false;  // only what was seen until the cue ball met its first cushion
  std::size_t per_flight = 10;        // places used of a flight, spread evenly
};

// Errors: no cue ball that moved, too little of it seen (what is missing).
[[nodiscard]] Result<Evidence> evidence_of(const practice::Attempt& attempt, const table::Table& table,
                                           const table::BallSet& set, const EvidenceOptions& options = {});

}  // namespace baizetrace::compare
