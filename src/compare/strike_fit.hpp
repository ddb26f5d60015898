// What was struck: the strike whose motion, by the model, is the whole motion that was measured.
//
// Weighted least squares (Ceres) over the strike, where the balls really lay (within their uncertainty), the instant of
// the strike and how the table plays (within what is known of it), against measured places with their joint covariance.
// What contacts do that the model does not know of (kKicks) is carried through the rest of the shot into that
// covariance. Side and height are searched from a grid of starts; their intervals are profiles of the sum of squares:
// each value held, everything else fitted again. So a side that changes nothing, or that a slipping nose no longer
// shows, has an open interval, and is told as a bound or not at all.
#pragma once

#include <Eigen/Dense>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "compare/replay.hpp"

namespace baizetrace::compare {

// 95 % interval; an open end is one that the data do not set (the tip's limit stands there).
struct Told {
  double value = 0, low = 0, high = 0;
  bool open_low = false, open_high = false;
  [[nodiscard]] double u() const { return (high - low) / (2 * 1.96); }
  // Known well enough to be said as a number.
  [[nodiscard]] bool number() const { return !open_low && !open_high && u() <= kSurely; }
  static constexpr double kSurely = 0.04;  // ball radii: about 1 mm, a tenth of a tip
};

// Values of one unknown, each with the least sum of squares that it leaves the others.
using ProfilePoints = std::vector<std::pair<double, double>>;
// Whether a best fit lies so near an end of its interval that it is no estimate of what lies in there: of two valleys
// nearly as deep (heights above and below the one at which a ball rolls at once) noise has chosen one.
[[nodiscard]] bool at_its_edge(const Told& told);
// What is told then: the mean of what a profile leaves open, each value as likely as its sum says when squares are of
// `scale2`. Requires: a point.
[[nodiscard]] double mean_of(ProfilePoints points, double scale2);

struct StrikeFound {
  bool fits = false;  // the model explains the motion; otherwise nothing of it may be told as known
  std::string why;    // when it does not
  ShotNumbers numbers;
  Told speed, heading, right, height;  // the best fit's, or at its edge the mean
  std::optional<Told> elevation;       // rad; where it shows
  // Of speed, heading, right, height at the best fit, with everything else open.
  Eigen::Matrix4d covariance = Eigen::Matrix4d::Zero();
  std::vector<ShotNumbers> draws;  // shots that the data do not tell from the best, as many as asked for or fewer
  double misfit = 0;               // sum of squares per degree of freedom; 1: as the stated uncertainties expect
  bool orders = false;             // all contacts came in the measured order
  int cushions = 0;                // that the cue ball met within what was used
  // For fits of the table over many shots: the weighted residuals and their slopes by all unknowns, each in its scale.
  // Columns: speed, heading, right, height, elevation, delay, two a moved ball, then kPlays in units of KnownPlay::u.
  Eigen::MatrixXd slopes;
  Eigen::VectorXd residuals;
};

struct StrikeFitOptions {
  bool play_free = true;              // false: the conditions are taken as exact
  bool intervals = true;              // false: only the best fit
  const StrikeFound* near = nullptr;  // start here, with its play, instead of searching
  // Draws of the shot within its uncertainty: side and height about the best as wide as `tip_u` (ball radii), the
  // others fitted again and moved within what they are then known to.
  int draws = 0;
  Eigen::Vector2d tip_u{0.05, 0.05};
  unsigned seed = 1;
  bool hold_tip = false;  // with `near`: its side and height are kept
};

[[nodiscard]] StrikeFound find_strike(const Evidence& evidence, const practice::Strike& seen, const table::Table& table,
                                      const KnownPlay& play, const StrikeFitOptions& options = {});

// What a contact does to a ball's way and speed beyond the model, standard uncertainty. Footage with known truth plays
// by other equations than ours within these.
struct Kicks {
  double cushion_turn = 0.001, cushion_stretch = 0.002;  // rad, share of the speed
  double ball_turn = 0.003, ball_stretch = 0.006;
  double spin = 0.01;  // share of the horizontal spin, either kind
};
inline constexpr Kicks kKicks;
inline constexpr double kWorstMisfit = 6;  // per degree of freedom: beyond, the model does not explain the motion

}  // namespace baizetrace::compare
