#include "compare/tune.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/median.hpp"

namespace baizetrace::compare {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;
using PlayMatrix = Eigen::Matrix<double, static_cast<int>(kPlays), static_cast<int>(kPlays)>;

struct Explained {
  Evidence evidence;
  const TuneShot* shot = nullptr;
  StrikeFound found;
  double share = 1;  // of what it says: shots alike say little new, see kAlike
};

// Shots from the same place in the same direction share the camera's faults and the model's: so much of each one's
// error is all of theirs.
constexpr double kAlike = 0.8;

void share_out(std::vector<Explained>& all) {
  constexpr double kSamePlace = 0.05, kSameWay = 0.1;  // m, rad
  for (Explained& e : all) {
    int alike = 0;
    for (const Explained& o : all)
      alike += (e.evidence.balls[0].place - o.evidence.balls[0].place).norm() < kSamePlace &&
               std::abs(wrap_angle(e.found.numbers.strike.heading - o.found.numbers.strike.heading)) < kSameWay;
    e.share = 1 / (1 + (alike - 1) * kAlike);
  }
}

// What one shot says of the conditions once its own numbers have been given their way.
struct Word {
  PlayMatrix information = PlayMatrix::Zero();
  PlayVector pull = PlayVector::Zero();
};

Word word_of(const StrikeFound& f) {
  const Index own = f.slopes.cols() - static_cast<Index>(kPlays);
  const MatrixXd a = f.slopes.leftCols(own), b = f.slopes.rightCols(static_cast<Index>(kPlays));
  MatrixXd h = a.transpose() * a;
  h.diagonal().array() += 1e-9;
  const auto solver = h.ldlt();
  const MatrixXd cross = a.transpose() * b;
  Word w;
  w.information = b.transpose() * b - cross.transpose() * solver.solve(cross);
  w.pull = b.transpose() * f.residuals - cross.transpose() * solver.solve(a.transpose() * f.residuals);
  // A shot that the model explains badly says less.
  const double weight = 1 / std::max(1.0, f.misfit);
  w.information *= weight;
  w.pull *= weight;
  return w;
}

// Turns the conditions; `all` are explained shots, whose strikes follow. z: the conditions in units of before.u.
PlayVector settle(std::vector<Explained>& all, const KnownPlay& before, int rounds, PlayMatrix& information) {
  share_out(all);
  // Begin in the middle of what each shot would have by itself.
  PlayVector z;
  for (std::size_t k = 0; k < kPlays; ++k) {
    if (before.u[static_cast<Index>(k)] == 0) {
      z[static_cast<Index>(k)] = 0;
      continue;
    }
    std::vector<double> own;
    for (const Explained& e : all)
      own.push_back(e.found.numbers.play[static_cast<Index>(k)] / before.u[static_cast<Index>(k)]);
    z[static_cast<Index>(k)] = upper_median(own);
  }
  for (int round = 0; round < rounds; ++round) {
    information = PlayMatrix::Identity();
    PlayVector pull = z;
    for (Explained& e : all) {
      e.found.numbers.play = z.cwiseProduct(before.u);
      const StrikeFound from = e.found;
      StrikeFitOptions how{.play_free = false, .intervals = false, .near = &from};
      StrikeFound next = find_strike(e.evidence, *e.shot->attempt->strike, *e.shot->table, before, how);
      // Halfway each strike is searched anew, as a better valley may have opened; a lost one always.
      if (round == rounds / 2 || !next.fits) {
        KnownPlay here = before;
        here.conditions = turned(before.conditions, e.found.numbers.play);
        StrikeFound fresh = find_strike(e.evidence, *e.shot->attempt->strike, *e.shot->table, here,
                                        {.play_free = false, .intervals = false});
        if (fresh.fits && (!next.fits || fresh.misfit < next.misfit)) {
          fresh.numbers.play = e.found.numbers.play;
          next = find_strike(e.evidence, *e.shot->attempt->strike, *e.shot->table, before,
                             {.play_free = false, .intervals = false, .near = &fresh});
        }
      }
      if (next.residuals.size() == 0) continue;
      e.found = std::move(next);
      if (!e.found.orders) continue;
      const Word w = word_of(e.found);
      information += e.share * w.information;
      pull += e.share * w.pull;
    }
    PlayVector step = -information.ldlt().solve(pull);
    constexpr double kLongest = 1.0;  // of what was known before
    const double size = step.cwiseAbs().maxCoeff();
    if (size > kLongest) step *= kLongest / size;
    if (round + 1 < rounds) z += step;
    constexpr double kDone = 0.002;
    if (size < kDone && round > rounds / 2) break;
  }
  return z;
}

Tuned from(const PlayVector& z, const PlayMatrix& information, const KnownPlay& before,
           const std::vector<Explained>& all) {
  Tuned t;
  t.play.conditions = turned(before.conditions, z.cwiseProduct(before.u));
  std::vector<double> misfits;
  for (const Explained& e : all) misfits.push_back(e.found.misfit);
  t.misfit = misfits.empty() ? 0 : upper_median(misfits);
  const PlayMatrix covariance = information.inverse();
  for (std::size_t k = 0; k < kPlays; ++k) {
    const auto i = static_cast<Index>(k);
    const double share = std::sqrt(std::max(0.0, covariance(i, i)));
    const bool of_balls = k == 3 || k == 4;
    t.play.u[i] = std::max(of_balls ? kSurestBall : kSurestShare, share) * before.u[i];
    t.told[k] = share < kToldShare;
  }
  // Kept when all of its numbers are told and, together, are surely not those from before.
  const auto extra = [&](std::size_t first, std::size_t size) {
    constexpr double kOneInAHundred[] = {6.63, 9.21};  // of chi square with one and two degrees of freedom
    const auto i = static_cast<Index>(first), n = static_cast<Index>(size);
    Tuned::Extra e{.asked = (before.u.segment(i, n).array() > 0).all()};
    if (!e.asked) return e;
    const VectorXd by = z.segment(i, n);
    const MatrixXd c = covariance.block(i, i, n, n);
    e.told = by.dot(c.ldlt().solve(by)) > kOneInAHundred[size - 1];
    for (std::size_t k = first; k < first + size; ++k) e.told = e.told && t.told[k];
    if (!e.told) std::fill_n(t.told.begin() + i, size, false);
    return e;
  };
  t.slope = extra(kSlopePlay, 2);
  t.nap_drift = extra(kNapDrift, 1);
  t.nap_side = extra(kNapSide, 1);
  if (!t.slope.told) t.play.conditions.slope = before.conditions.slope;
  if (!t.nap_drift.told) t.play.conditions.nap.drift = before.conditions.nap.drift;
  if (!t.nap_side.told) t.play.conditions.nap.side = before.conditions.nap.side;
  t.used = static_cast<int>(all.size());
  t.play.tuned = true;
  return t;
}

}  // namespace

