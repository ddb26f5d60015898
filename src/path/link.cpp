#include "path/link.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::path {
namespace {

constexpr double kSameInstant = 0.12;  // s: two searches' times of one contact differ by less, hidden ones included
constexpr double kMeet = 0.025;        // m: centres' distance less the radii, where paths are said to meet

struct Meeting {
  double time = 0, miss = 1e9;
};

// When the two centres come nearest to touching in [from, to].
Meeting meeting(const Chain& a, const Chain& b, const Cloth& c, double from, double to) {
  Meeting best;
  constexpr double kStep = 0.001;  // s
  for (double t = from; t <= to; t += kStep) {
    const double miss = std::abs((a.at(t, c) - b.at(t, c)).norm() - a.radius - b.radius);
    if (miss < best.miss) best = {t, miss};
  }
  return best;
}

std::size_t insert_leg(Problem& problem, std::size_t i, double time, const Touch& touch) {
  Chain& chain = problem.chains[i];
  const std::size_t k = chain.leg_at(time);
  const Leg& in = chain.legs[k].leg;
  ChainLeg next;
  next.touch = touch;
  next.leg.t = std::max(time, in.t + 2e-4);
  next.leg.p = in.at(next.leg.t, problem.cloth);
  next.leg.v = in.velocity_at(next.leg.t, problem.cloth);
  next.leg.w = in.slip_at(next.leg.t, problem.cloth);
  chain.legs.insert(chain.legs.begin() + static_cast<std::ptrdiff_t>(k) + 1, next);
  for (Chain& other : problem.chains)
    for (ChainLeg& l : other.legs)
      if (l.touch.other_chain == static_cast<int>(i) && l.touch.other_leg > static_cast<int>(k)) ++l.touch.other_leg;
  return k + 1;
}

void pair_up(Problem& problem, std::size_t i, std::size_t k, std::size_t j, std::size_t l) {
  Touch& a = problem.chains[i].legs[k].touch;
  Touch& b = problem.chains[j].legs[l].touch;
  a.kind = b.kind = Touch::Kind::ball;
  a.ball = problem.chains[j].ball;
  b.ball = problem.chains[i].ball;
  a.other_chain = static_cast<int>(j);
  a.other_leg = static_cast<int>(l);
  b.other_chain = static_cast<int>(i);
  b.other_leg = static_cast<int>(k);
  const double time = l == 0   ? problem.chains[i].legs[k].leg.t
                      : k == 0 ? problem.chains[j].legs[l].leg.t
                               : 0.5 * (problem.chains[i].legs[k].leg.t + problem.chains[j].legs[l].leg.t);
  problem.chains[i].legs[k].leg.t = problem.chains[j].legs[l].leg.t = time;
}

Touch ball_touch(const Chain& other) {
  Touch t;
  t.kind = Touch::Kind::ball;
  t.ball = other.ball;
  t.radius = other.radius;
  t.mass = other.mass;
  return t;
}

}  // namespace

