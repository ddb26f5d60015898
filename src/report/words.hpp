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
#include "practice/stop.hpp"
#include "practice/wording.hpp"
#include "table/table.hpp"

namespace baizetrace::report {

struct WordsOptions {
  double ball_radius = 0.02625;            // m, the cue ball's
  const practice::Setup* setup = nullptr;  // what was meant; nullptr: not known, and then nothing is said about it
};

struct AttemptWords {
  std::string verdict;   // a few words, to be read from two metres: "Green in."
  std::string sentence;  // the whole, verdict first: "Green in, green pocket. White: half-ball on the green, ..."
  std::string stop{};    // of the sentence, where the white stopped and what it leaves; "" nothing said
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

using practice::ball_widths;
using practice::fullness_words;

// Words for pace by the ball's speed in m/s (common practice, no source): "soft", "medium", "firm", ...
[[nodiscard]] std::string pace_words(double speed);
// Its speed in m/s, "3.27", with the decimals that its uncertainty leaves.
[[nodiscard]] std::string pace_number(const practice::Strike& strike);

// How full the first ball was hit; nullopt: no ball was hit first, or its place and the white's at the contact do not
// lie a ball's width apart within what they are good to (`why`, when given, says so).
struct Fullness {
  std::string ball;
  double cut = 0, u = 0;  // rad
};
[[nodiscard]] std::optional<Fullness> first_fullness(const practice::Attempt& attempt, double ball_radius,
                                                     std::string* why = nullptr);

using practice::Stop;
using practice::stop_beside;

[[nodiscard]] std::string capital(std::string words);

}  // namespace baizetrace::report
