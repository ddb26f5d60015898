// Statistics beside published worked examples and a reference library.
#include "practice/statistics.hpp"

#include <gtest/gtest.h>

#include <Eigen/LU>
#include <cmath>
#include <opencv2/core.hpp>

#include "support/truth_looks.hpp"

namespace baizetrace::practice {
namespace {

// R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3 (Wilson's score), from memory; and the
// trade's sheet: 13 of 20 is 43-82 %.
TEST(Wilson, NewcombesExamples) {
  struct Example {
    int k, n;
    double low, high;
  };
  for (const Example& e : {Example{81, 263, 0.2553, 0.3662}, Example{15, 148, 0.0624, 0.1605},
                           Example{0, 20, 0.0000, 0.1611}, Example{1, 29, 0.0061, 0.1718}}) {
    const Interval i = wilson(e.k, e.n);
    EXPECT_NEAR(i.low, e.low, 5e-5) << e.k << " of " << e.n;
    EXPECT_NEAR(i.high, e.high, 5e-5) << e.k << " of " << e.n;
  }
  EXPECT_NEAR(wilson(13, 20).low, 0.43, 0.005);
  EXPECT_NEAR(wilson(13, 20).high, 0.82, 0.005);
}

// Laws: it mirrors, it holds the share itself, nothing seen tells nothing.
TEST(Wilson, Laws) {
  EXPECT_EQ(wilson(0, 0).low, 0);
  EXPECT_EQ(wilson(0, 0).high, 1);
  for (int n = 1; n < 40; ++n)
    for (int k = 0; k <= n; ++k) {
      const Interval i = wilson(k, n), j = wilson(n - k, n);
      EXPECT_NEAR(i.low, 1 - j.high, 1e-12);
      EXPECT_LE(i.low, static_cast<double>(k) / n + 1e-12);
      EXPECT_GE(i.high, static_cast<double>(k) / n - 1e-12);
    }
}

// NIST Statistical Reference Datasets, univariate: NumAcc1 (mean 10000002, sd 1) and NumAcc3 in miniature: 1000000.2
// and pairs 1000000.1, 1000000.3, whose certified mean is 1000000.2 and sd 0.1 for 1001 values.
TEST(MeanSd, NistNumAcc) {
  const std::vector<double> first{10000001, 10000003, 10000002};
  EXPECT_DOUBLE_EQ(mean_sd(first).mean, 10000002);
  EXPECT_DOUBLE_EQ(mean_sd(first).sd, 1);
  std::vector<double> third{1000000.2};
  for (int k = 0; k < 500; ++k) third.push_back(1000000.1), third.push_back(1000000.3);
  EXPECT_NEAR(mean_sd(third).mean, 1000000.2, 1e-7);
  EXPECT_NEAR(mean_sd(third).sd, 0.1, 1e-8);
}

// Published tables of Student's t, two-sided 95 % and 99 %: every textbook's; here Abramowitz & Stegun, table 26.10.
TEST(Student, PublishedTable) {
  struct Row {
    int df;
    double t95, t99;
  };
  for (const Row& r : {Row{3, 3.182, 5.841}, Row{5, 2.571, 4.032}, Row{10, 2.228, 3.169}, Row{18, 2.101, 2.878},
                       Row{30, 2.042, 2.750}, Row{120, 1.980, 2.617}}) {
    EXPECT_NEAR(student(1.959964, r.df) / r.t95, 1, 0.005) << r.df;
    EXPECT_NEAR(student(2.575829, r.df) / r.t99, 1, r.df < 5 ? 0.03 : 0.005) << r.df;
  }
}

// The covariance ellipse beside OpenCV's calcCovarMatrix and eigen.
TEST(Spread, EllipseBesideOpenCv) {
  support::Dice dice{7};
  std::vector<Vec2> places;
  cv::Mat samples(40, 2, CV_64F);
  for (int k = 0; k < 40; ++k) {
    const double a = 0.30 * dice.normal(), b = 0.10 * dice.normal();
    const Vec2 p(0.2 + a * std::sin(0.7) + b * std::cos(0.7), -0.5 + a * std::cos(0.7) - b * std::sin(0.7));
    places.push_back(p);
    samples.at<double>(k, 0) = p.x();
    samples.at<double>(k, 1) = p.y();
  }
  cv::Mat covariance, mean, values, vectors;
  cv::calcCovarMatrix(samples, covariance, mean, cv::COVAR_NORMAL | cv::COVAR_ROWS);
  cv::eigen(covariance / 39.0, values, vectors);
  const auto s = spread_about(places, Vec2(0.2, -0.5));
  ASSERT_TRUE(s);
  EXPECT_NEAR(s->major, std::sqrt(values.at<double>(0)), 1e-12);
  EXPECT_NEAR(s->minor, std::sqrt(values.at<double>(1)), 1e-12);
  EXPECT_NEAR(s->mean.x(), mean.at<double>(0, 0), 1e-12);
  const Vec2 axis(vectors.at<double>(0, 0), vectors.at<double>(0, 1));
  EXPECT_NEAR(std::abs(axis.dot(along_heading(s->heading))), 1, 1e-12);
}

// A normal spread's ellipses of 1 and 2 sigma hold 1 - exp(-k^2 / 2) of it: 39.3 % and 86.5 % (chi-square with two
// degrees of freedom).
TEST(Spread, EllipsesHoldWhatChiSquareSays) {
  support::Dice dice{11};
  std::vector<Vec2> places;
  for (int k = 0; k < 4000; ++k) places.emplace_back(0.3 * dice.normal(), 0.1 * dice.normal());
  const auto s = spread_about(places, Vec2::Zero());
  int in[2] = {0, 0};
  for (const Vec2& p : places) {
    const double d = (p - s->mean).dot(s->covariance.inverse() * (p - s->mean));
    in[0] += d < 1, in[1] += d < 4;
  }
  EXPECT_NEAR(in[0] / 4000.0, 1 - std::exp(-0.5), 0.02);
  EXPECT_NEAR(in[1] / 4000.0, 1 - std::exp(-2.0), 0.02);
}

TEST(Spread, MedianFromTheMarkOfOneAndOfFew) {
  EXPECT_FALSE(spread_about({}, Vec2::Zero()));
  const std::vector<Vec2> three{{0.3, 0}, {0, 0.1}, {0, -0.2}};
  EXPECT_DOUBLE_EQ(spread_about(three, Vec2::Zero())->median_from_mark, 0.2);
  EXPECT_EQ(spread_about(std::vector<Vec2>{{1, 1}}, Vec2::Zero())->major, 0);
}

// Borenstein, Hedges, Higgins, Rothstein: Introduction to Meta-Analysis (2009), chapter 4: means 103 and 100, sd 5.5
// and 4.5, 50 each: g = 0.5924, its variance 0.0411 (from memory).
TEST(Hedges, BorensteinsExample) {
  const auto e = hedges({50, 103, 5.5}, {50, 100, 4.5});
  ASSERT_TRUE(e);
  EXPECT_NEAR(e->g, 0.5924, 5e-5);
  EXPECT_NEAR(e->u * e->u, 0.0411, 5e-5);
}

// P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379-1389, the worked example: slope 4 (from memory).
TEST(TheilSen, SensExample) {
  const std::vector<double> t{1, 2, 3, 4, 10, 12, 18}, x{9, 15, 19, 20, 45, 55, 78};
  EXPECT_DOUBLE_EQ(*theil_sen(t, x), 4.0);
  EXPECT_FALSE(theil_sen(std::vector<double>{1, 1}, std::vector<double>{1, 2}));
}

// Kendall, Biometrika 30 (1938) 81-93: of the n! orders of n values one rises all the way and n - 1 have a single pair
// the other way about; from 40 on the normal distribution with variance n (n - 1) (2 n + 5) / 18.
TEST(ByChance, CountsOrders) {
  EXPECT_NEAR(by_chance(std::vector<double>{1, 2, 3, 4}), 2.0 / 24, 1e-12);
  EXPECT_NEAR(by_chance(std::vector<double>{5, 4, 3, 2, 1}), 2.0 / 120, 1e-12);
  EXPECT_NEAR(by_chance(std::vector<double>{1, 2, 3, 5, 4}), 2 * (1 + 4) / 120.0, 1e-12);
  EXPECT_NEAR(by_chance(std::vector<double>{2, 1, 4, 3}), 18.0 / 24, 1e-12);
  EXPECT_NEAR(by_chance(std::vector<double>{3, 3, 3}), 1, 1e-12);
  EXPECT_NEAR(by_chance(std::vector<double>{}), 1, 1e-12);
  // What is counted for 40 is nearly what the normal distribution says: rising, but for every third value.
  std::vector<double> v;
  double rising = 0;
  for (int k = 0; k < 40; ++k) {
    v.push_back(k % 3 == 0 ? 40.5 - k : k);
    for (int i = 0; i < k; ++i) rising += v[static_cast<std::size_t>(k)] > v[static_cast<std::size_t>(i)] ? 1 : -1;
  }
  const double normal = std::erfc(rising / std::sqrt(40.0 * 39 * 85 / 18) / std::sqrt(2.0));
  EXPECT_LT(normal, 0.2);
  EXPECT_NEAR(by_chance(v) / normal, 1, 0.1);
  v.push_back(41);
  EXPECT_LT(by_chance(v), by_chance(std::span(v).first(40)));
}

TEST(WhatSeparates, SaidOnlyWhenTheNumbersCarryIt) {
  support::Dice dice{3};
  Quantity pace{"pace", {}, {}}, side{"side", {}, {}};
  for (int k = 0; k < 12; ++k) {
    pace.hits.push_back(2.3 + 0.05 * dice.normal());
    pace.misses.push_back(2.15 + 0.05 * dice.normal());
    side.hits.push_back(dice.normal());
    side.misses.push_back(dice.normal());
  }
  const std::vector<Quantity> both{pace, side};
  const auto s = what_separates(both);
  ASSERT_TRUE(s);
  EXPECT_EQ(s->quantity, "pace");
  EXPECT_GT(s->effect.g, kLargeEffect);
  // Too few; and nothing there.
  Quantity few = pace;
  few.hits.resize(kFewestEach - 1);
  EXPECT_FALSE(what_separates(std::vector<Quantity>{few}));
  EXPECT_FALSE(what_separates(std::vector<Quantity>{side}));
}

// With nothing there, it is said in no more than 5 of 100 evenings.
TEST(WhatSeparates, RarelyWrong) {
  support::Dice dice{5};
  int said = 0;
  constexpr int kEvenings = 1000;
  for (int e = 0; e < kEvenings; ++e) {
    std::vector<Quantity> q(5);
    for (Quantity& one : q)
      for (int k = 0; k < 10; ++k) one.hits.push_back(dice.normal()), one.misses.push_back(dice.normal());
    said += what_separates(q).has_value();
  }
  RecordProperty("said_of_1000", said);
  EXPECT_LE(said, kEvenings / 20);
}

}  // namespace
}  // namespace baizetrace::practice
