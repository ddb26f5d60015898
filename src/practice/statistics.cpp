#include "practice/statistics.hpp"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <limits>

namespace baizetrace::practice {

Interval wilson(int k, int n, double z) {
  if (n <= 0) return {0, 1};
  const double p = static_cast<double>(k) / n, zz = z * z / n;
  const double middle = (p + zz / 2) / (1 + zz);
  const double half = z * std::sqrt(p * (1 - p) / n + zz / (4 * n)) / (1 + zz);
  return {std::max(0.0, middle - half), std::min(1.0, middle + half)};
}

double student(double z, double df) {
  const double z2 = z * z, z3 = z2 * z, z5 = z3 * z2, z7 = z5 * z2, z9 = z7 * z2;
  return z + (z3 + z) / (4 * df) + (5 * z5 + 16 * z3 + 3 * z) / (96 * df * df) +
         (3 * z7 + 19 * z5 + 17 * z3 - 15 * z) / (384 * df * df * df) +
         (79 * z9 + 776 * z7 + 1482 * z5 - 1920 * z3 - 945 * z) / (92160 * df * df * df * df);
}

double median(std::vector<double> v) {
  if (v.empty()) return std::numeric_limits<double>::quiet_NaN();
  const std::size_t half = v.size() / 2;
  std::sort(v.begin(), v.end());
  return v.size() % 2 == 1 ? v[half] : 0.5 * (v[half - 1] + v[half]);
}

MeanSd mean_sd(std::span<const double> v) {
  MeanSd m;
  double squares = 0;  // about the running mean (Welford 1962): no cancellation
  for (const double x : v) {
    ++m.n;
    const double before = x - m.mean;
    m.mean += before / m.n;
    squares += before * (x - m.mean);
  }
  m.sd = m.n > 1 ? std::sqrt(squares / (m.n - 1)) : 0;
  return m;
}

std::optional<Spread> spread_about(std::span<const Vec2> places, const Vec2& mark) {
  if (places.empty()) return std::nullopt;
  Spread s;
  s.n = static_cast<int>(places.size());
  std::vector<double> from_mark;
  for (const Vec2& p : places) {
    s.mean += p / static_cast<double>(s.n);
    from_mark.push_back((p - mark).norm());
  }
  s.median_from_mark = median(from_mark);
  if (s.n < 2) return s;
  for (const Vec2& p : places) s.covariance += (p - s.mean) * (p - s.mean).transpose() / (s.n - 1.0);
  const Eigen::SelfAdjointEigenSolver<Mat2> axes(s.covariance);
  s.minor = std::sqrt(std::max(0.0, axes.eigenvalues()(0)));
  s.major = std::sqrt(std::max(0.0, axes.eigenvalues()(1)));
  s.heading = heading_of(axes.eigenvectors().col(1));
  if (s.heading < 0) s.heading += kPi;
  if (s.heading >= kPi) s.heading -= kPi;
  return s;
}

std::optional<Effect> hedges(const MeanSd& a, const MeanSd& b) {
  if (a.n < 2 || b.n < 2) return std::nullopt;
  const double df = a.n + b.n - 2.0;
  const double within = std::sqrt(((a.n - 1) * a.sd * a.sd + (b.n - 1) * b.sd * b.sd) / df);
  if (!(within > 0)) return std::nullopt;
  const double d = (a.mean - b.mean) / within;
  const double variance =
      static_cast<double>(a.n + b.n) / (static_cast<double>(a.n) * b.n) + d * d / (2.0 * (a.n + b.n));
  const double small = 1 - 3 / (4 * df - 1);
  return Effect{small * d, small * std::sqrt(variance)};
}

std::optional<double> theil_sen(std::span<const double> x, std::span<const double> y) {
  std::vector<double> slopes;
  for (std::size_t i = 0; i < x.size(); ++i)
    for (std::size_t j = i + 1; j < x.size(); ++j)
      if (x[i] != x[j]) slopes.push_back((y[j] - y[i]) / (x[j] - x[i]));
  if (slopes.empty()) return std::nullopt;
  return median(std::move(slopes));
}

double by_chance(std::span<const double> v) {
  double rising = 0;
  for (std::size_t i = 0; i < v.size(); ++i)
    for (std::size_t j = i + 1; j < v.size(); ++j) rising += v[j] > v[i] ? 1 : v[j] == v[i] ? 0.5 : 0;
  const auto n = static_cast<double>(v.size());
  const double pairs = n * (n - 1) / 2, far = std::abs(2 * rising - pairs);
  constexpr std::size_t kCounted = 40;  // values; with more the number of pairs in order is as good as normal
  if (v.size() > kCounted) return std::erfc(far / std::sqrt(n * (n - 1) * (2 * n + 5) / 18) / std::sqrt(2.0));
  // Share of the orders of so many values that have k pairs in order: value after value, each new one may stand
  // anywhere among those before it.
  std::vector<double> share{1};
  for (std::size_t of = 2; of <= v.size(); ++of) {
    std::vector<double> next(share.size() + of - 1, 0.0);
    for (std::size_t k = 0; k < share.size(); ++k)
      for (std::size_t add = 0; add < of; ++add) next[k + add] += share[k] / static_cast<double>(of);
    share = std::move(next);
  }
  double out = 0;
  for (std::size_t k = 0; k < share.size(); ++k)
    if (std::abs(2 * static_cast<double>(k) - pairs) >= far) out += share[k];
  return std::min(1.0, out);
}

std::optional<Separation> what_separates(std::span<const Quantity> quantities) {
  // Two-sided 5 % shared among the quantities looked at: normal quantiles of 1 - 0.025 / m.
  static constexpr double kQuantiles[] = {1.960, 2.241, 2.394, 2.498, 2.576, 2.638, 2.690, 2.734};
  std::vector<const Quantity*> enough;
  for (const Quantity& q : quantities)
    if (static_cast<int>(q.hits.size()) >= kFewestEach && static_cast<int>(q.misses.size()) >= kFewestEach)
      enough.push_back(&q);
  if (enough.empty()) return std::nullopt;
  const double z = kQuantiles[std::min<std::size_t>(enough.size(), std::size(kQuantiles)) - 1];
  std::optional<Separation> best;
  for (const Quantity* q : enough) {
    const MeanSd hits = mean_sd(q->hits), misses = mean_sd(q->misses);
    const auto effect = hedges(hits, misses);
    if (!effect || std::abs(effect->g) < kLargeEffect) continue;
    if (std::abs(effect->g) < student(z, hits.n + misses.n - 2.0) * effect->u) continue;
    if (!best || std::abs(effect->g) > std::abs(best->effect.g)) best = Separation{q->name, hits, misses, *effect};
  }
  return best;
}

}  // namespace baizetrace::practice
