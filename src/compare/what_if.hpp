// The strike that was found, with one thing changed.
#pragma once

#include <string>

#include "compare/miss.hpp"

namespace baizetrace::compare {

struct WhatIf {
  motion::Prediction motion;
  motion::Strike strike;
  std::optional<Vec2> unchanged;  // m, where the strike found stops by the same play; absent: it does not
};

// `change`: "no-side"; "on-the-mark" (the balls on the setup's marks, the same strike); "softer=P", "harder=P"
// (percent); "right=R", "height=R" (ball radii). Errors: another word, a number out of range, an attempt that is not
// explained.
[[nodiscard]] Result<WhatIf> what_if(const practice::Attempt& attempt, const std::string& change,
                                     const practice::Setup* setup, const table::Table& table, const table::BallSet& set,
                                     const KnownPlay& play);

}  // namespace baizetrace::compare
