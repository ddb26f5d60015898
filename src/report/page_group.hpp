// The page's part on a group of attempts: plan, four boxes, spread, table of attempts.
#pragma once

#include <string>

#include "practice/statistics.hpp"
#include "report/page.hpp"

namespace baizetrace::report {

// `several`: the page has other groups, so this one says which it is.
[[nodiscard]] std::string group_section(const PageInput& input, const practice::GroupSummary& summary, bool several);

}  // namespace baizetrace::report