std::optional<Vec2> rest_of(const Evidence& evidence, const ShotNumbers& numbers, const table::Table& table,
                            const motion::Conditions& conditions) {
  std::vector<motion::Ball> balls = evidence.balls;
  for (std::size_t b = 0; b < evidence.moved; ++b) balls[b].place = numbers.places[b];
  motion::Strike strike = numbers.strike;
  if (const double off = std::hypot(strike.right, strike.height); off > motion::kMiscue) {
    strike.right *= motion::kMiscue / off * (1 - 1e-12);
    strike.height *= motion::kMiscue / off * (1 - 1e-12);
  }
  const auto p = motion::simulate(table, turned(conditions, numbers.play), balls, strike);
  if (!p || !p->complete || !p->balls[0].rest) return std::nullopt;
  return p->balls[0].rest->at;
}

Result<Tuned> tune(std::span<const TuneShot> shots, const table::BallSet& set, const KnownPlay& before,
                   const TuneOptions& o) {
  std::vector<Explained> all;
  std::vector<std::string> left_out;
  for (const TuneShot& s : shots) {
    const auto out = [&](const std::string& why) {
      left_out.push_back(fmt::format("attempt {}: {}", s.attempt->number, why));
    };
    if (!s.attempt->strike) {
      out("no strike was seen");
      continue;
    }
    auto e = evidence_of(*s.attempt, *s.table, set);
    if (!e) {
      out(e.error().what);
      continue;
    }
    StrikeFound f = find_strike(*e, *s.attempt->strike, *s.table, before, {.intervals = false});
    if (!f.fits) {
      out(f.why);
      continue;
    }
    all.push_back({std::move(*e), &s, std::move(f)});
  }
  if (all.empty())
    return fail("no attempt can be explained{}", left_out.empty() ? "" : fmt::format(": {}", left_out.front()));

  std::vector<double> off_before, off_after;
  if (o.hold_out && static_cast<int>(all.size()) >= kFewestToHoldOut) {
    for (const std::size_t odd : {0U, 1U}) {
      std::vector<Explained> half, others;
      for (std::size_t i = 0; i < all.size(); ++i) (i % 2 == odd ? half : others).push_back(all[i]);
      PlayMatrix information;
      const PlayVector z = settle(half, before, o.rounds, information);
      const Tuned t = from(z, information, before, half);
      for (const Explained& e : others) {
        if (!e.evidence.to_rest || e.evidence.cushions == 0) continue;
        const auto early = evidence_of(*e.shot->attempt, *e.shot->table, set, {.before_first_cushion = true});
        if (!early) continue;
        const Vec2 rest = e.shot->attempt->after.at(set.kinds[0].name).at;
        // Pace and line from before the first cushion; the tip's place, which only a cushion shows, from the whole
        // path.
        StrikeFound from_whole = e.found;
        from_whole.numbers.play.setZero();
        const auto f = find_strike(*early, *e.shot->attempt->strike, *e.shot->table, t.play,
                                   {.play_free = false, .intervals = false, .near = &from_whole, .hold_tip = true});
        if (f.residuals.size() == 0) continue;
        const ShotNumbers& n = f.numbers;
        const auto was = rest_of(*early, n, *e.shot->table, before.conditions);
        const auto is = rest_of(*early, n, *e.shot->table, t.play.conditions);
        if (!was || !is) continue;
        off_before.push_back((*was - rest).norm());
        off_after.push_back((*is - rest).norm());
      }
    }
  }

  PlayMatrix information;
  const PlayVector z = settle(all, before, o.rounds, information);
  Tuned t = from(z, information, before, all);
  t.shots = static_cast<int>(shots.size());
  t.left_out = std::move(left_out);
  t.held_out = static_cast<int>(off_before.size());
  if (t.held_out > 0) {
    t.off_before = upper_median(off_before);
    t.off_after = upper_median(off_after);
  }
  return t;
}

