#include "path/assignment.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <numeric>

#include "support/truth_looks.hpp"

namespace baizetrace::path {
namespace {

double total(const Eigen::MatrixXd& cost, const std::vector<int>& columns) {
  double sum = 0;
  for (std::size_t i = 0; i < columns.size(); ++i)
    if (columns[i] >= 0) sum += cost(static_cast<Eigen::Index>(i), columns[i]);
  return sum;
}

TEST(Assign, NothingIsCheaper) {
  support::Dice dice{5};
  for (int round = 0; round < 200; ++round) {
    const int n = 1 + static_cast<int>(dice.uniform() * 5), m = n + static_cast<int>(dice.uniform() * 3);
    Eigen::MatrixXd cost(n, m);
    for (int i = 0; i < n; ++i)
      for (int j = 0; j < m; ++j) cost(i, j) = dice.uniform();
    std::vector<int> columns(static_cast<std::size_t>(m));
    std::iota(columns.begin(), columns.end(), 0);
    double best = 1e9;
    do {
      best = std::min(best, total(cost, {columns.begin(), columns.begin() + n}));
    } while (std::next_permutation(columns.begin(), columns.end()));
    EXPECT_NEAR(total(cost, assign(cost)), best, 1e-12);
  }
}

TEST(Assign, AForbiddenPairIsLeft) {
  Eigen::MatrixXd cost(2, 2);
  cost << 1, kForbidden, 2, kForbidden;
  const auto a = assign(cost);
  EXPECT_EQ(a[0], 0);
  EXPECT_EQ(a[1], -1);
}

TEST(Assign, EmptyIsEmpty) { EXPECT_TRUE(assign(Eigen::MatrixXd(0, 3)).empty()); }

}  // namespace
}  // namespace baizetrace::path
