#include "camera/nose_profile.hpp"

#include <Eigen/Dense>
#include <cmath>

namespace baizetrace::camera {

namespace {
constexpr double kLeastContrast = 4;  // levels between the band and the cushion
constexpr double kLeastOverNoise = 4;
constexpr double kLevelU = 4;        // levels: how well B is known from further inside
constexpr double kModelNoise = 0.5;  // levels: what no profile of this form explains
constexpr int kSteps = 30;
constexpr double kWidestBlur = 0.03;  // m: wider than a cushion is deep no nose is read (a view along it)

double normal_sum(double x) { return 0.5 * std::erfc(-x * M_SQRT1_2); }

struct Model {  // B, C, D, w, e, sigma: levels and mm
  Eigen::Matrix<double, 6, 1> p;
  [[nodiscard]] double at(double mm) const {
    const double s = std::max(0.1, p[5]);
    return p[0] + (p[2] - p[0]) * normal_sum((mm - p[4] + p[3]) / s) + (p[1] - p[2]) * normal_sum((mm - p[4]) / s);
  }
};
}  // namespace

std::optional<NoseFit> fit_nose(const Profile& p, double reach, double px_per_m, const NoseLook& look) {
  // The steepest rise that leads onto a level top, and the darkest place just inside it.
  double best = 0, at = 0;
  for (double d = -reach; d <= reach; d += p.step) {
    const double rise = p.mean(d + 0.004, d + 0.012) - p.mean(d - 0.004, d - 0.001);
    if (rise > best) best = rise, at = d;
  }
  const double least = std::max(kLeastContrast, kLeastOverNoise * p.noise);
  if (best < least) return std::nullopt;
  const double top = p.mean(at + 0.006, at + 0.016);
  double low = 1e9, low_at = at;
  for (double d = at - 0.010; d <= at + 0.001; d += p.step)
    if (p.at(d) < low) low = p.at(d), low_at = d;
  if (top - low < least) return std::nullopt;

  const double sigma = look.sigma_px / px_per_m;  // m
  if (!(sigma < kWidestBlur)) return std::nullopt;
  const double from = low_at - std::max(0.004, 1.5 * sigma), to = at + std::max(0.010, 4 * sigma);
  const double inside = p.mean(from - 0.008, from - 0.003);
  Model m;
  m.p << inside, top, std::min(low, look.dark * top), 6.0, 1000 * at, 1000 * sigma;
  // Prior beliefs as further residuals: B, D over C, w not negative and not absurd, sigma.
  const double noise = std::hypot(p.noise, kModelNoise);
  const auto priors = [&](const Model& x) {
    Eigen::Matrix<double, 4, 1> r;
    r << (x.p[0] - inside) / kLevelU, (x.p[2] - look.dark * x.p[1]) / (look.u_dark * x.p[1]), (x.p[3] - 8) / 8,
        (x.p[5] / 1000 * px_per_m - look.sigma_px) / look.u_sigma_px;
    return r;
  };
  const int n = static_cast<int>(std::floor((to - from) / p.step)) + 1;
  // Neighbouring samples share pixels: each counts for its share of a pixel.
  const double weight = std::sqrt(std::min(1.0, p.step * px_per_m * 1.5)) / noise;
  const auto residuals = [&](const Model& x) {
    Eigen::VectorXd r(n + 4);
    for (int i = 0; i < n; ++i) {
      const double d = from + i * p.step;
      r[i] = (x.at(1000 * d) - p.at(d)) * weight;
    }
    r.tail<4>() = priors(x);
    return r;
  };
  double lambda = 1e-2;
  Eigen::VectorXd r = residuals(m);
  Eigen::Matrix<double, 6, 6> normal;
  for (int step = 0; step < kSteps; ++step) {
    Eigen::MatrixXd j(n + 4, 6);
    for (int k = 0; k < 6; ++k) {
      Model moved = m;
      constexpr double h = 1e-4;
      moved.p[k] += h;
      j.col(k) = (residuals(moved) - r) / h;
    }
    normal = j.transpose() * j;
    const Eigen::Matrix<double, 6, 1> g = j.transpose() * r;
    bool better = false;
    for (int attempt = 0; attempt < 8 && !better; ++attempt) {
      Eigen::Matrix<double, 6, 6> damped = normal;
      damped.diagonal() *= 1 + lambda;
      Model next = m;
      next.p -= damped.ldlt().solve(g);
      next.p[3] = std::max(0.0, next.p[3]);
      next.p[5] = std::max(0.2 * 1000 / px_per_m, next.p[5]);
      const Eigen::VectorXd rn = residuals(next);
      if (rn.squaredNorm() < r.squaredNorm()) {
        better = true;
        const bool done = r.squaredNorm() - rn.squaredNorm() < 1e-6 * r.squaredNorm();
        m = next;
        r = rn;
        lambda = std::max(1e-6, lambda / 5);
        if (done) step = kSteps;
      } else {
        lambda *= 5;
      }
    }
    if (!better) break;
  }
  NoseFit fit;
  fit.edge = m.p[4] / 1000;
  fit.width = m.p[3] / 1000;
  fit.sigma_px = m.p[5] / 1000 * px_per_m;
  fit.dark = m.p[2] / m.p[1];
  fit.contrast = m.p[1] - m.p[2];
  fit.rms = r.head(n).norm() / weight / std::sqrt(n);
  if (std::abs(fit.edge) > reach + 0.004 || fit.contrast < least) return std::nullopt;
  if (fit.rms > 0.2 * fit.contrast) return std::nullopt;  // something else lies there
  const double excess = std::max(1.0, r.head(n).squaredNorm() / std::max(1.0, n - 5.0));
  fit.u_edge = std::sqrt(normal.inverse()(4, 4) * excess) / 1000;
  return fit;
}

}  // namespace baizetrace::camera
