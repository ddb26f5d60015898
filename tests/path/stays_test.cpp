#include "path/stays.hpp"

#include <gtest/gtest.h>

#include "support/truth_looks.hpp"

namespace baizetrace::path {
namespace {

Sighting at(double time, const Vec2& p, double sd) {
  Sighting s;
  s.time = time;
  s.at = p;
  s.covariance = sd * sd * Mat2::Identity();
  return s;
}

TEST(StayMean, WeighsByTheStatedErrors) {
  StayMean m;
  m.add(at(0, {0, 0}, 0.001));
  m.add(at(1, {0.003, 0}, 0.002));
  EXPECT_NEAR(m.mean().x(), 0.003 * 0.25 / 1.25, 1e-12);
  EXPECT_EQ(m.stay().from, 0);
  EXPECT_EQ(m.stay().to, 1);
}

TEST(StayMean, ItsUncertaintyDoesNotVanishWithCount) {
  support::Dice dice{3};
  StayMean few, many;
  constexpr double kSd = 0.0005;  // m
  for (int i = 0; i < 5; ++i) few.add(at(i, Vec2(kSd * dice.normal(), kSd * dice.normal()), kSd));
  for (int i = 0; i < 20000; ++i) many.add(at(i, Vec2(kSd * dice.normal(), kSd * dice.normal()), kSd));
  EXPECT_LT(many.covariance()(0, 0), few.covariance()(0, 0));
  EXPECT_GT(std::sqrt(many.covariance()(0, 0)), 0.0003);
}

TEST(StayMean, ARepeatedFitSharpensNothing) {
  StayMean once, repeated;
  once.add(at(0, {0.1, 0.2}, 0.0004));
  repeated.add(at(0, {0.1, 0.2}, 0.0004));
  for (int i = 1; i < 100; ++i) {
    Sighting s = at(i, {0.1, 0.2}, 0.0004);
    s.fresh = false;
    repeated.add(s);
  }
  EXPECT_EQ(repeated.count(), 100);
  EXPECT_EQ(repeated.covariance(), once.covariance());
}

TEST(Drift, OfAnEvenMotion) {
  std::vector<Sighting> s;
  for (int i = 0; i < 10; ++i) s.push_back(at(0.1 * i, Vec2(0.03, 0.04) * (0.1 * i), 0.001));
  const Drift d = drift_of(s);
  EXPECT_NEAR(d.speed, 0.05, 1e-12);
  EXPECT_NEAR(d.spread, 0, 1e-12);
  EXPECT_NEAR(d.lasting, 0.9, 1e-12);
}

}  // namespace
}  // namespace baizetrace::path
