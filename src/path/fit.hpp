// The global fit: all chains of an episode, with the cloth's two frictions, to all that was seen, robustly.
//
// Unknowns: the cloth's frictions (logarithms, with priors); per chain the place of its start; per leg its begin, its
// velocity and what the slide takes from it. A contact between two fitted balls has one time. Evidence: sightings
// (Student weights), places at rest, centres at the touch distance at contacts, and what impacts can do (below).
#pragma once

#include <Eigen/Dense>
#include <vector>

#include "path/chain.hpp"

namespace baizetrace::path {

// What impacts can do to a ball, as priors. Each is wide beside what an uncovered contact tells by itself; they carry
// the legs that are hardly seen. sd = a part of the speed + `floor`.
struct ImpactPrior {
  double rebound = 0.83, rebound_sd = 0.08;  // cushion: normal speed after over before
  double across_sd = 0.30;  // cushion: change of the speed along the nose, in normal speeds (side does it)
  double roll_back = 0.30, roll_back_sd = 0.12;  // cushion: w along the normal, in normal speeds
  double ball_slip_sd = 0.04;                    // ball: spin is kept but for friction, in the change of velocity
  double momentum_sd = 0.03;                     // ball: momentum is kept, in the change of velocity
  double line_sd = 0.05;                         // ball: push along the line of centres, rad (friction between balls)
  double strike_slip = 0.15,
         strike_slip_sd = 0.25;    // strike: w along the heading, in the speed; all heights of the tip
  double strike_across_sd = 0.03;  // strike: w across it (elevated cue with side)
  double fastest = 8.0;            // m/s: any speed at all (sd)
  double floor = 0.010;            // m/s
  double nose_sd = 0.0007;         // m: nose against the picture of the ball
  double centres_sd = 0.0004;      // m: centres' distance at a ball contact, of two balls that are seen well
  double pulled = 0.0015;          // m: what shading pulls two such balls by; only what is beyond loosens a contact
};

struct Problem {
  std::vector<Chain> chains;
  Cloth cloth;
  double slide_sd = 0.2, roll_sd = 0.2;  // of the logarithms
  Cloth prior;                           // its middle
  ImpactPrior impact;
};

struct FitOptions {
  int iterations = 25;
  int gentle = 0;  // iterations before these in which sightings far off still pull: for poor starts
  bool cloth_free = true;
  bool covariance = false;
};

struct FitSummary {
  bool converged = false;
  double cost = 0;    // half the sum of squares, robust
  double scale = 1;   // of the sightings' residuals in stated sd (robust)
  int sightings = 0;  // that bear on it
  // With FitOptions::covariance: of all unknowns, and where they stand.
  Eigen::MatrixXd covariance;
};

// Where the unknowns stand in the vector.
struct Layout {
  struct Place {
    int p = 0;              // two numbers
    std::vector<int> t, v;  // per leg; v is followed by w
  };
  std::vector<Place> chains;
  int size = 0;  // 0 and 1 are the logarithms of slide and roll
  explicit Layout(const Problem& problem);
};

// Fits in place. Deterministic.
FitSummary fit(Problem& problem, const FitOptions& options = {});

struct ImpactState;
// A chain around the begin of one of its legs, and its slopes by all unknowns (10 x size: place, v_in, w_in, v_out,
// w_out).
void impact_slopes(const Problem& problem, const Layout& layout, std::size_t chain, std::size_t leg, ImpactState& state,
                   Eigen::MatrixXd& slope);

// Derivative of a chain's place at a time by all unknowns (2 x size).
[[nodiscard]] Eigen::MatrixXd place_slopes(const Problem& problem, const Layout& layout, std::size_t chain, double time,
                                           int leg = -1);

}  // namespace baizetrace::path
