// A setup's shot and goal as a coach would say them.
#pragma once

#include <string>
#include <vector>

#include "practice/setup.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"

namespace baizetrace::report {

struct SetupWordsOptions {
  double ball_radius = 0.02625;   // m, the cue ball's
  std::optional<double> lengths;  // what the shot's speed runs, when it is known for some cloth
  std::optional<double> cut;      // rad, the angle at the first ball, when it was worked out from the marks
};

// Sentences: what to play, how hard, where the tip goes. Empty: the setup names no shot.
[[nodiscard]] std::vector<std::string> shot_words(const practice::Setup& setup, const SetupWordsOptions& options = {});

// One sentence a part of the goal. Empty: no goal.
[[nodiscard]] std::vector<std::string> goal_words(const practice::Setup& setup, const table::Table& table);

// Tip's width: common practice, no source.
inline constexpr double kTipWidth = 0.0095;  // m

}  // namespace baizetrace::report
