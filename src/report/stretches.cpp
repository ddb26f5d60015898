#include "report/stretches.hpp"

namespace baizetrace::report {

std::vector<Stretch> stretches_of(std::span<const PathRow> rows) {
  std::vector<Stretch> out;
  if (rows.empty()) return out;
  // Between two rows the way is seen when both are.
  std::vector<bool> seen(rows.size() - 1);
  for (std::size_t k = 0; k < seen.size(); ++k) seen[k] = rows[k].seen && rows[k + 1].seen;
  for (std::size_t k = 0; k < seen.size();) {
    std::size_t end = k;
    while (end < seen.size() && seen[end] == seen[k]) ++end;
    if (!seen[k] && rows[end].time - rows[k].time < kOutOfSight)
      for (std::size_t i = k; i < end; ++i) seen[i] = true;
    k = end;
  }
  out.push_back({{rows[0]}, seen.empty() || seen[0]});
  for (std::size_t k = 0; k < seen.size(); ++k) {
    if (seen[k] != out.back().seen) out.push_back({{rows[k]}, seen[k]});
    out.back().rows.push_back(rows[k + 1]);
  }
  return out;
}

}  // namespace baizetrace::report
