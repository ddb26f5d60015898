// What impacts can do to a ball, as residuals in standard deviations. Shared by the search and the global fit.
#pragma once

#include <vector>

#include "path/chain.hpp"
#include "path/fit.hpp"

namespace baizetrace::path {

// Of a slip, the share that the slide takes from the velocity: a solid sphere's 2/7 (mechanics).
inline constexpr double kSlipShare = 2.0 / 7.0;

// A ball around an impact: its centre; velocity and remaining slide before; after.
struct ImpactState {
  Vec2 at = Vec2::Zero(), v_in = Vec2::Zero(), w_in = Vec2::Zero(), v_out = Vec2::Zero(), w_out = Vec2::Zero();
  double& number(int i) {
    Vec2* parts[] = {&at, &v_in, &w_in, &v_out, &w_out};
    return (*parts[i / 2])[i % 2];
  }
};

struct ImpactPair {
  const Touch* touch = nullptr;
  bool together = false;  // state[1] is fitted too
  ImpactState state[2];
  double radius[2] = {0, 0}, mass[2] = {0, 0};
  double pulled = 0;                   // m, both balls' places, one against the other
  bool first_leg[2] = {false, false};  // it lay still before
};

[[nodiscard]] std::vector<double> impact_residuals(const ImpactPair& pair, const ImpactPrior& prior);

// What the priors expect just after: a starting value for the fit. For a ball contact only the spin's rule is used.
void expect_after_surface(const Touch& touch, const ImpactPrior& prior, const ImpactState& in, Vec2& v, Vec2& w);

}  // namespace baizetrace::path
