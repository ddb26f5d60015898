// What physics predicts for an attempt, laid beside what was measured.
#pragma once

#include <optional>

#include "compare/table_play.hpp"
#include "practice/session.hpp"
#include "practice/setup.hpp"

namespace baizetrace::compare {

// Fills prediction, prediction_label and comparison.
// With a setup that has a shot: that shot from its marks. Without: the measured strike from where the balls lay, with
// the side and height that the motion tells; what it does not tell is taken as none, and said.
// Nothing is filled in when neither can be simulated.
void predict_attempt(practice::Attempt& attempt, const std::optional<practice::Setup>& setup, const table::Table& table,
                     const table::BallSet& set, const PlayedConditions& played);

}  // namespace baizetrace::compare
