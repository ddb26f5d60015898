// Whether a fit is a table, and whether it is good enough to measure by.
#pragma once

#include <string>
#include <vector>

#include "camera/refine.hpp"

namespace baizetrace::camera {

struct Verdict {
  bool found = false;
  bool sure = false;  // found, and nothing that should be seen is missing: no other guess need be tried
  std::string why;    // one line, when not found
  double score = -1;  // how much of noses, line and D is where the fit has them, 0..1.5: to choose between guesses
  std::vector<std::string> warnings;
};

[[nodiscard]] Verdict judge(const Fit& fit, const table::Spec& spec);

}  // namespace baizetrace::camera