void link(Problem& problem) {
  auto& chains = problem.chains;
  for (Chain& c : chains)
    for (ChainLeg& l : c.legs) l.touch.other_chain = l.touch.other_leg = -1;
  // Contacts that both searches found, or that are the other's start.
  for (std::size_t i = 0; i < chains.size(); ++i) {
    for (std::size_t k = 0; k < chains[i].legs.size(); ++k) {
      const Touch& touch = chains[i].legs[k].touch;
      if (touch.kind != Touch::Kind::ball || touch.other_chain >= 0) continue;
      for (std::size_t j = 0; j < chains.size(); ++j) {
        if (j == i || chains[j].ball != touch.ball) continue;
        std::optional<std::size_t> best;
        double gap = kSameInstant;
        for (std::size_t l = 0; l < chains[j].legs.size(); ++l) {
          const Touch& other = chains[j].legs[l].touch;
          const bool fits = (l == 0 && k > 0 && chains[j].start && other.other_chain < 0) ||
                            (other.kind == Touch::Kind::ball && other.ball == chains[i].ball && other.other_chain < 0);
          const double d = std::abs(chains[j].legs[l].leg.t - chains[i].legs[k].leg.t);
          if (fits && d < gap) gap = d, best = l;
        }
        // A ball that lay there began when it was hit, however late it was seen to move.
        const ChainLeg& start = chains[j].legs[0];
        if (!best && k > 0 && chains[j].start && start.touch.other_chain < 0 &&
            start.touch.kind == Touch::Kind::start && chains[i].legs[k].leg.t < start.leg.t)
          best = 0;
        if (best) {
          pair_up(problem, i, k, j, *best);
        } else {
          const double t = chains[i].legs[k].leg.t;
          const std::size_t l = insert_leg(problem, j, t, ball_touch(chains[i]));
          pair_up(problem, i, k, j, l);
        }
        break;
      }
    }
  }
  // Starts without a hitter.
  for (std::size_t j = 0; j < chains.size(); ++j) {
    if (chains[j].legs[0].touch.kind != Touch::Kind::start || !chains[j].start) continue;
    const double t = chains[j].legs[0].leg.t;
    std::optional<std::size_t> who;
    Meeting best;
    best.miss = kMeet;
    for (std::size_t i = 0; i < chains.size(); ++i) {
      if (i == j || chains[i].legs[0].leg.t >= t) continue;
      // Nothing sends a ball off faster than it came itself (equal masses); twice that, for what is read badly. (A red
      // that seemed to creep in a player's shade had "hit" the white beside it as that was struck.)
      constexpr double kTwice = 2, kCreeps = 0.1;  // of its speed; m/s. Chosen
      const double came = chains[i].velocity_at(t, problem.cloth).norm();
      if (chains[j].legs[0].leg.v.norm() > kTwice * came + kCreeps) continue;
      const Meeting m = meeting(chains[i], chains[j], problem.cloth, t - 0.06, t + 0.03);
      if (m.miss < best.miss && chains[i].legs[0].leg.t < m.time) best = m, who = i;
    }
    if (!who) continue;
    const std::size_t k = insert_leg(problem, *who, best.time, ball_touch(chains[j]));
    pair_up(problem, *who, k, j, 0);
  }
}

bool drop_idle_contacts(Problem& problem) {
  constexpr double kIdle = 0.004;  // m/s: a smaller change of velocity cannot be told from none
  for (std::size_t i = 0; i < problem.chains.size(); ++i) {
    for (std::size_t k = 1; k < problem.chains[i].legs.size(); ++k) {
      const Touch& a = problem.chains[i].legs[k].touch;
      if (a.kind != Touch::Kind::ball || a.other_chain < 0 || a.other_leg <= 0) continue;
      const auto j = static_cast<std::size_t>(a.other_chain), l = static_cast<std::size_t>(a.other_leg);
      const auto change = [&](std::size_t c, std::size_t leg) {
        const Leg& out = problem.chains[c].legs[leg].leg;
        return (out.v - problem.chains[c].legs[leg - 1].leg.velocity_at(out.t, problem.cloth)).norm();
      };
      // The same two balls do not meet twice within this, s.
      constexpr double kAgain = 0.03;
      const ChainLeg& last = problem.chains[i].legs[k - 1];
      const bool again = last.touch.kind == Touch::Kind::ball && last.touch.ball == a.ball &&
                         problem.chains[i].legs[k].leg.t - last.leg.t < kAgain;
      if (!again && (change(i, k) > kIdle || change(j, l) > kIdle)) continue;
      problem.chains[i].legs.erase(problem.chains[i].legs.begin() + static_cast<std::ptrdiff_t>(k));
      problem.chains[j].legs.erase(problem.chains[j].legs.begin() + static_cast<std::ptrdiff_t>(l));
      return true;
    }
  }
  return false;
}

}  // namespace baizetrace::path
