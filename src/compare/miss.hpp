// Why the white came to rest elsewhere than meant.
//
// Meant: the setup's shot from its marks. Explained: the strike found (strike_fit.hpp) from where the balls really lay.
// Between them five things differ: where the balls lay (placing: the shot re-aimed from there), the line (aim: the
// departure from that re-aimed one), pace, side and height. Each is switched over in every order and what it adds at
// the resting place is averaged over the orders (Shapley 1953), so that the five add up to explained less meant
// exactly. Real less explained is left over: the table, a kick, the camera.
#pragma once

#include <array>
#include <optional>

#include "compare/strike_fit.hpp"
#include "practice/session.hpp"
#include "practice/setup.hpp"

namespace baizetrace::compare {

struct WhyOptions {
  int draws = 24;  // of the strike within its uncertainty, for the parts' own
  unsigned seed = 1;
};

// Fills strike, prediction (what was meant), meant, explained, comparison, miss, or not_explained with the reason.
// What a setup does not say (no shot, a shot that cannot be aimed) leaves meant and miss absent.
void explain_attempt(practice::Attempt& attempt, const std::optional<practice::Setup>& setup, const table::Table& table,
                     const table::BallSet& set, const KnownPlay& play, const std::string& play_words,
                     const WhyOptions& options = {});

// The strike as session.json tells it: numbers where they are known, bounds where only these are.
[[nodiscard]] practice::Strike told_strike(const StrikeFound& found);

// The strike found, as the model plays it from where the balls lay.
[[nodiscard]] Result<motion::Prediction> play_explained(const practice::Attempt& attempt, const Evidence& evidence,
                                                        const ShotNumbers& numbers, const table::Table& table,
                                                        const table::BallSet& set,
                                                        const motion::Conditions& conditions);

// "7 cm short of the meant place; ...": the sentence of a miss, for the player.
struct MissWords {
  // 95 % intervals of found less meant: share of the meant speed; ball radii.
  std::array<double, 2> pace{}, right{}, height{};
  double radius = 0.02625;            // m
  Vec2 along{0, 1};                   // unit vector, the meant path's last run
  Vec2 rest_off = Vec2::Zero();       // m, real less meant
  bool pace_known = false;            // the table is tuned: too hard and too soft mean something
  std::optional<double> aim_right{};  // m at the object ball, right of the line that was meant: where thick and thin
                                      // mean nothing
};
[[nodiscard]] std::string sentence_of(const practice::Miss& miss, const MissWords& words);

inline constexpr double kNoMiss = 0.03;       // m: nearer to what was meant nothing is explained
inline constexpr double kWorthSaying = 0.15;  // of the miss: smaller parts are left out of the sentence

}  // namespace baizetrace::compare
