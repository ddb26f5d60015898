// The arithmetic of the ball's model against Eigen, and its two ways of evaluation against each other.
#include "sight/ball_model.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <numeric>
#include <random>
#include <vector>

namespace baizetrace::sight {
namespace {

Geometry round_ball() {
  Geometry g;
  g.ellipse.centre = {100.3, 80.7};
  g.ellipse.shape << 1 / 12.0, 0.002, 0.002, 1 / 11.0;
  g.ellipse.radius = 11.5;
  g.centre = {100.1, 80.6};
  g.contact = {99.0, 81.5};
  g.bed_from_px = Mat2::Identity() * 0.0022;
  g.radius_m = 0.02625;
  return g;
}

Plane samples_about(const Geometry& g) {
  Plane p;
  std::vector<float> xs, ys, bare;
  for (int y = 60; y <= 100; ++y)
    for (int x = 80; x <= 120; ++x) {
      xs.push_back(static_cast<float>(x));
      ys.push_back(static_cast<float>(y));
      bare.push_back(60.0F + 0.2F * static_cast<float>(x - y));
    }
  const auto n = static_cast<Eigen::Index>(xs.size());
  p.x = Eigen::Map<Eigen::ArrayXf>(xs.data(), n);
  p.y = Eigen::Map<Eigen::ArrayXf>(ys.data(), n);
  p.bare = Eigen::Map<Eigen::ArrayXf>(bare.data(), n);
  p.solution << 150, 5, -8, 12, 1, 2, 3, -4, 6, 10, 0.98F, -0.2F, 0.05F, -0.03F, -0.1F, 0.07F, -0.04F;
  EXPECT_GT(g.ellipse.radius, 0);
  return p;
}

// The first columns as one matrix.
Eigen::MatrixXf matrix_of(const Columns& A, int columns) {
  Eigen::MatrixXf m(A.samples, columns);
  for (int i = 0; i < A.samples; ++i)
    for (int k = 0; k < columns; ++k) m(i, k) = A.at(i, k);
  return m;
}

Columns at_random(int samples) {
  std::mt19937 random(5);
  std::uniform_real_distribution<float> value(-1, 1);
  Columns A;
  A.resize(samples);
  for (std::size_t b = 0; b < A.blocks.size(); ++b) {
    const int count = std::min(Columns::kBlock, samples - static_cast<int>(b) * Columns::kBlock);
    for (auto& column : A.blocks[b].column) {
      std::fill(std::begin(column), std::end(column), 0.0F);
      std::generate_n(column, count, [&] { return value(random); });
    }
  }
  return A;
}

TEST(BallModel, NormalMatrixIsEigens) {
  for (const int samples : {1, 7, 96, 97, 1203}) {  // whole blocks, whole lanes, and what is left over
    const Columns A = at_random(samples);
    const Eigen::MatrixXd m = matrix_of(A, kColumns).cast<double>();
    for (const std::vector<int>& which :
         {std::vector<int>{0, 1, 2, 5, kValue}, std::vector<int>{3, 4, 21, 22, 23, 24}}) {
      NormalMatrix N;
      normal_matrix(A, which, N);
      for (int i = 0; i < kColumns; ++i)
        for (int j = 0; j < kColumns; ++j) {
          const bool asked = std::count(which.begin(), which.end(), i) > 0 && std::count(which.begin(), which.end(), j);
          // Sums of `samples` products of size one in single precision.
          EXPECT_NEAR(N(i, j), asked ? m.col(i).dot(m.col(j)) : 0, 1e-6 * samples + 1e-6) << i << ", " << j;
        }
    }
  }
}

// Against Eigen's solver: what is left is the Schur complement, and the rows above lead to the solution.
TEST(BallModel, EliminatesAsEigenSolves) {
  const Columns A = at_random(400);
  std::vector<int> all(kColumns);
  std::iota(all.begin(), all.end(), 0);
  NormalMatrix N;
  normal_matrix(A, all, N);
  constexpr int kRest = kColumns - kLinear;
  const Eigen::MatrixXd L = N.topLeftCorner(kLinear, kLinear), M = N.topRightCorner(kLinear, kRest),
                        S = N.bottomRightCorner(kRest, kRest);
  const Eigen::MatrixXd K = L.llt().solve(M), left = S - M.transpose() * K;
  eliminate(N, kLinear);
  EXPECT_LT((N.bottomRightCorner(kRest, kRest) - left).cwiseAbs().maxCoeff(), 1e-9 * S.maxCoeff());
  Eigen::VectorXd solution(kLinear);
  for (int k = kLinear - 1; k >= 0; --k) {
    solution[k] = N(k, kValue);
    for (int j = k + 1; j < kLinear; ++j) solution[k] -= N(k, j) * solution[j];
    solution[k] /= N(k, k);
  }
  EXPECT_LT((solution - K.col(kValue - kLinear)).cwiseAbs().maxCoeff(), 1e-9);
}

// The equations' columns against the same sums in Eigen's words; and what the solution leaves.
TEST(BallModel, WeighsItsColumns) {
  const Geometry g = round_ball();
  Plane p = samples_about(g);
  const Eigen::Index n = p.count();
  p.value = p.bare * 0.9F;
  p.weight = Eigen::ArrayXf::LinSpaced(n, 0, 1);
  p.residual = Eigen::ArrayXf::Constant(n, -7);
  std::array<Eigen::ArrayXf, 2> moved{Eigen::ArrayXf::LinSpaced(n, 40, 90), Eigen::ArrayXf::LinSpaced(n, 70, 20)};
  Columns A;
  fill_basis(g, p, 0.8F, 0.1F, Vec2(5, 2), A);
  const Eigen::MatrixXf plain = matrix_of(A, kWhole);
  weigh_columns(p, &moved, 0.5F, A);
  const Eigen::MatrixXf now = matrix_of(A, kColumns);
  const Eigen::ArrayXf root = p.weight.sqrt(), cover = plain.col(kValue).array();
  const Eigen::ArrayXf inside = (plain.leftCols(kInside) * p.solution.head(kInside)).array(),
                       outside = (plain.middleCols(kInside, kOutside) * p.solution.tail(kOutside)).array();
  int at_edge = 0;
  for (Eigen::Index i = 0; i < n; ++i) {
    const bool edge = cover[i] > 1e-3F && cover[i] < 0.999F;
    const float step = edge ? inside[i] / cover[i] - outside[i] / (1 - cover[i]) : 0;
    at_edge += edge ? 1 : 0;
    for (int k = 0; k < kLinear; ++k) ASSERT_NEAR(now(i, k), plain(i, k) * root[i], 1e-4F);
    for (int k = kEdge; k < kEdge + kPlace; ++k) ASSERT_NEAR(now(i, k), plain(i, k) * step * root[i], 0.02F);
    ASSERT_NEAR(now(i, kValue), p.value[i] * root[i], 1e-4F);
    for (int axis = 0; axis < 2; ++axis)
      ASSERT_NEAR(now(i, kWhole + axis),
                  (moved[static_cast<std::size_t>(axis)][i] - inside[i] - outside[i]) / 0.5F * root[i], 0.02F);
  }
  EXPECT_GT(at_edge, 100);
  take_residuals(A, p);
  for (Eigen::Index i = 0; i < n; ++i)
    ASSERT_NEAR(p.residual[i], p.weight[i] > 1e-3F ? p.value[i] - inside[i] - outside[i] : -7, 0.02F) << i;
}

TEST(BallModel, ColumnsTimesSolutionIsTheModel) {
  const Geometry g = round_ball();
  for (const bool mixed : {false, true})
    for (const Vec2& smear : {Vec2(0, 0), Vec2(14, -9)}) {
      Plane p = samples_about(g);
      if (mixed) set_levels(p);
      Columns A;
      Eigen::ArrayXf model;
      fill_basis(g, p, 0.8F, 0.1F, smear, A);
      fill_model(g, p, 0.8F, 0.1F, smear, Vec2::Zero(), model);
      const Eigen::ArrayXf columns = (matrix_of(A, kLinear) * p.solution).array();
      EXPECT_LT((columns - model).abs().maxCoeff(), 0.01F) << "levels; smear " << smear.norm();  // single precision
    }
}

// The derivatives of the coverage, of which the edge's place is made, against differences of the coverage itself.
TEST(BallModel, EdgesAreDerivativesOfTheCoverage) {
  const Geometry g = round_ball();
  const Plane p = samples_about(g);
  constexpr double kStep = 0.02;  // px
  const Vec2 smear(6, -3);
  const auto cover = [&](const Vec2& by, const Vec2& longer, float grown) {
    Geometry there = g;
    there.ellipse.centre += by;
    Columns A;
    fill_basis(there, p, 1.2F, grown, smear + longer, A);
    return Eigen::ArrayXf(matrix_of(A, kValue + 1).col(kValue).array());
  };
  Columns A;
  fill_basis(g, p, 1.2F, 0, smear, A);
  const Eigen::MatrixXf edges = matrix_of(A, kWhole).middleCols(kEdge, kPlace);
  const auto differ = [&](int k, const Eigen::ArrayXf& more, const Eigen::ArrayXf& less) {
    const Eigen::ArrayXf slope = (more - less) / static_cast<float>(2 * kStep);
    // Which way the outline stands is taken as it is at the ball's middle; single precision over a step of 0.02.
    EXPECT_LT((edges.col(k).array() - slope).abs().maxCoeff(), 0.02F * slope.abs().maxCoeff() + 1e-4F) << k;
    EXPECT_GT(slope.abs().maxCoeff(), 0.02F) << k;
  };
  const Vec2 u(kStep, 0), v(0, kStep), none(0, 0);
  differ(0, cover(u, none, 0), cover(-u, none, 0));
  differ(1, cover(v, none, 0), cover(-v, none, 0));
  differ(2, cover(none, u, 0), cover(none, -u, 0));
  differ(3, cover(none, v, 0), cover(none, -v, 0));
  const auto grown = static_cast<float>(kStep);
  differ(4, cover(none, none, grown), cover(none, none, -grown));
}

// A bright ball sweeping over dark cloth: half of the light is more than half of the coded level (gamma).
TEST(BallModel, LightMixesBeforeTheGamma) {
  const Geometry g = round_ball();
  Plane p = samples_about(g);
  Columns plain, mixed;
  fill_basis(g, p, 0.8F, 0, Vec2(20, 0), plain);
  set_levels(p);
  ASSERT_GT(p.ball_level, p.cloth_level);
  fill_basis(g, p, 0.8F, 0, Vec2(20, 0), mixed);
  int between = 0;
  for (int i = 0; i < plain.samples; ++i) {
    const float before = plain.at(i, kValue), after = mixed.at(i, kValue);
    EXPECT_GE(after, before - 1e-5F);
    EXPECT_LE(after, 1 + 1e-5F);
    if (before < 0.3F || before > 0.7F) continue;
    ++between;
    EXPECT_GT(after, before + 0.02F);
  }
  EXPECT_GT(between, 50);
}

}  // namespace
}  // namespace baizetrace::sight
