#include "path/fit.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "base/median.hpp"
#include "path/impact.hpp"

namespace baizetrace::path {
namespace {

// Student's degrees of freedom of a sighting's error: near Gaussian in the middle, deaf to what is far out.
constexpr double kStudent = 5.0;

// The slopes of one chain, in its own short numbering: 0, 1 the cloth, 2, 3 the start's place, then per leg
// begin, v, w.
struct ChainSlopes {
  std::vector<int> index;             // short numbering -> unknown
  std::vector<Eigen::MatrixXd> of_p;  // per leg, slopes of its begin's place
};

int column(std::size_t leg) { return 4 + 5 * static_cast<int>(leg); }

// Slopes of a place in leg `k` at `time`; `j` is 2 x n, zeroed here.
void place_in_leg(const Chain& chain, const Cloth& cloth, const ChainSlopes& cs, std::size_t k, double time,
                  Eigen::MatrixXd& j, Vec2& at, Vec2& velocity) {
  const Leg& leg = chain.legs[k].leg;
  const LegSlopes s = slopes(leg, time, cloth);
  at = s.at;
  velocity = s.velocity;
  j = cs.of_p[k];
  const int c = column(k);
  j.col(0) += s.by_slide * cloth.slide;
  j.col(1) += s.by_roll * cloth.roll;
  j.col(c) += s.by_t;
  j.middleCols<2>(c + 1) += s.by_v;
  j.middleCols<2>(c + 3) += s.by_w;
}

ChainSlopes chain_slopes(const Problem& problem, const Layout& layout, std::size_t i) {
  const Chain& chain = problem.chains[i];
  const Layout::Place& place = layout.chains[i];
  ChainSlopes cs;
  cs.index = {0, 1, place.p, place.p + 1};
  for (std::size_t k = 0; k < chain.legs.size(); ++k) {
    cs.index.push_back(place.t[k]);
    for (int d = 0; d < 4; ++d) cs.index.push_back(place.v[k] + d);
  }
  const auto n = static_cast<Eigen::Index>(cs.index.size());
  cs.of_p.assign(chain.legs.size(), Eigen::MatrixXd::Zero(2, n));
  cs.of_p[0](0, 2) = cs.of_p[0](1, 3) = 1;
  for (std::size_t k = 1; k < chain.legs.size(); ++k) {
    Vec2 at, velocity;
    place_in_leg(chain, problem.cloth, cs, k - 1, chain.legs[k].leg.t, cs.of_p[k], at, velocity);
    cs.of_p[k].col(column(k)) += velocity;
  }
  return cs;
}

// In the first, gentle passes: sightings far off still pull, so that a poor start finds its way.
constexpr double kGentle[] = {4000.0, 100.0};

double student(double d2, double freedom) { return 0.5 * (freedom + 2) * std::log1p(d2 / freedom); }
double student_weight(double d2, double freedom) { return (freedom + 2) / (freedom + d2); }

// Adds a residual given in a chain's short numbering.
struct Normal {
  Eigen::MatrixXd h;
  Eigen::VectorXd g;
  double cost = 0;
};

void scatter(const Eigen::MatrixXd& h, const Eigen::VectorXd& g, const std::vector<int>& index, Normal& out) {
  for (std::size_t a = 0; a < index.size(); ++a) {
    const auto ia = static_cast<Eigen::Index>(a);
    out.g[index[a]] += g[ia];
    for (std::size_t b = 0; b < index.size(); ++b) out.h(index[a], index[b]) += h(ia, static_cast<Eigen::Index>(b));
  }
}

double time_after_rest(const Chain& c, const Cloth& cloth) { return c.legs.back().leg.rests(cloth) + 1.0; }

// What the sightings of one leg say, summed up by what they hang on: the place where it begins (see ChainSlopes::of_p),
// and its own unknowns: the cloth, begin, v, w.
struct LegSums {
  static constexpr int kOwn = 7;
  Mat2 pp = Mat2::Zero();
  Eigen::Matrix<double, 2, kOwn> po = Eigen::Matrix<double, 2, kOwn>::Zero();
  Eigen::Matrix<double, kOwn, kOwn> oo = Eigen::Matrix<double, kOwn, kOwn>::Zero();
  Vec2 p = Vec2::Zero();
  Eigen::Matrix<double, kOwn, 1> o = Eigen::Matrix<double, kOwn, 1>::Zero();
  bool any = false;

