#include "compare/strike_fit.hpp"

#include <ceres/ceres.h>

#include <algorithm>
#include <cmath>
#include <random>

namespace baizetrace::compare {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double kTipLimit = motion::kMiscue;  // ball radii
constexpr double kTipLimitSd = 0.005;          // how hard the limit of the disc is
constexpr double kElevation = 0.02;            // rad, sd about the usual three degrees (TRADE: 2-4, common practice)
constexpr double kDelaySd = 0.02;              // s, of the strike as measured
constexpr double kFdStep = 1e-3;               // of a scale: some micrometres on the table
constexpr double k95 = 3.841;                  // chi-square, one degree of freedom
enum : Index { kSpeed, kHeading, kRight, kHeight, kElev, kDelay, kPlaces };

// The unknowns in their scales, and what is known of them beforehand.
class Unknowns {
 public:
  Unknowns(const Evidence& e, const practice::Strike& seen, const KnownPlay& play, bool play_free)
      : moved_(e.moved), play_free_(play_free) {
    size_ = kPlaces + 2 * static_cast<Index>(moved_) + static_cast<Index>(kPlays);
    scale_ = VectorXd::Ones(size_);
    scale_[kSpeed] = 0.02 * std::max(seen.speed, 0.2);
    scale_[kHeading] = 0.004;
    scale_[kRight] = scale_[kHeight] = 0.1;
    scale_[kElev] = kElevation;
    scale_[kDelay] = kDelaySd;
    for (Index i = 0; i < 2 * static_cast<Index>(moved_); ++i) scale_[kPlaces + i] = 0.001;
    for (std::size_t k = 0; k < kPlays; ++k)
      scale_[first_play() + static_cast<Index>(k)] = play.u[static_cast<Index>(k)];
    middle_.strike.speed = seen.speed;
    middle_.strike.heading = seen.heading;
    for (std::size_t b = 0; b < moved_; ++b) middle_.places.push_back(e.balls[b].place);
  }
  [[nodiscard]] Index size() const { return size_; }
  [[nodiscard]] Index first_play() const { return kPlaces + 2 * static_cast<Index>(moved_); }
  [[nodiscard]] double scale(Index k) const { return scale_[k]; }
  // Whether its scaled value is itself a residual (a prior of sd 1).
  [[nodiscard]] bool prior(Index k) const { return k == kElev || k == kDelay || (k >= first_play() && play_free_); }
  [[nodiscard]] bool fixed(Index k) const { return k >= first_play() && !play_free_; }
  [[nodiscard]] ShotNumbers numbers(const VectorXd& z) const {
    ShotNumbers n = middle_;
    n.strike.speed = std::max(0.01, n.strike.speed + z[kSpeed] * scale_[kSpeed]);
    n.strike.heading += z[kHeading] * scale_[kHeading];
    n.strike.right = z[kRight] * scale_[kRight];
    n.strike.height = z[kHeight] * scale_[kHeight];
    n.strike.elevation = std::clamp(radians(3.0) + z[kElev] * scale_[kElev], 0.0, 0.5);
    n.delay = z[kDelay] * scale_[kDelay];
    for (std::size_t b = 0; b < moved_; ++b)
      n.places[b] += Vec2(z[kPlaces + 2 * static_cast<Index>(b)], z[kPlaces + 2 * static_cast<Index>(b) + 1]) * 0.001;
    for (std::size_t k = 0; k < kPlays; ++k) {
      const Index i = first_play() + static_cast<Index>(k);
      n.play[static_cast<Index>(k)] = z[i] * scale_[i];
    }
    return n;
  }
  [[nodiscard]] VectorXd scaled(const ShotNumbers& n) const {
    VectorXd z = VectorXd::Zero(size_);
    z[kSpeed] = (n.strike.speed - middle_.strike.speed) / scale_[kSpeed];
    z[kHeading] = wrap_angle(n.strike.heading - middle_.strike.heading) / scale_[kHeading];
    z[kRight] = n.strike.right / scale_[kRight];
    z[kHeight] = n.strike.height / scale_[kHeight];
    z[kElev] = (n.strike.elevation - radians(3.0)) / scale_[kElev];
    z[kDelay] = n.delay / scale_[kDelay];
    for (std::size_t b = 0; b < moved_; ++b) {
      const Vec2 d = (n.places[b] - middle_.places[b]) / 0.001;
      z[kPlaces + 2 * static_cast<Index>(b)] = d.x();
      z[kPlaces + 2 * static_cast<Index>(b) + 1] = d.y();
    }
    for (std::size_t k = 0; k < kPlays; ++k) {
      const Index i = first_play() + static_cast<Index>(k);
      z[i] = n.play[static_cast<Index>(k)] / scale_[i];
    }
    return z;
  }

