// Who is who in one frame: the assignment of least cost (Kuhn's problem, by shortest augmenting paths).
#pragma once

#include <Eigen/Core>
#include <vector>

namespace baizetrace::path {

// For each row the column given to it, each column at most once; -1: none. Requires rows <= columns.
// Law: no other assignment costs less. Forbidden pairs: kForbidden or more; a row is left without (-1) before it
// takes one.
inline constexpr double kForbidden = 1e6;
[[nodiscard]] std::vector<int> assign(const Eigen::MatrixXd& cost);

}  // namespace baizetrace::path
