// How this table plays, put into the conditions a prediction is made with: what was read off the recording replaces
// what was assumed, and each value says which it is.
#pragma once

#include <span>

#include "motion/conditions.hpp"
#include "path/reconstruct.hpp"
#include "practice/session.hpp"

namespace baizetrace::compare {

// The shift of the whole cushion-restitution curve that best explains the rebounds seen.
struct Rebound {
  double shift = 0, u = 0;
  int contacts = 0;  // how many cushion contacts it was read off; 0: nothing learnt
};

// Reads the shift off cushion contacts (speeds and headings just before and after), each ball taken to roll in.
// Contacts that were out of sight, that come within `kLeastRun` of another contact, or that are nearly along the
// cushion tell nothing. Robust: one kick among five does not pull it.
[[nodiscard]] Rebound read_rebound(std::span<const practice::Attempt> attempts, const table::Table& table,
                                   const table::BallSet& balls, const motion::Conditions& conditions);

struct PlayedConditions {
  motion::Conditions conditions;
  // For session.json: rolling, sliding, cushion_restitution (at 1 m/s).
  std::map<std::string, practice::ConditionValue> values;
  std::string in_words;  // "rolling and rebound measured on this table, the rest assumed"
};

[[nodiscard]] PlayedConditions conditions_as_played(const motion::Conditions& assumed, const path::Play& play,
                                                    const Rebound& rebound);

}  // namespace baizetrace::compare