 private:
  std::size_t moved_;
  bool play_free_;
  Index size_ = 0;
  VectorXd scale_;
  ShotNumbers middle_;
};

// Residuals and slopes of one shot.
class Shot {
 public:
  Shot(const Evidence& e, const table::Table& table, const KnownPlay& play, const Unknowns& unknowns)
      : e_(e), u_(unknowns), replay_(e, table, play.conditions) {
    const auto n = static_cast<Index>(e.facts.size());
    seen_.resize(2 * n);
    for (Index i = 0; i < n; ++i) {
      seen_[i] = e.facts[static_cast<std::size_t>(i)].at.x();
      seen_[n + i] = e.facts[static_cast<std::size_t>(i)].at.y();
    }
    kicks_ = MatrixXd::Zero(2 * n, 0);
    use_until(1e18);
  }
  [[nodiscard]] Index rows() const { return seen_.size() + u_.size() + 1; }

  // What kicks add to the facts' own covariance: a column of displacements (1 sd) for each.
  void set_kicks(MatrixXd kicks) {
    kicks_ = std::move(kicks);
    weigh();
  }
  // Only what was seen up to a time after the strike, s; rests come last.
  void use_until(double time) {
    used_.clear();
    const auto n = static_cast<Index>(e_.facts.size());
    for (Index i = 0; i < 2 * n; ++i) {
      const Fact& f = e_.facts[static_cast<std::size_t>(i % n)];
      const double when = f.when == Fact::When::before ? -1e18 : f.when == Fact::When::after ? 1e17 : f.time;
      if (when <= time) used_.push_back(i);
    }
    weigh();
  }
  // Displacements of all facts by each kick of one standard uncertainty, at z.
  MatrixXd kicked(const VectorXd& z) {
    const ShotNumbers n = u_.numbers(z);
    if (!replay_.run(n)) return MatrixXd::Zero(seen_.size(), 0);
    const VectorXd base = replay_.places();
    const auto turns = replay_.turns();
    const auto order = replay_.matched();
    MatrixXd out = MatrixXd::Zero(seen_.size(), 3 * static_cast<Index>(turns.size()));
    for (std::size_t k = 0; k < turns.size(); ++k)
      for (int what = 0; what < 3; ++what) {
        const bool ball = turns[k].kind == ContactKind::ball;
        const double size = what == 0   ? (ball ? kKicks.ball_turn : kKicks.cushion_turn)
                            : what == 1 ? (ball ? kKicks.ball_stretch : kKicks.cushion_stretch)
                                        : kKicks.spin;
        constexpr double kSmall = 0.05;  // of it: differences are taken close by
        for (const double way : {kSmall, -kSmall}) {
          motion::Simulator::Kick kick{turns[k].event};
          (what == 0 ? kick.turn : what == 1 ? kick.stretch : kick.spin) = way * size;
          if (!replay_.run(n, {kick}) || replay_.matched() != order) continue;
          out.col(3 * static_cast<Index>(k) + what) = (replay_.places() - base) / way;
          break;
        }
      }
    // A displacement that leaves the model's reach is no longer proportional.
    constexpr double kFurthest = 0.1;  // m
    return out.cwiseMax(-kFurthest).cwiseMin(kFurthest);
  }

