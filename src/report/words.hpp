// The sentences a player reads, in the trade's words and units: stops and leaves in cm, gaps in mm and ball widths,
// pace in m/s, angles in degrees with the fullness.
//
// Law: only what is known. What cannot be told is listed with its reason, and no sentence is made of it.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "practice/session.hpp"
#include "practice/setup.hpp"
#include "table/table.hpp"

namespace baizetrace::report {

struct WordsOptions {
  double ball_radius = 0.02625;            // m, the cue ball's
  const practice::Setup* setup = nullptr;  // what was meant; nullptr: not known, and then nothing is said about it
};

struct AttemptWords {
  std::string verdict;   // a few words, to be read from two metres: "Green in."
  std::string sentence;  // the whole, verdict first: "Green in, green pocket. White: half-ball on the green, ..."
  std::vector<std::string> cannot_tell;  // each a whole sentence with its reason
};

[[nodiscard]] AttemptWords words_of(const practice::Attempt& attempt, const table::Table& table,
                                    const WordsOptions& options = {});

struct SessionWords {
  std::string verdict;   // "6 played, 4 in."
  std::string sentence;  // more of it; "" when there is no more to say
};
[[nodiscard]] SessionWords words_of(const practice::Session& session, const table::Table& table,
                                    const WordsOptions& options = {});

// ------------------------------------------------------------------------------------------- pieces of sentences

// A gap as the trade says it, to the half ball: "a ball and a half", "three balls"; "a quarter of a ball" and so on
// below one ball; "next to nothing" below an eighth.
[[nodiscard]] std::string ball_widths(double gap, double ball_radius);

// How full a ball is hit by the cut angle (rad; geometry: fullness = 1 - sin(cut)): "full", "three-quarter", ...
[[nodiscard]] std::string fullness_words(double cut);

// Words for pace by the ball's speed in m/s (common practice, no source): "soft", "medium", "firm", ...
[[nodiscard]] std::string pace_words(double speed);

// How full the first ball was hit; nullopt: no ball was hit first, or its place and the white's at the contact do not
// lie a ball's width apart within what they are good to (`why`, when given, says so).
struct Fullness {
  std::string ball;
  double cut = 0, u = 0;  // rad
};
[[nodiscard]] std::optional<Fullness> first_fullness(const practice::Attempt& attempt, double ball_radius,
                                                     std::string* why = nullptr);

// The rest of the white beside where it was wanted: along the last run's line and across it. nullopt: not known, or
// the white took another route than the one wanted, so that short and long mean nothing.
struct Stop {
  double along = 0;   // m, positive: long
  double across = 0;  // m, positive: to the left of the run
  double u = 0;       // m
};
[[nodiscard]] std::optional<Stop> stop_beside(const practice::Attempt& attempt, const practice::Setup& setup);

[[nodiscard]] std::string capital(std::string words);

}  // namespace baizetrace::report
