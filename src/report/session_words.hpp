// The sentences about many attempts, in the trade's words: what came of them, the spread, the bias, what tells the good
// ones apart. Only what the numbers carry is said.
#pragma once

#include <string>

#include "practice/statistics.hpp"

namespace baizetrace::report {

struct GroupWords {
  std::string verdict;  // "20 played, 13 in."
  std::string lead;     // the interval, the spread, the bias
  std::string advice;   // one thing to try; "" when the numbers carry none
};
[[nodiscard]] GroupWords group_words(const practice::GroupSummary& summary);

// "65 % (43-82)": a share and its 95 % interval.
[[nodiscard]] std::string percent(int made, int of, const practice::Interval& interval);

}  // namespace baizetrace::report
