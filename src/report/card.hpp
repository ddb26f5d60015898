// The card of a setup: one A4 page from which anybody can set the same shot up with a tape measure on any table.
#pragma once

#include <string>

#include "practice/setup.hpp"
#include "report/pen.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"

namespace baizetrace::report {

struct CardInput {
  const practice::Setup& setup;
  const table::Table& table;
  const table::BallSet& set;
  const motion::Conditions& conditions;
  std::string cloth = "a good club cloth, assumed";  // what the conditions are, in words
};

// The page's bytes. The plan shows marks, zone and, when the shot can be predicted, the white's way on those conditions
// (dashed, and said to be a prediction). Deterministic.
[[nodiscard]] std::string setup_card(const CardInput& input, Pen::Page kind);

inline const Vec2 kA4(210, 297);  // mm, ISO 216

}  // namespace baizetrace::report
