// Whether a fit is a table, and whether it is good enough to measure by.
#pragma once

#include <string>
#include <vector>

#include "camera/refine.hpp"

namespace baizetrace::camera {

struct Verdict {
  bool found = false;
  std::string why;    // one line, when not found
  double score = -1;  // share of the noses that fit, 0..1: to choose between guesses
  std::vector<std::string> warnings;
};

[[nodiscard]] Verdict judge(const Fit& fit, const table::Spec& spec);

}  // namespace baizetrace::camera
