#include "compare/strike_fit.hpp"

#include <algorithm>
#include <cmath>
#include <random>

#include "base/threads.hpp"
#include "compare/shot_fit.hpp"

namespace baizetrace::compare {
namespace {

constexpr double k95 = 3.841;  // chi-square, one degree of freedom

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

// Until when the stages after the first look, s: to the next contact, on long ways by their parts, and to the end of
// all motion before the resting places count.
std::vector<double> stages_after_first(const std::vector<double>& contact_times) {
  std::vector<double> out;
  constexpr double kLong = 2.5, kPart = 0.8;  // s
  for (std::size_t k = 0; k < contact_times.size(); ++k) {
    const double from = contact_times[k];
    const double to = k + 1 < contact_times.size() ? contact_times[k + 1] : from + 2 * kLong;
    if (to - from > kLong) out.push_back(from + kPart);
    if (k + 1 < contact_times.size()) out.push_back(to);
  }
  constexpr double kAllMotion = 1e16;
  out.push_back(kAllMotion);
  return out;
}

// Where a search sets out from: heights and sides of the tip, ball radii, and how it goes on.
struct Starts {
  std::vector<double> heights, rights;
  std::size_t heights_kept, kept;
  int steps;
};
const Starts kCoarse{{0.0, 0.25, -0.25, 0.42, -0.42}, {0.0, 0.15, -0.15, 0.3, -0.3, 0.45, -0.45}, 3, 7, 8};
// Between those, for shots that hang on a hair's breadth: a ball passed closely, a jaw.
const Starts kFiner{{0.12, -0.12, 0.34, -0.34, 0.5}, {0.07, -0.07, 0.22, -0.22, 0.38, -0.38, 0.0}, 5, 16, 16};

// The shot is followed contact by contact: what was seen up to the first one tells pace, line and height, from several
// starts; then sides are tried on each, and the best of them go on to the next contact. So every start meets each
// contact nearly where it was seen, in the right order.
std::vector<Valley> search(Shot& shot, const Unknowns& unknowns, const std::vector<double>& contact_times,
                           const std::vector<double>& stages, const Starts& starts) {
  constexpr int kMoreSteps = 24;
  constexpr std::size_t kPromising = 3;
  constexpr double kDown = 1;  // sum of squares per number: fitted
  const auto settle = [&](std::vector<Valley>& valleys, const std::vector<int>& held) {
    share_out(static_cast<int>(valleys.size()), kThreads, [&](int i) {
      Valley& v = valleys[static_cast<std::size_t>(i)];
      Shot own = shot;
      v.sum = descend(own, unknowns, v.z, held, starts.steps).value_or(1e300);
    });
  };
  std::vector<Valley> valleys;
  shot.use_until(contact_times.empty() ? 1e18 : contact_times.front());
  for (const double height : starts.heights) {
    Valley v;
    v.z = VectorXd::Zero(unknowns.size());
    v.z[kHeight] = height / unknowns.scale(kHeight);
    valleys.push_back(std::move(v));
  }
  settle(valleys, {static_cast<int>(kRight)});
  keep_best(valleys, starts.heights_kept);
  std::vector<Valley> sides;
  for (const Valley& v : valleys)
    for (const double right : starts.rights) {
      const double height = v.z[kHeight] * unknowns.scale(kHeight);
      if (std::hypot(height, right) > kTipLimit + 0.05) continue;
      Valley w = v;
      w.z[kRight] = right / unknowns.scale(kRight);
      sides.push_back(std::move(w));
    }
  valleys = std::move(sides);
  for (const double until : stages) {
    shot.use_until(until);
    settle(valleys, {});
    keep_best(valleys, starts.kept);
    // Where none is down yet, the next contact would be met too far from where it was seen: the best go on first.
    if (valleys.empty() || valleys[0].sum < kDown * shot.used()) continue;
    for (std::size_t k = 0; k < std::min(kPromising, valleys.size()); ++k)
      valleys[k].sum = descend(shot, unknowns, valleys[k].z, {}, kMoreSteps).value_or(1e300);
    keep_best(valleys, starts.kept);
  }
  shot.use_until(1e18);
  settle(valleys, {});
  constexpr std::size_t kFollowed = 6;
  keep_best(valleys, kFollowed);
  return valleys;
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
// `lower`: a deeper point that turned up on the way. `points`: where it was on the way, and the sum there.
Told profile(Shot& shot, const Unknowns& unknowns, const Valley& best, Index k, double rise, Valley& lower,
             ProfilePoints& points) {
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
      points.emplace_back(at.z[k] * scale, at.sum);
      share = std::min(0.7, 1.5 * share);
    }
    (way < 0 ? t.low : t.high) = end * scale;
    points.emplace_back(end * scale, best.sum + rise);
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
  // Where hardly any of them is good, the tip is known much better than the widths asked for: narrower ones follow.
  constexpr int kHardlyAny = 12;
  double width = 1;
  for (int tries = 0; tries < 3 * o.draws && static_cast<int>(out.size()) < o.draws; ++tries) {
    if (tries > 0 && tries % kHardlyAny == 0 && out.size() < static_cast<std::size_t>(tries / kHardlyAny)) width /= 2;
    const double a = normal(), b = turn * a + std::sqrt(1 - turn * turn) * normal();
    const Eigen::Vector2d by(width * a * o.tip_u[0] / unknowns.scale(kRight),
                             width * b * o.tip_u[1] / unknowns.scale(kHeight));
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

bool at_its_edge(const Told& t) {
  constexpr double kEdge = 0.15;  // of the interval, either side
  return std::min(t.value - t.low, t.high - t.value) < kEdge * (t.high - t.low);
}

double mean_of(ProfilePoints points, double scale2) {
  std::stable_sort(points.begin(), points.end());
  double least = 1e300;
  for (const auto& [value, sum] : points) least = std::min(least, sum);
  const auto likely = [&](double sum) { return std::exp(-0.5 * (sum - least) / scale2); };
  double all = 0, moment = 0;
  for (std::size_t i = 1; i < points.size(); ++i) {
    const auto [a, at_a] = points[i - 1];
    const auto [b, at_b] = points[i];
    const double share = 0.5 * (b - a) * (likely(at_a) + likely(at_b));
    all += share, moment += share * 0.5 * (a + b);
  }
  return all > 0 ? moment / all : points.front().first;
}

StrikeFound find_strike(const Evidence& e, const practice::Strike& seen, const table::Table& table,
                        const KnownPlay& play, const StrikeFitOptions& o) {
  StrikeFound out;
  out.cushions = e.cushions;
  const Unknowns unknowns(e, seen, table, play, o.play_free);
  Shot shot(e, table, play, unknowns);
  std::vector<Valley> valleys;
  if (o.near) {
    valleys.push_back({unknowns.scaled(o.near->numbers), 0});
  } else {
    // Per measured number, before kicks are allowed for; fitted ones of the clips have 0.1 to 0.3.
    constexpr double kLost = 4;
    constexpr std::size_t kFollowed = 6;
    const double lost = kLost * 2 * static_cast<double>(e.facts.size());
    const auto look = [&](const std::vector<double>& stages, const Starts& starts) {
      for (Valley& v : search(shot, unknowns, e.contact_times, stages, starts)) valleys.push_back(std::move(v));
      keep_best(valleys, kFollowed);
    };
    const std::vector<double> stages = stages_after_first(e.contact_times);
    look(stages, kCoarse);
    // Lost on the way: once more in longer strides, which may pass over what held it.
    if (valleys.empty() || valleys[0].sum > lost) {
      std::vector<double> strides = e.contact_times;
      if (!strides.empty()) strides.erase(strides.begin());
      look(strides, kCoarse);
    }
    const auto explains = [&](const Valley& v) { return v.sum <= lost && shot.all_matched(v.z); };
    if (std::none_of(valleys.begin(), valleys.end(), explains)) look(stages, kFiner);
    if (const auto first = std::find_if(valleys.begin(), valleys.end(), explains); first != valleys.end())
      std::rotate(valleys.begin(), first, first + 1);
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
  // Two pairs are alike: a side and its opposite when both are small, and heights as much above and below the one at
  // which a ball rolls at once (2/5 R, Coriolis 1835), whose slides differ in direction alone.
  if (!o.near) {
    constexpr double kRollsAtOnce = 0.4, kSmallSide = 0.12, kAlikeHeights = 0.15;
    const Valley first = valleys[0];
    const double right = first.z[kRight] * unknowns.scale(kRight), height = first.z[kHeight] * unknowns.scale(kHeight);
    for (const bool side : {false, true})
      for (const bool up : {false, true}) {
        if ((!side && !up) || (side && std::abs(right) > kSmallSide) ||
            (up && std::abs(height - kRollsAtOnce) > kAlikeHeights))
          continue;
        Valley v = first;
        if (side) v.z[kRight] = -v.z[kRight];
        if (up) v.z[kHeight] = (2 * kRollsAtOnce - height) / unknowns.scale(kHeight);
        v.z[kSpeed] += (first.z[kHeight] - v.z[kHeight]) * unknowns.scale(kHeight) / (1 + kRollsAtOnce) * seen.speed /
                       unknowns.scale(kSpeed);
        v.sum = 0;  // not known yet
        valleys.push_back(std::move(v));
      }
  }
  for (std::size_t k = 1; k < valleys.size(); ++k)
    if (valleys[k].sum < 1e299) valleys[k].sum = descend(shot, unknowns, valleys[k].z, {}, 15).value_or(1e300);
  // The deepest in which the balls touch things in the order seen; where a contact is missed the sum has less to meet.
  const double freedom = std::max(1.0, 2.0 * static_cast<double>(e.facts.size()) - static_cast<double>(kPlaces) -
                                           2.0 * static_cast<double>(e.moved));
  std::stable_sort(valleys.begin(), valleys.end(), [](const Valley& a, const Valley& b) { return a.sum < b.sum; });
  const auto in_order = std::find_if(valleys.begin(), valleys.end(), [&](const Valley& v) {
    return v.sum <= kWorstMisfit * freedom && shot.all_matched(v.z);
  });
  const Valley best = in_order != valleys.end() ? *in_order : valleys[0];

  out.numbers = unknowns.numbers(best.z);
  // The fit's limit of the tip's disc gives by a hair; no strike beyond it can be played.
  motion::Strike& s = out.numbers.strike;
  const double off = std::hypot(s.right, s.height), most = kTipLimit * (1 - 1e-9);
  if (off > most) s.right *= most / off, s.height *= most / off;
  out.orders = shot.all_matched(best.z);
  if (!shot.slopes(best.z, out.residuals, out.slopes)) {
    out.why = "the fit did not end";
    return out;
  }
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
  // Where it shows: the motion tells it clearly better than what cues usually do.
  constexpr double kShows = 0.5;
  if (const double share = std::sqrt(std::max(0.0, scale2 * all(kElev, kElev))); share < kShows)
    out.elevation = around(out.numbers.strike.elevation, share * unknowns.scale(kElev));
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
      ProfilePoints points{{best.z[k] * unknowns.scale(k), best.sum}};
      Told told = profile(shot, unknowns, best, k, k95 * scale2, lower, points);
      // Another valley nearly as deep is not ruled out.
      valleys.push_back(lower);
      for (const Valley& v : valleys) {
        if (v.sum > best.sum + k95 * scale2) continue;
        told.low = std::min(told.low, v.z[k] * unknowns.scale(k));
        told.high = std::max(told.high, v.z[k] * unknowns.scale(k));
        points.emplace_back(v.z[k] * unknowns.scale(k), v.sum);
      }
      if (!told.open_low && !told.open_high && at_its_edge(told)) told.value = mean_of(std::move(points), scale2);
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