  bool residuals(const VectorXd& z, VectorXd& out, std::vector<std::size_t>* order = nullptr) {
    if (!replay_.run(u_.numbers(z))) return false;
    if (order) *order = replay_.matched();
    out.setZero(rows());
    const VectorXd off = replay_.places() - seen_;
    VectorXd chosen(static_cast<Index>(used_.size()));
    for (std::size_t k = 0; k < used_.size(); ++k) chosen[static_cast<Index>(k)] = off[used_[k]];
    out.head(chosen.size()) = factor_.matrixL().solve(chosen);
    for (Index k = 0; k < u_.size(); ++k)
      if (u_.prior(k)) out[seen_.size() + k] = z[k];
    const double off_centre = std::hypot(z[kRight] * u_.scale(kRight), z[kHeight] * u_.scale(kHeight));
    out[rows() - 1] = std::max(0.0, off_centre - kTipLimit) / kTipLimitSd;
    return true;
  }
  // Slopes along the order of contacts at z; where it changes on both sides a number's slope is left out.
  bool slopes(const VectorXd& z, VectorXd& r, MatrixXd& j) {
    std::vector<std::size_t> order, beside;
    if (!residuals(z, r, &order)) return false;
    j.setZero(rows(), u_.size());
    VectorXd moved, there;
    for (Index k = 0; k < u_.size(); ++k) {
      for (const double step : {kFdStep, -kFdStep}) {
        moved = z;
        moved[k] += step;
        if (!residuals(moved, there, &beside) || beside != order) continue;
        j.col(k) = (there - r) / step;
        break;
      }
    }
    return true;
  }
  [[nodiscard]] bool all_matched(const VectorXd& z) { return replay_.run(u_.numbers(z)) && replay_.all_matched(); }

 private:
  void weigh() {
    const Index n = e_.covariance.rows(), m = static_cast<Index>(used_.size());
    MatrixXd c(m, m), kicks(m, kicks_.cols());
    for (Index a = 0; a < m; ++a) {
      const Index i = used_[static_cast<std::size_t>(a)];
      kicks.row(a) = kicks_.row(i);
      for (Index b = 0; b < m; ++b) {
        const Index j = used_[static_cast<std::size_t>(b)];
        c(a, b) = (i < n) == (j < n) ? e_.covariance(i % n, j % n) : 0.0;
      }
    }
    c.noalias() += kicks * kicks.transpose();
    factor_ = c.llt();
  }

