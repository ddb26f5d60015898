#include "compare/shot_fit.hpp"

#include <ceres/ceres.h>

namespace baizetrace::compare {
namespace {

class Cost final : public ceres::CostFunction {
 public:
  explicit Cost(Shot& shot, Index size) : shot_(shot), size_(size) {
    set_num_residuals(static_cast<int>(shot.rows()));
    mutable_parameter_block_sizes()->push_back(static_cast<int>(size));
  }
  bool Evaluate(double const* const* parameters, double* residuals, double** jacobians) const override {
    const VectorXd z = Eigen::Map<const VectorXd>(parameters[0], size_);
    VectorXd r;
    if (jacobians && jacobians[0]) {
      MatrixXd j;
      if (!shot_.slopes(z, r, j)) return false;
      Eigen::Map<Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>>(jacobians[0], j.rows(),
                                                                                         j.cols()) = j;
    } else if (!shot_.residuals(z, r)) {
      return false;
    }
    Eigen::Map<VectorXd>(residuals, r.size()) = r;
    return r.allFinite();
  }

 private:
  Shot& shot_;
  Index size_;
};

}  // namespace

Raised raised_cue(const Vec2& ball, double heading, const table::Table& table) {
  // Chosen so that a ball on a cushion has 14 degrees, half way from eight to twenty, give or take 5, and one 40 cm
  // off it has three; no measured players stand behind them.
  constexpr double kOver = 0.02;  // m that the cue must rise from the ball to the cushion's top
  constexpr double kMost = radians(14.0);
  constexpr double kShare = 0.35;  // how far players differ, of what they raise it
  const Vec2 back = -along_heading(heading);
  double way = 1e9;  // m, to the noses behind the ball
  for (int k = 0; k < 2; ++k) {
    const double half = k == 0 ? table.half_width() : table.half_length();
    if (back[k] != 0) way = std::min(way, ((back[k] > 0 ? half : -half) - ball[k]) / back[k]);
  }
  Raised r;
  r.usual = std::clamp(std::atan2(kOver, std::max(0.0, way)), r.usual, kMost);
  r.sd = std::max(r.sd, kShare * r.usual);
  return r;
}

std::optional<double> descend(Shot& shot, const Unknowns& unknowns, VectorXd& z, const std::vector<int>& held,
                              int iterations) {
  ceres::Problem::Options how;
  how.cost_function_ownership = ceres::TAKE_OWNERSHIP;
  ceres::Problem problem(how);
  problem.AddResidualBlock(new Cost(shot, unknowns.size()), nullptr, z.data());
  std::vector<int> constant = held;
  for (Index k = 0; k < unknowns.size(); ++k)
    if (unknowns.fixed(k)) constant.push_back(static_cast<int>(k));
  if (!constant.empty())
    problem.SetManifold(z.data(), new ceres::SubsetManifold(static_cast<int>(unknowns.size()), constant));
  ceres::Solver::Options o;
  o.max_num_iterations = iterations;
  o.linear_solver_type = ceres::DENSE_QR;
  o.function_tolerance = 1e-5;
  o.parameter_tolerance = 1e-7;
  o.logging_type = ceres::SILENT;
  o.num_threads = 1;
  ceres::Solver::Summary summary;
  ceres::Solve(o, &problem, &summary);
  if (summary.termination_type == ceres::FAILURE) return std::nullopt;
  return 2 * summary.final_cost;
}

MatrixXd information(const Unknowns& unknowns, const MatrixXd& slopes) {
  MatrixXd h = slopes.transpose() * slopes;
  for (Index k = 0; k < h.rows(); ++k) {
    if (unknowns.fixed(k)) {
      h.row(k).setZero();
      h.col(k).setZero();
      h(k, k) = 1;
    }
    h(k, k) += 1e-9;
  }
  return h;
}

}  // namespace baizetrace::compare