  // A residual r = root (place - seen), of `weight`.
  void add(const LegSlopes& s, const Cloth& cloth, const Mat2& root, const Vec2& r, double weight) {
    Eigen::Matrix<double, 2, kOwn> own;
    own << s.by_slide * cloth.slide, s.by_roll * cloth.roll, s.by_t, s.by_v, s.by_w;
    const Mat2 w = weight * root.transpose() * root;
    const Vec2 pull = weight * root.transpose() * r;
    const Eigen::Matrix<double, 2, kOwn> wo = w.lazyProduct(own);
    pp += w;
    po += wo;
    oo += own.transpose().lazyProduct(wo);
    p += pull;
    o += own.transpose().lazyProduct(pull);
    any = true;
  }
  // Adds it to normal equations in the chain's short numbering.
  void tell(const Eigen::MatrixXd& of_p, std::size_t leg, Eigen::MatrixXd& h, Eigen::VectorXd& g) const {
    const int c = column(leg), used = c + 5;
    const int at[kOwn] = {0, 1, c, c + 1, c + 2, c + 3, c + 4};
    const Eigen::Matrix<double, 2, Eigen::Dynamic> from = of_p.leftCols(used);
    h.topLeftCorner(used, used).noalias() += from.transpose() * (pp * from);
    g.head(used).noalias() += from.transpose() * p;
    for (int a = 0; a < kOwn; ++a) {
      const Eigen::VectorXd mixed = from.transpose() * po.col(a);
      h.col(at[a]).head(used) += mixed;
      h.row(at[a]).head(used) += mixed.transpose();
      g[at[a]] += o[a];
      for (int b = 0; b < kOwn; ++b) h(at[a], at[b]) += oo(a, b);
    }
  }
};

// Sightings, start and rest of one chain.
void add_evidence(const Problem& problem, std::size_t i, const ChainSlopes* cs, double freedom, Normal& out) {
  const Chain& chain = problem.chains[i];
  std::vector<LegSums> sums(cs ? chain.legs.size() : 0);
  const auto add = [&](std::size_t k, double time, const Vec2& seen, const Mat2& root, bool robust) {
    const Leg& leg = chain.legs[k].leg;
    const LegSlopes s = cs ? slopes(leg, time, problem.cloth) : LegSlopes{};
    const Vec2 r = root * ((cs ? s.at : leg.at(time, problem.cloth)) - seen);
    const double d2 = r.squaredNorm();
    out.cost += robust ? student(d2, freedom) : 0.5 * d2;
    if (cs) sums[k].add(s, problem.cloth, root, r, robust ? student_weight(d2, freedom) : 1.0);
  };
  std::size_t k = 0;
  for (const Seen& s : chain.seen) {
    if (!s.trusted) continue;
    while (k + 1 < chain.legs.size() && chain.legs[k + 1].leg.t <= s.time) ++k;
    add(k, s.time, s.at, s.root, true);
  }
  if (chain.start) add(0, chain.legs[0].leg.t - 1.0, chain.start->at, chain.start->root, false);
  if (chain.rest)
    add(chain.legs.size() - 1, time_after_rest(chain, problem.cloth), chain.rest->at, chain.rest->root, false);
  if (!cs) return;
  const auto n = static_cast<Eigen::Index>(cs->index.size());
  Eigen::MatrixXd h = Eigen::MatrixXd::Zero(n, n);
  Eigen::VectorXd g = Eigen::VectorXd::Zero(n);
  for (k = 0; k < sums.size(); ++k)
    if (sums[k].any) sums[k].tell(cs->of_p[k], k, h, g);
  scatter(h, g, cs->index, out);
}

// State of a chain around the begin of leg `k`, with its slopes by all unknowns (10 x size).
void state_at(const Problem& problem, const std::vector<ChainSlopes>* cs, const Layout& layout, std::size_t i,
              std::size_t k, ImpactState& state, Eigen::MatrixXd* slope) {
  const Chain& chain = problem.chains[i];
  const Leg& out = chain.legs[k].leg;
  state = {out.p, Vec2::Zero(), Vec2::Zero(), out.v, out.w};
  if (k > 0) {
    state.v_in = chain.legs[k - 1].leg.velocity_at(out.t, problem.cloth);
    state.w_in = chain.legs[k - 1].leg.slip_at(out.t, problem.cloth);
  }
  if (!slope) return;
  slope->setZero(10, layout.size);
  const ChainSlopes& c = (*cs)[i];
  for (std::size_t a = 0; a < c.index.size(); ++a)
    slope->block<2, 1>(0, c.index[a]) += c.of_p[k].col(static_cast<Eigen::Index>(a));
  if (k > 0) {
    // v_in and w_in by finite differences: nine cheap evaluations.
    const auto difference = [&](int unknown, double step, const Leg& leg, double time, const Cloth& cloth) {
      slope->block<2, 1>(2, unknown) += (leg.velocity_at(time, cloth) - state.v_in) / step;
      slope->block<2, 1>(4, unknown) += (leg.slip_at(time, cloth) - state.w_in) / step;
    };
    constexpr double kStep = 1e-7;
    const Leg& in = chain.legs[k - 1].leg;
    const Layout::Place& place = layout.chains[i];
    Cloth cloth = problem.cloth;
    cloth.slide *= 1 + kStep;
    difference(0, kStep, in, out.t, cloth);
    cloth = problem.cloth;
    cloth.roll *= 1 + kStep;
    difference(1, kStep, in, out.t, cloth);
    Leg leg = in;
    leg.t += kStep;
    difference(place.t[k - 1], kStep, leg, out.t, problem.cloth);
    for (int d = 0; d < 4; ++d) {
      leg = in;
      (d < 2 ? leg.v[d] : leg.w[d - 2]) += kStep;
      difference(place.v[k - 1] + d, kStep, leg, out.t, problem.cloth);
    }
    difference(place.t[k], kStep, in, out.t + kStep, problem.cloth);
  }
  for (int d = 0; d < 4; ++d) (*slope)(6 + d, layout.chains[i].v[k] + d) = 1;
}

void add_impacts(const Problem& problem, const Layout& layout, const std::vector<ChainSlopes>* cs, Normal& out) {
  Eigen::MatrixXd slope_a, slope_b;
  for (std::size_t i = 0; i < problem.chains.size(); ++i) {
    const Chain& chain = problem.chains[i];
    for (std::size_t k = 0; k < chain.legs.size(); ++k) {
      const Touch& touch = chain.legs[k].touch;
      const bool together = touch.kind == Touch::Kind::ball && touch.other_chain >= 0;
      if (together && touch.other_chain < static_cast<int>(i)) continue;  // done with the other ball
      ImpactPair pair;
      pair.touch = &touch;
      pair.radius[0] = chain.radius;
      pair.mass[0] = chain.mass;
      pair.first_leg[0] = k == 0;
      state_at(problem, cs, layout, i, k, pair.state[0], cs ? &slope_a : nullptr);
      if (together) {
        const auto o = static_cast<std::size_t>(touch.other_chain);
        pair.together = true;
        pair.radius[1] = problem.chains[o].radius;
        pair.mass[1] = problem.chains[o].mass;
        pair.pulled = std::hypot(chain.pulled, problem.chains[o].pulled);
        pair.first_leg[1] = touch.other_leg == 0;
        state_at(problem, cs, layout, o, static_cast<std::size_t>(touch.other_leg), pair.state[1],
                 cs ? &slope_b : nullptr);
      } else if (touch.kind == Touch::Kind::ball) {
        pair.radius[1] = touch.radius;
        pair.mass[1] = touch.mass;
        pair.pulled = std::hypot(chain.pulled, touch.pulled);
        pair.state[1].at = touch.place + touch.velocity * (chain.legs[k].leg.t - touch.time);
        pair.state[1].v_in = touch.velocity;
      }
      const std::vector<double> r = impact_residuals(pair, problem.impact);
      for (const double x : r) out.cost += 0.5 * x * x;
      if (!cs || r.empty()) continue;
      Eigen::MatrixXd by_state = Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(r.size()), together ? 20 : 10);
      for (int d = 0; d < by_state.cols(); ++d) {
        ImpactPair moved = pair;
        constexpr double kStep = 1e-7;
        moved.state[d / 10].number(d % 10) += kStep;
        const std::vector<double> rm = impact_residuals(moved, problem.impact);
        for (std::size_t a = 0; a < r.size(); ++a) by_state(static_cast<Eigen::Index>(a), d) = (rm[a] - r[a]) / kStep;
      }
      Eigen::MatrixXd j = by_state.leftCols(10) * slope_a;
      if (together) j += by_state.rightCols(10) * slope_b;
      const Eigen::VectorXd rv = Eigen::Map<const Eigen::VectorXd>(r.data(), static_cast<Eigen::Index>(r.size()));
      out.h.noalias() += j.transpose() * j;
      out.g.noalias() += j.transpose() * rv;
    }
  }
}

Normal evaluate(const Problem& problem, const Layout& layout, bool with_slopes, double freedom) {
  Normal out;
  std::vector<ChainSlopes> cs;
  if (with_slopes) {
    out.h = Eigen::MatrixXd::Zero(layout.size, layout.size);
    out.g = Eigen::VectorXd::Zero(layout.size);
    for (std::size_t i = 0; i < problem.chains.size(); ++i) cs.push_back(chain_slopes(problem, layout, i));
  }
  for (std::size_t i = 0; i < problem.chains.size(); ++i)
    add_evidence(problem, i, with_slopes ? &cs[i] : nullptr, freedom, out);
  add_impacts(problem, layout, with_slopes ? &cs : nullptr, out);
  const double slide = std::log(problem.cloth.slide / problem.prior.slide) / problem.slide_sd;
  const double roll = std::log(problem.cloth.roll / problem.prior.roll) / problem.roll_sd;
  out.cost += 0.5 * (slide * slide + roll * roll);
  // What is sent off in a frame that shows nothing of it could have any speed: hardly more than balls have.
  constexpr double kFast = 6, kFaster = 3;  // m/s; a break is struck at 8 (common practice, no source)
  for (std::size_t i = 0; i < problem.chains.size(); ++i) {
    const Vec2& v = problem.chains[i].legs[0].leg.v;
    const double over = (v.norm() - kFast) / kFaster;
    if (over <= 0) continue;
    out.cost += 0.5 * over * over;
    if (!with_slopes) continue;
    const int at = layout.chains[i].v[0];
    const Vec2 slope = v.normalized() / kFaster;
    out.h.block<2, 2>(at, at) += slope * slope.transpose();
    out.g.segment<2>(at) += over * slope;
  }
  if (with_slopes) {
    out.h(0, 0) += 1 / (problem.slide_sd * problem.slide_sd);
    out.h(1, 1) += 1 / (problem.roll_sd * problem.roll_sd);
    out.g[0] += slide / problem.slide_sd;
    out.g[1] += roll / problem.roll_sd;
  }
  return out;
}

// What a step changes of a problem.
struct Moving {
  Cloth cloth;
  std::vector<std::vector<ChainLeg>> legs;