  const Evidence& e_;
  const Unknowns& u_;
  Replay replay_;
  VectorXd seen_;
  MatrixXd kicks_;
  std::vector<Index> used_;
  Eigen::LLT<MatrixXd> factor_;
};

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

// Goes down from z with some unknowns held; returns the sum of squares, or nothing when the start cannot be played.
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

struct Valley {
  VectorXd z;
  double sum = 1e300;
};

void keep_best(std::vector<Valley>& valleys, std::size_t most) {
  std::stable_sort(valleys.begin(), valleys.end(), [](const Valley& a, const Valley& b) { return a.sum < b.sum; });
  constexpr double kSame = 0.05;  // scales: valleys nearer than this in side and height are one
  std::vector<Valley> kept;
  for (Valley& v : valleys) {
    if (kept.size() == most || !(v.sum < 1e299)) break;
    const bool fresh = std::none_of(kept.begin(), kept.end(), [&](const Valley& k) {
      return std::abs(k.z[kRight] - v.z[kRight]) < kSame && std::abs(k.z[kHeight] - v.z[kHeight]) < kSame;
    });
    if (fresh) kept.push_back(std::move(v));
  }
  valleys = std::move(kept);
}

// The shot is followed contact by contact: what was seen up to the first one tells pace, line and height, from several
// starts; then sides are tried on each, and the best of them go on to the next contact. So every start meets each
// contact nearly where it was seen, in the right order.
std::vector<Valley> search(Shot& shot, const Unknowns& unknowns, const std::vector<double>& contact_times) {
  constexpr int kSteps = 8;
  constexpr std::size_t kKept = 7;
  constexpr double kHeights[] = {0.0, 0.25, -0.25, 0.42, -0.42};
  constexpr double kRights[] = {0.0, 0.15, -0.15, 0.3, -0.3, 0.45, -0.45};
  const auto settle = [&](std::vector<Valley>& valleys, const std::vector<int>& held) {
    for (Valley& v : valleys) v.sum = descend(shot, unknowns, v.z, held, kSteps).value_or(1e300);
  };
  std::vector<Valley> valleys;
  shot.use_until(contact_times.empty() ? 1e18 : contact_times.front());
  for (const double height : kHeights) {
    Valley v;
    v.z = VectorXd::Zero(unknowns.size());
    v.z[kHeight] = height / unknowns.scale(kHeight);
    valleys.push_back(std::move(v));
  }
  settle(valleys, {static_cast<int>(kRight)});
  keep_best(valleys, 3);
  std::vector<Valley> sides;
  for (const Valley& v : valleys)
    for (const double right : kRights) {
      const double height = v.z[kHeight] * unknowns.scale(kHeight);
      if (std::hypot(height, right) > kTipLimit + 0.05) continue;
      Valley w = v;
      w.z[kRight] = right / unknowns.scale(kRight);
      sides.push_back(std::move(w));
    }
  valleys = std::move(sides);
  for (std::size_t k = 1; k < contact_times.size(); ++k) {
    shot.use_until(contact_times[k]);
    settle(valleys, {});
    keep_best(valleys, kKept);
  }
  shot.use_until(1e18);
  settle(valleys, {});
  keep_best(valleys, 4);
  return valleys;
}

// What the residuals tell of the unknowns; those that are held are left out.
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

// How the others answer when unknown k is moved by one, and the sd of k: from the slopes at z. Nothing where k is lost.
struct Answer {
  VectorXd others;
  double sd = 0;
};
std::optional<Answer> answer_at(Shot& shot, const Unknowns& unknowns, const VectorXd& z, Index k) {
  VectorXd r;
  MatrixXd j;
  if (!shot.slopes(z, r, j)) return std::nullopt;
  const MatrixXd h = information(unknowns, j);
  VectorXd unit = VectorXd::Zero(h.rows());
  unit[k] = 1;
  const VectorXd column = h.ldlt().solve(unit);
  if (!(column[k] > 0)) return std::nullopt;
  return Answer{column / column[k], std::sqrt(column[k])};
}

// The interval of one unknown: outwards from the best, the others fitted again, until the sum has risen by `rise`.
// `lower`: a deeper point that turned up on the way.
Told profile(Shot& shot, const Unknowns& unknowns, const Valley& best, Index k, double rise, Valley& lower) {
  const double scale = unknowns.scale(k);
  const bool tip = k != kSpeed;
  // Scaled: the tip's disc; a pace within a third of the one seen; how far a step goes at most and at least.
  constexpr double kPaceReach = 17;
  const double limit = tip ? kTipLimit / scale : kPaceReach;
  const double longest = tip ? 0.08 / scale : 1.5, shortest = tip ? 0.0003 / scale : 0.005;
  Told t;
  t.value = best.z[k] * scale;
  for (const int way : {-1, 1}) {
    Valley at = best;
    double last = 0, share = 0.7, end = way * limit;
    bool open = true;
    constexpr int kMostTries = 40;
    for (int tries = 0; tries < kMostTries && way * at.z[k] < limit; ++tries) {
      const auto answer = answer_at(shot, unknowns, at.z, k);
      const double sd = answer ? answer->sd : longest;
      const double step =
          std::min(std::clamp(share * sd * std::sqrt(rise / k95), shortest, longest), limit - way * at.z[k]);
      VectorXd tried = at.z;
      if (answer)
        tried += way * step * answer->others;
      else
        tried[k] += way * step;
      constexpr int kSteps = 15;
      const auto sum = descend(shot, unknowns, tried, {static_cast<int>(k)}, kSteps);
      const double risen = sum ? *sum - best.sum : 1e300;
      if (sum && *sum < lower.sum) lower = {tried, *sum};
      if (risen >= rise) {
        // A leap is no profile: a shorter step, as long as there is one.
        if (std::sqrt(risen) > 2.0 * std::sqrt(rise) && step > shortest) {
          share *= 0.35;
          if (share * sd * std::sqrt(rise / k95) > longest) share = 0.35 * longest / sd;
          continue;
        }
        // The root of the sum is nearly straight.
        const double a = std::sqrt(std::max(0.0, last)), b = std::sqrt(std::min(risen, 1e6)), wanted = std::sqrt(rise);
        end = at.z[k] + (tried[k] - at.z[k]) * std::clamp((wanted - a) / std::max(b - a, 1e-9), 0.0, 1.0);
        open = false;
        break;
      }
      last = std::max(last, risen);
      at = {std::move(tried), *sum};
      share = std::min(0.7, 1.5 * share);
    }
    (way < 0 ? t.low : t.high) = end * scale;
    (way < 0 ? t.open_low : t.open_high) = open;
  }
  return t;
}

// See StrikeFitOptions::draws.
std::vector<ShotNumbers> draw(Shot& shot, const Unknowns& unknowns, const Valley& best, const MatrixXd& slopes,
                              double scale2, const StrikeFitOptions& o) {
  MatrixXd h = information(unknowns, slopes);
  // The tip's answer and what the others are known to once it is held.
  const MatrixXd all = h.ldlt().solve(MatrixXd::Identity(h.rows(), h.cols()));
  for (const Index k : {kRight, kHeight}) {
    h.row(k).setZero();
    h.col(k).setZero();
    h(k, k) = 1;
  }
  const MatrixXd others = h.ldlt().solve(MatrixXd::Identity(h.rows(), h.cols()));
  const MatrixXd root = MatrixXd(others + 1e-12 * MatrixXd::Identity(h.rows(), h.cols())).llt().matrixL();
  Eigen::Matrix2d tip;
  tip << all(kRight, kRight), all(kRight, kHeight), all(kHeight, kRight), all(kHeight, kHeight);
  const Eigen::Matrix2d inverse = Eigen::Matrix2d(tip + 1e-12 * Eigen::Matrix2d::Identity()).inverse();
  const double turn = std::clamp(tip(0, 1) / std::sqrt(std::max(1e-300, tip(0, 0) * tip(1, 1))), -0.95, 0.95);
  std::mt19937 random(o.seed);
  const auto normal = [&] {  // Box & Muller 1958
    const double u = (random() + 1.0) / 4294967297.0, v = random() / 4294967296.0;
    return std::sqrt(-2 * std::log(u)) * std::cos(2 * kPi * v);
  };
  std::vector<ShotNumbers> out;
  constexpr double kNotTold = 5.99;  // chi-square, two degrees of freedom, 95 %
  for (int tries = 0; tries < 3 * o.draws && static_cast<int>(out.size()) < o.draws; ++tries) {
    const double a = normal(), b = turn * a + std::sqrt(1 - turn * turn) * normal();
    const Eigen::Vector2d by(a * o.tip_u[0] / unknowns.scale(kRight), b * o.tip_u[1] / unknowns.scale(kHeight));
    VectorXd z = best.z;
    const Eigen::Vector2d push = inverse * by;
    z += all.col(kRight) * push[0] + all.col(kHeight) * push[1];
    z[kRight] = best.z[kRight] + by[0];
    z[kHeight] = best.z[kHeight] + by[1];
    if (std::hypot(z[kRight] * unknowns.scale(kRight), z[kHeight] * unknowns.scale(kHeight)) > kTipLimit) continue;
    constexpr int kSteps = 8;
    const auto sum = descend(shot, unknowns, z, {static_cast<int>(kRight), static_cast<int>(kHeight)}, kSteps);
    if (!sum || *sum > best.sum + kNotTold * scale2) continue;
    VectorXd g(z.size());
    for (Index k = 0; k < g.size(); ++k) g[k] = normal();
    VectorXd across = std::sqrt(scale2) * root * g;
    across[kRight] = across[kHeight] = 0;
    for (Index k = 0; k < across.size(); ++k)
      if (unknowns.fixed(k)) across[k] = 0;
    out.push_back(unknowns.numbers(z + across));
  }
  return out;
}

Told around(double value, double u) { return {value, value - 1.96 * u, value + 1.96 * u, false, false}; }

}  // namespace

