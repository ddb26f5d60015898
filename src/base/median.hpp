// The middle value of many: what scatter leaves alone.
#pragma once

#include <algorithm>
#include <cassert>
#include <vector>

namespace baizetrace {

// Of an even number the upper of the two in the middle. Reorders `values`. Requires: not empty.
template <typename T>
[[nodiscard]] T upper_median(std::vector<T>& values) {
  assert(!values.empty());
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}
template <typename T>
[[nodiscard]] T upper_median(std::vector<T>&& values) {
  return upper_median(values);
}

}  // namespace baizetrace
