// A measured attempt judged: what it passed, what it left, whether the setup's goal was met.
//
// Works on the attempt alone (as session.json holds it), so that `score` needs no video.
#pragma once

#include "practice/session.hpp"
#include "practice/setup.hpp"

namespace baizetrace::practice {

// Fills gates and nearest_pockets. `named`: gates of a setup, looked at besides those that resting balls form.
void add_passing(Attempt& attempt, const table::Table& table, const table::BallSet& set,
                 std::span<const motion::GateName> named = {});

// Fills placing_error, pot_made, pot_line, leave and score from the setup. An attempt that the recording cut off is not
// scored: what it would have come to cannot be told.
void score_attempt(Attempt& attempt, const Setup& setup, const table::Table& table, const table::BallSet& set);

}  // namespace baizetrace::practice
