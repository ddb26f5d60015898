// One shot as a least-squares problem: its unknowns, its weighted residuals with their slopes, and the way down.
#pragma once

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

#include "compare/replay.hpp"
#include "compare/strike_fit.hpp"

namespace baizetrace::compare {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

inline constexpr double kTipLimit = motion::kMiscue;  // ball radii
inline constexpr double kTipLimitSd = 0.005;          // how hard the limit of the disc is
// How far a cue is raised: two to four degrees, and eight to twenty from a ball at a cushion, which it passes over
// (TRADE.md, common practice).
struct Raised {
  double usual = radians(3.0), sd = 0.02;  // rad
};
[[nodiscard]] Raised raised_cue(const Vec2& ball, double heading, const table::Table& table);
inline constexpr double kDelaySd = 0.02;  // s, of the strike as measured
inline constexpr double kFdStep = 1e-3;   // of a scale: some micrometres on the table
enum : Index { kSpeed, kHeading, kRight, kHeight, kElev, kDelay, kPlaces };

// The unknowns in their scales, and what is known of them beforehand.
class Unknowns {
 public:
  Unknowns(const Evidence& e, const practice::Strike& seen, const table::Table& table, const KnownPlay& play,
           bool play_free)
      : moved_(e.moved), play_free_(play_free), raised_(raised_cue(e.balls.at(0).place, seen.heading, table)) {
    size_ = kPlaces + 2 * static_cast<Index>(moved_) + static_cast<Index>(kPlays);
    scale_ = VectorXd::Ones(size_);
    scale_[kSpeed] = 0.02 * std::max(seen.speed, 0.2);
    scale_[kHeading] = 0.004;
    scale_[kRight] = scale_[kHeight] = 0.1;
    scale_[kElev] = raised_.sd;
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
  [[nodiscard]] bool fixed(Index k) const { return (k >= first_play() && !play_free_) || scale_[k] == 0; }
  [[nodiscard]] ShotNumbers numbers(const VectorXd& z) const {
    ShotNumbers n = middle_;
    n.strike.speed = std::max(0.01, n.strike.speed + z[kSpeed] * scale_[kSpeed]);
    n.strike.heading += z[kHeading] * scale_[kHeading];
    n.strike.right = z[kRight] * scale_[kRight];
    n.strike.height = z[kHeight] * scale_[kHeight];
    n.strike.elevation = std::clamp(raised_.usual + z[kElev] * scale_[kElev], 0.0, 0.5);
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
    z[kElev] = (n.strike.elevation - raised_.usual) / scale_[kElev];
    z[kDelay] = n.delay / scale_[kDelay];
    for (std::size_t b = 0; b < moved_; ++b) {
      const Vec2 d = (n.places[b] - middle_.places[b]) / 0.001;
      z[kPlaces + 2 * static_cast<Index>(b)] = d.x();
      z[kPlaces + 2 * static_cast<Index>(b) + 1] = d.y();
    }
    for (std::size_t k = 0; k < kPlays; ++k) {
      const Index i = first_play() + static_cast<Index>(k);
      if (scale_[i] > 0) z[i] = n.play[static_cast<Index>(k)] / scale_[i];
    }
    return z;
  }

 private:
  std::size_t moved_;
  bool play_free_;
  Raised raised_;
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
  // How many measured numbers count.
  [[nodiscard]] double used() const { return static_cast<double>(used_.size()); }
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
      if (u_.scale(k) == 0) continue;
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

// Goes down from z with some unknowns held; returns the sum of squares, or nothing when the start cannot be played.
[[nodiscard]] std::optional<double> descend(Shot& shot, const Unknowns& unknowns, VectorXd& z,
                                            const std::vector<int>& held, int iterations);

// What the residuals tell of the unknowns; those that are held are left out.
[[nodiscard]] MatrixXd information(const Unknowns& unknowns, const MatrixXd& slopes);

}  // namespace baizetrace::compare