std::string conditions_toml(const Tuned& t, const KnownPlay& before) {
  const motion::Conditions& c = t.play.conditions;
  const auto note = [&](std::size_t k) {
    const auto i = static_cast<Index>(k);
    return t.told[k] ? fmt::format("# +-{:.2g} (1 sd), told by the attempts", t.play.u[i])
                     : fmt::format("# not told by these attempts: from the conditions before, +-{:.2g}", before.u[i]);
  };
  std::string out = fmt::format("# Conditions that best explain {} measured attempts.\n", t.used);
  if (t.held_out > 0)
    out += fmt::format(
        "# {} attempts kept out in turn: predicted from their pace and line before the first cushion, the white rests "
        "{:.0f} "
        "mm "
        "from where it did (median), {:.0f} mm with the conditions before.\n",
        t.held_out, 1e3 * t.off_after, 1e3 * t.off_before);
  else
    out += "# Too few attempts to keep some out: whether this predicts better is not known.\n";
  out += "format = \"baizetrace/conditions-1\"\n";
  out += fmt::format("sliding             = {:.5f}  {}\n", c.sliding, note(0));
  out += fmt::format("rolling             = {:.6f}  {}\n", c.rolling, note(1));
  out += fmt::format("spin_decay          = {:.3f}  {}\n", c.spin_decay, note(2));
  out += fmt::format("ball_restitution    = {:.4f}  {}\n", c.ball_restitution, note(3));
  out += fmt::format("ball_friction       = [{:.4f}, {:.4f}, {:.3f}]  {}\n", c.ball_friction[0], c.ball_friction[1],
                     c.ball_friction[2], note(4));
  out += "cushion_restitution = [";
  for (std::size_t i = 0; i < c.cushion_restitution.size(); ++i)
    out +=
        fmt::format("{}[{:.2f}, {:.4f}]", i > 0 ? ", " : "", c.cushion_restitution[i][0], c.cushion_restitution[i][1]);
  out += fmt::format("]  {}; its fall with speed: {}\n", note(5), note(6).substr(2));
  out += fmt::format("cushion_friction    = {:.4f}  {}\n", c.cushion_friction, note(7));
  if (c.squirt != 0) out += fmt::format("squirt              = {:.4f}\n", c.squirt);
  if (!c.slope.isZero())
    out += fmt::format("slope               = [{:.6f}, {:.6f}]  {}\n", c.slope.x(), c.slope.y(),
                       t.slope.asked ? note(kSlopePlay) : "# from the conditions before");
  else if (t.slope.asked)
    out += "# A slope was looked for: these attempts do not tell one.\n";
  const bool nap_asked = t.nap_drift.asked || t.nap_side.asked;
  if (!c.nap.none())
    out += fmt::format("nap                 = [{:.6f}, {:.6f}]  # drift {}; side {}\n", c.nap.drift, c.nap.side,
                       t.nap_drift.asked ? note(kNapDrift).substr(2) : "from the conditions before",
                       t.nap_side.asked ? note(kNapSide).substr(2) : "from the conditions before");
  else if (nap_asked)
    out += "# A nap was looked for: these attempts do not tell one.\n";
  out += "\n[uncertainty]  # one standard deviation each\n";
  for (std::size_t k = 0; k < kPlays; ++k)
    if (k < kSlopePlay || t.told[k])
      out += fmt::format("{:<19} = {:.3g}\n", kPlayNames[k], t.play.u[static_cast<Index>(k)]);
  return out;
}

}  // namespace baizetrace::compare