StrikeFound find_strike(const Evidence& e, const practice::Strike& seen, const table::Table& table,
                        const KnownPlay& play, const StrikeFitOptions& o) {
  StrikeFound out;
  out.cushions = e.cushions;
  const Unknowns unknowns(e, seen, play, o.play_free);
  Shot shot(e, table, play, unknowns);
  std::vector<Valley> valleys;
  if (o.near) {
    valleys.push_back({unknowns.scaled(o.near->numbers), 0});
  } else {
    valleys = search(shot, unknowns, e.contact_times);
    if (valleys.empty() || valleys[0].sum > 1e299) {
      out.why = "no strike of the model could be played from where the balls lay";
      return out;
    }
  }
  const std::vector<int> held = o.hold_tip ? std::vector<int>{kRight, kHeight} : std::vector<int>{};
  // With the kicks' share, which hangs on the fit.
  for (int round = 0; round < 2; ++round) {
    shot.set_kicks(shot.kicked(valleys[0].z));
    const auto sum = descend(shot, unknowns, valleys[0].z, held, 30);
    if (!sum) {
      out.why = "no strike of the model could be played from where the balls lay";
      return out;
    }
    valleys[0].sum = *sum;
  }
  for (std::size_t k = 1; k < valleys.size(); ++k)
    if (valleys[k].sum < 1e299) valleys[k].sum = descend(shot, unknowns, valleys[k].z, {}, 15).value_or(1e300);
  std::size_t first = 0;
  for (std::size_t k = 1; k < valleys.size(); ++k)
    if (valleys[k].sum < valleys[first].sum) first = k;
  const Valley best = valleys[first];

  out.numbers = unknowns.numbers(best.z);
  out.orders = shot.all_matched(best.z);
  if (!shot.slopes(best.z, out.residuals, out.slopes)) {
    out.why = "the fit did not end";
    return out;
  }
  const double freedom = std::max(1.0, 2.0 * static_cast<double>(e.facts.size()) - static_cast<double>(kPlaces) -
                                           2.0 * static_cast<double>(e.moved));
  out.misfit = best.sum / freedom;
  const double scale2 = std::max(1.0, out.misfit);
  const MatrixXd h = information(unknowns, out.slopes);
  const MatrixXd all = h.ldlt().solve(MatrixXd::Identity(h.rows(), h.rows()));
  for (Index i = 0; i < 4; ++i)
    for (Index j = 0; j < 4; ++j) out.covariance(i, j) = scale2 * all(i, j) * unknowns.scale(i) * unknowns.scale(j);
  const auto sd = [&](Index k) { return std::sqrt(std::max(0.0, out.covariance(k, k))); };
  out.speed = around(out.numbers.strike.speed, sd(kSpeed));
  out.heading = around(out.numbers.strike.heading, sd(kHeading));
  out.right = around(out.numbers.strike.right, sd(kRight));
  out.height = around(out.numbers.strike.height, sd(kHeight));
  if (out.misfit > kWorstMisfit || !out.orders) {
    out.why = std::string(out.orders ? "no strike explains the whole motion: it lies further off than its uncertainty"
                                     : "no strike makes the balls touch things in the order seen");
    return out;
  }
  out.fits = true;
  if (o.draws > 0) out.draws = draw(shot, unknowns, best, out.slopes, scale2, o);
  if (o.intervals) {
    Valley lower = best;
    const auto interval = [&](Index k) {
      Told told = profile(shot, unknowns, best, k, k95 * scale2, lower);
      // Another valley nearly as deep is not ruled out.
      valleys.push_back(lower);
      for (const Valley& v : valleys) {
        if (v.sum > best.sum + k95 * scale2) continue;
        told.low = std::min(told.low, v.z[k] * unknowns.scale(k));
        told.high = std::max(told.high, v.z[k] * unknowns.scale(k));
      }
      return told;
    };
    const Told pace = interval(kSpeed);
    const double middle = out.numbers.strike.speed - best.z[kSpeed] * unknowns.scale(kSpeed);
    out.speed = {middle + pace.value, middle + pace.low, middle + pace.high, pace.open_low, pace.open_high};
    out.right = interval(kRight);
    out.height = interval(kHeight);
  }
  return out;
}

}  // namespace baizetrace::compare
