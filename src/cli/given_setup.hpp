// The setup that a command is given, with all that it is played on: what every command about a setup reads first.
#pragma once

#include <string>

#include "motion/conditions.hpp"
#include "practice/setup.hpp"

namespace baizetrace::cli {

struct GivenSetup {
  practice::Setup setup;
  table::Table table;
  table::BallSet set;
  motion::Conditions conditions;  // a good club cloth when no file is given
};

// Files: `conditions` may be empty; `table`, a name or a file, stands for the setup's own when it is not empty.
// Errors: of the readers, the first.
[[nodiscard]] Result<GivenSetup> read_given_setup(const std::string& setup, const std::string& conditions,
                                                  const std::string& table = {});

}  // namespace baizetrace::cli
