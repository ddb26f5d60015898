// How a table plays, from many shots on it: one strike a shot, conditions shared.
//
// Each shot is explained on its own first (strike_fit.hpp), then the conditions are turned until all are explained
// best (Gauss & Newton, every shot's strike following), from what is known beforehand of tables. A shot that the model
// explains badly weighs less. Attempts kept out of a first tuning say whether it predicts better.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "compare/strike_fit.hpp"

namespace baizetrace::compare {

struct TuneShot {
  const practice::Attempt* attempt = nullptr;
  const table::Table* table = nullptr;  // as it was measured
};

struct TuneOptions {
  int rounds = 8;
  bool hold_out = true;  // every second shot, when there are kFewestToHoldOut
};
inline constexpr int kFewestToHoldOut = 4;

struct Tuned {
  KnownPlay play;                     // u: standard uncertainty
  std::array<bool, kPlays> told{};    // the shots say more of it than was known beforehand
  int shots = 0, used = 0;            // given, and explained
  std::vector<std::string> left_out;  // why, one line a shot
  // A slope or a nap that was asked for is kept only when the shots carry it: no chance of one in a hundred without it.
  struct Extra {
    bool asked = false, told = false;
  };
  Extra slope, nap_drift, nap_side;
  double misfit = 0;  // median over the shots, with the tuned conditions
  // Where the white of attempts kept out came to rest beside the prediction from their pace and line before the first
  // cushion and the tip's place: median distance, m, with the conditions before and tuned on the others.
  int held_out = 0;
  double off_before = 0, off_after = 0;
};

// Errors: no shot of which anything can be explained.
[[nodiscard]] Result<Tuned> tune(std::span<const TuneShot> shots, const table::BallSet& set, const KnownPlay& before,
                                 const TuneOptions& options = {});

// The shot's numbers played on: where the white rests. nullopt: it falls, or the shot cannot be played.
[[nodiscard]] std::optional<Vec2> rest_of(const Evidence& evidence, const ShotNumbers& numbers,
                                          const table::Table& table, const motion::Conditions& conditions);

// The text of a *.conditions.toml, with what is known of each value as comments.
[[nodiscard]] std::string conditions_toml(const Tuned& tuned, const KnownPlay& before);

// A shared condition is never surer than this share of what was known before: the model is not the table, and all
// shots of a session share the camera's faults.
inline constexpr double kSurestShare = 0.05;
inline constexpr double kSurestBall = 0.15;  // the same of balls' restitution and friction: hops and clings are coarse
inline constexpr double kToldShare = 0.6;    // of the uncertainty beforehand: below, the data told it

}  // namespace baizetrace::compare