  explicit Moving(const Problem& problem) : cloth(problem.cloth) {
    for (const Chain& c : problem.chains) legs.push_back(c.legs);
  }
  void put_back(Problem& problem) && {
    problem.cloth = cloth;
    for (std::size_t i = 0; i < legs.size(); ++i) problem.chains[i].legs = std::move(legs[i]);
  }
};

// Takes a step; false: it puts legs out of order.
bool take(Problem& problem, const Layout& layout, const Eigen::VectorXd& step) {
  problem.cloth.slide *= std::exp(std::clamp(step[0], -0.3, 0.3));
  problem.cloth.roll *= std::exp(std::clamp(step[1], -0.3, 0.3));
  constexpr double kShortestLeg = 1e-4;  // s
  for (std::size_t i = 0; i < problem.chains.size(); ++i) {
    Chain& chain = problem.chains[i];
    const Layout::Place& place = layout.chains[i];
    chain.legs[0].leg.p += step.segment<2>(place.p);
    for (std::size_t k = 0; k < chain.legs.size(); ++k) {
      Leg& leg = chain.legs[k].leg;
      leg.t += step[place.t[k]];
      leg.v += step.segment<2>(place.v[k]);
      leg.w += step.segment<2>(place.v[k] + 2);
      if (k > 0 && leg.t < chain.legs[k - 1].leg.t + kShortestLeg) return false;
    }
    chain.join(problem.cloth);
  }
  return true;
}

FitSummary descend(Problem& problem, const FitOptions& options, double freedom) {
  FitSummary summary;
  const Layout layout(problem);
  for (Chain& chain : problem.chains) chain.join(problem.cloth);
  std::vector<bool> fixed(static_cast<std::size_t>(layout.size), false);
  if (!options.cloth_free) fixed[0] = fixed[1] = true;
  for (std::size_t i = 0; i < problem.chains.size(); ++i) {
    if (!problem.chains[i].start_free) {
      fixed[static_cast<std::size_t>(layout.chains[i].p)] = fixed[static_cast<std::size_t>(layout.chains[i].p) + 1] =
          true;
      fixed[static_cast<std::size_t>(layout.chains[i].t[0])] = true;
    }
    for (const Seen& s : problem.chains[i].seen) summary.sightings += s.trusted;
  }
  const auto hold_fixed = [&](Normal& n) {
    for (int a = 0; a < layout.size; ++a) {
      if (!fixed[static_cast<std::size_t>(a)]) continue;
      n.h.row(a).setZero();
      n.h.col(a).setZero();
      n.h(a, a) = 1;
      n.g[a] = 0;
    }
  };
  double damping = 1e-4;
  Normal now = evaluate(problem, layout, true, freedom);
  hold_fixed(now);
  for (int iteration = 0; iteration < options.iterations && !summary.converged; ++iteration) {
    bool better = false;
    for (int trial = 0; trial < 8 && !better; ++trial) {
      Eigen::MatrixXd h = now.h;
      for (int a = 0; a < layout.size; ++a) h(a, a) += damping * std::max(h(a, a), 1e-3);
      const Eigen::VectorXd step = -h.ldlt().solve(now.g);
      if (!step.allFinite()) {
        damping *= 10;
        continue;
      }
      Moving before(problem);
      const double cost = take(problem, layout, step) ? evaluate(problem, layout, false, freedom).cost
                                                      : std::numeric_limits<double>::infinity();
      if (std::isfinite(cost) && cost <= now.cost) {
        better = true;
        // A gain this small, in half squared standard deviations, cannot be told from none.
        summary.converged = now.cost - cost < 1e-4;
        damping = std::max(damping * 0.1, 1e-9);
      } else {
        std::move(before).put_back(problem);
        damping *= 10;
      }
    }
    if (!better) {
      summary.converged = true;
      break;
    }
    if (!summary.converged || options.covariance) {
      now = evaluate(problem, layout, true, freedom);
      hold_fixed(now);
    } else {
      now.cost = evaluate(problem, layout, false, freedom).cost;
    }
  }
  summary.cost = now.cost;
  std::vector<double> square;
  for (const Chain& chain : problem.chains)
    for (const Seen& s : chain.seen)
      if (s.trusted) square.push_back((s.root * (chain.at(s.time, problem.cloth) - s.at)).squaredNorm());
  if (!square.empty()) {
    constexpr double kMedianOfTwo = 1.3863;  // median of chi-square with two degrees of freedom, 2 ln 2
    const double free = std::max(0.2, 1.0 - 0.5 * layout.size / static_cast<double>(square.size()));
    summary.scale = std::sqrt(upper_median(square) / kMedianOfTwo / free);
  }
  if (options.covariance) {
    for (int a = 0; a < layout.size; ++a) now.h(a, a) += 1e-9;
    summary.covariance = now.h.ldlt().solve(Eigen::MatrixXd::Identity(layout.size, layout.size));
    for (int a = 0; a < layout.size; ++a) {
      if (!fixed[static_cast<std::size_t>(a)]) continue;
      summary.covariance.row(a).setZero();
      summary.covariance.col(a).setZero();
    }
  }
  return summary;
}

}  // namespace

