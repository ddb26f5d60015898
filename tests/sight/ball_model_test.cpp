// The arithmetic of the ball's model against Eigen, and its two ways of evaluation against each other.
#include "sight/ball_model.hpp"

#include <gtest/gtest.h>

#include <random>

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

TEST(BallModel, NormalMatrixIsEigens) {
  std::mt19937 random(5);
  std::uniform_real_distribution<float> value(-1, 1);
  for (const int rows : {1, 7, 96, 97, 1203}) {  // whole blocks of eight, and what is left over
    Eigen::MatrixXf A(rows, static_cast<int>(kColumns)), N;
    for (Eigen::Index i = 0; i < A.size(); ++i) A.data()[i] = value(random);
    for (const int columns : {static_cast<int>(kWhole), static_cast<int>(kColumns)}) {
      normal_matrix(A, columns, N);
      const Eigen::MatrixXf reference = A.leftCols(columns).transpose() * A.leftCols(columns);
      ASSERT_EQ(N.rows(), columns);
      // Sums of `rows` products of size one in single precision.
      EXPECT_LT((N - reference).cwiseAbs().maxCoeff(), 1e-6F * static_cast<float>(rows) + 1e-6F);
    }
  }
}

TEST(BallModel, ColumnsTimesSolutionIsTheModel) {
  const Geometry g = round_ball();
  for (const bool mixed : {false, true})
    for (const Vec2& smear : {Vec2(0, 0), Vec2(14, -9)}) {
      Plane p = samples_about(g);
      if (mixed) set_levels(p);
      Eigen::MatrixXf A;
      Eigen::ArrayXf model;
      fill_basis(g, p, 0.8F, 0.1F, smear, A);
      fill_model(g, p, 0.8F, 0.1F, smear, Vec2::Zero(), model);
      const Eigen::ArrayXf columns = (A.leftCols(kLinear) * p.solution).array();
      EXPECT_LT((columns - model).abs().maxCoeff(), 0.01F) << "levels; smear " << smear.norm();  // single precision
    }
}

// A bright ball sweeping over dark cloth: half of the light is more than half of the coded level (gamma).
TEST(BallModel, LightMixesBeforeTheGamma) {
  const Geometry g = round_ball();
  Plane p = samples_about(g);
  Eigen::MatrixXf plain, mixed;
  fill_basis(g, p, 0.8F, 0, Vec2(20, 0), plain);
  set_levels(p);
  ASSERT_GT(p.ball_level, p.cloth_level);
  fill_basis(g, p, 0.8F, 0, Vec2(20, 0), mixed);
  int between = 0;
  for (Eigen::Index i = 0; i < p.count(); ++i) {
    const float before = plain(i, kValue), after = mixed(i, kValue);
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
