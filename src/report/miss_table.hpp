// What was struck and why the white ended where it did, in lines for a person: terminal and page say the same.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "motion/motion.hpp"
#include "practice/session.hpp"

namespace baizetrace::report {

// A tip's place in mm with its 95 % interval; a bound where only that is known; "cannot tell". `plus`, `minus`: the
// words for either side ("right", "left").
[[nodiscard]] std::string tip_words(const practice::Strike& strike, const std::string& which, double ball_radius,
                                    const char* plus, const char* minus);

// How far the cue was raised, "10 degrees (8 to 11)". Empty: the motion does not show it.
[[nodiscard]] std::string raised_words(const practice::Strike& strike);

// "Struck: 2.31 m/s (2.28 to 2.34); side ...; height ...". Empty: the strike was not found.
[[nodiscard]] std::string strike_line(const practice::Attempt& attempt, double ball_radius);

// A part of the miss: what, how far at the resting place, and the interval or that it is not told apart.
struct MissRow {
  std::string what, how_far, known;
};
[[nodiscard]] std::vector<MissRow> miss_rows(const practice::Attempt& attempt);

// Where real and meant part, and how far apart they are at each contact; "" nothing to say.
[[nodiscard]] std::string parting_words(const practice::Attempt& attempt);

// Where a what-if shot stops, beside the real one.
[[nodiscard]] std::string what_if_words(const motion::Prediction& prediction, const std::optional<Vec2>& unchanged);

}  // namespace baizetrace::report