Layout::Layout(const Problem& problem) {
  size = 2;
  for (std::size_t i = 0; i < problem.chains.size(); ++i) {
    Place place;
    place.p = size;
    size += 2;
    const Chain& chain = problem.chains[i];
    for (const ChainLeg& leg : chain.legs) {
      const Touch& touch = leg.touch;
      const bool shared =
          touch.kind == Touch::Kind::ball && touch.other_chain >= 0 && touch.other_chain < static_cast<int>(i);
      if (shared) {
        place.t.push_back(
            chains[static_cast<std::size_t>(touch.other_chain)].t[static_cast<std::size_t>(touch.other_leg)]);
      } else {
        place.t.push_back(size++);
      }
      place.v.push_back(size);
      size += 4;
    }
    chains.push_back(std::move(place));
  }
}

FitSummary fit(Problem& problem, const FitOptions& options) {
  if (options.gentle > 0) {
    FitOptions first = options;
    first.gentle = 0;
    first.iterations = options.gentle;
    first.covariance = false;
    for (const double freedom : kGentle) descend(problem, first, freedom);
  }
  return descend(problem, options, kStudent);
}

void impact_slopes(const Problem& problem, const Layout& layout, std::size_t chain, std::size_t leg, ImpactState& state,
                   Eigen::MatrixXd& slope) {
  std::vector<ChainSlopes> cs;
  for (std::size_t i = 0; i < problem.chains.size(); ++i)
    cs.push_back(i == chain ? chain_slopes(problem, layout, i) : ChainSlopes{});
  state_at(problem, &cs, layout, chain, leg, state, &slope);
}

Eigen::MatrixXd place_slopes(const Problem& problem, const Layout& layout, std::size_t chain, double time, int leg) {
  const ChainSlopes cs = chain_slopes(problem, layout, chain);
  const std::size_t k = leg >= 0 ? static_cast<std::size_t>(leg) : problem.chains[chain].leg_at(time);
  Eigen::MatrixXd j;
  Vec2 at, velocity;
  place_in_leg(problem.chains[chain], problem.cloth, cs, k, time, j, at, velocity);
  Eigen::MatrixXd out = Eigen::MatrixXd::Zero(2, layout.size);
  for (std::size_t a = 0; a < cs.index.size(); ++a) out.col(cs.index[a]) += j.col(static_cast<Eigen::Index>(a));
  return out;
}

}  // namespace baizetrace::path
