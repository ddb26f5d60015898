// Plans of what was measured: of one attempt, and of all attempts of a session.
#pragma once

#include "practice/session.hpp"
#include "practice/setup.hpp"
#include "report/plan.hpp"

namespace baizetrace::report {

// Balls as before the strike, every path, the prediction, gates (those of the setup and the narrowest, three at most)
// and the setup's zone. `setup` nullptr: none.
[[nodiscard]] Plan attempt_plan(const practice::Attempt& attempt, const table::Table& table,
                                const practice::Setup* setup);

// The white's measured path and the one that the model gives the strike found. Requires: attempt.explained.
[[nodiscard]] Plan explained_plan(const practice::Attempt& attempt, const table::Table& table);

// All attempts' white paths of a group (0: of all), thin, with their numbers at the resting places (up to 24 attempts);
// where the shot was not made the path is broken and ends in a cross.
[[nodiscard]] Plan session_plan(const practice::Session& session, const table::Table& table,
                                const practice::Setup* setup, int group = 0);

// "predicted: " and what it was made with.
[[nodiscard]] std::string prediction_words(const practice::Attempt& attempt);

// The gates worth drawing: at most `most`, the narrowest first.
[[nodiscard]] std::vector<practice::GatePassed> narrowest_gates(const practice::Attempt& attempt, std::size_t most = 3);

}  // namespace baizetrace::report
