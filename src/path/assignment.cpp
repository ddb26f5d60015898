#include "path/assignment.hpp"

#include <cassert>
#include <limits>

namespace baizetrace::path {

std::vector<int> assign(const Eigen::MatrixXd& cost) {
  const auto n = static_cast<std::size_t>(cost.rows()), m = static_cast<std::size_t>(cost.cols());
  assert(n <= m);
  constexpr double kInfinite = std::numeric_limits<double>::infinity();
  // Potentials of rows and columns; row 0 and column 0 are the search's root.
  std::vector<double> u(n + 1, 0), v(m + 1, 0);
  std::vector<std::size_t> row_of(m + 1, 0), from(m + 1, 0);
  for (std::size_t i = 1; i <= n; ++i) {
    row_of[0] = i;
    std::size_t column = 0;
    std::vector<double> least(m + 1, kInfinite);
    std::vector<bool> done(m + 1, false);
    do {
      done[column] = true;
      const std::size_t row = row_of[column];
      double step = kInfinite;
      std::size_t next = 0;
      for (std::size_t j = 1; j <= m; ++j) {
        if (done[j]) continue;
        const double reduced =
            cost(static_cast<Eigen::Index>(row - 1), static_cast<Eigen::Index>(j - 1)) - u[row] - v[j];
        if (reduced < least[j]) least[j] = reduced, from[j] = column;
        if (least[j] < step) step = least[j], next = j;
      }
      for (std::size_t j = 0; j <= m; ++j) {
        if (done[j])
          u[row_of[j]] += step, v[j] -= step;
        else
          least[j] -= step;
      }
      column = next;
    } while (row_of[column] != 0);
    while (column != 0) {
      row_of[column] = row_of[from[column]];
      column = from[column];
    }
  }
  std::vector<int> out(n, -1);
  for (std::size_t j = 1; j <= m; ++j) {
    const std::size_t i = row_of[j];
    if (i > 0 && cost(static_cast<Eigen::Index>(i - 1), static_cast<Eigen::Index>(j - 1)) < kForbidden)
      out[i - 1] = static_cast<int>(j - 1);
  }
  return out;
}

}  // namespace baizetrace::path
