#include "path/contact.hpp"

#include <algorithm>
#include <cmath>

#include "path/explain.hpp"
#include "path/impact.hpp"
#include "path/window.hpp"

namespace baizetrace::path {
namespace {

// A contact more must be worth this much of the cost (half squared sd): an information criterion's price of its
// five unknowns, ln(n) / 2 each, at some tens of sightings. A sighting left out as false costs as much.
constexpr double kPriceOfContact = 8.0;
constexpr double kPriceOfFalse = 8.0;
// An explanation dearer than this makes one look for a false sighting before the contact.
constexpr double kDear = 30.0;

struct Best {
  double cost = 1e18;
  std::optional<Chain> chain;
  Cloth cloth;
  std::size_t end = 0;
};

// One of the sightings after a contact may be false: the one that all others contradict.
void leave_one_out(Chain& chain, const Cloth& cloth, std::size_t from, std::size_t end) {
  std::size_t worst = end;
  int bad = 0;
  for (std::size_t i = from; i < end; ++i) {
    const Seen& s = chain.seen[i];
    if (s.trusted && off(s, chain.at(s.time, cloth)) > kOff) ++bad, worst = i;
  }
  if (bad == 1) chain.seen[worst].trusted = false;
}

}  // namespace

bool rattles_on(const Chain& chain) {
  // A ball in a pocket's jaws falls or leaves sooner (common practice, no source).
  constexpr std::size_t kMostRattles = 6;
  constexpr double kMouth = 0.12;  // m
  if (chain.legs.size() <= kMostRattles) return false;
  const ChainLeg& last = chain.legs.back();
  return std::all_of(chain.legs.end() - kMostRattles - 1, chain.legs.end(), [&](const ChainLeg& l) {
    return l.touch.kind == Touch::Kind::surface && (l.leg.p - last.leg.p).norm() < kMouth;
  });
}

namespace {

// Contacts in order, and no ball faster after its last ones than what drove it.
bool plausible(const Chain& chain, const Cloth& cloth, std::size_t contacts) {
  constexpr double kGain = 1.05, kSlack = 0.1;  // and m/s: what the fit may be wrong by
  // Balls that have struck each other part; the same two meet again only after something else, or much later.
  constexpr double kSamePair = 0.02;  // s
  if (rattles_on(chain)) return false;
  for (std::size_t i = 1; i < chain.legs.size(); ++i) {
    const Leg& out = chain.legs[i].leg;
    if (out.t <= chain.legs[i - 1].leg.t) return false;
    const Touch &now = chain.legs[i].touch, &before = chain.legs[i - 1].touch;
    if (now.kind == Touch::Kind::ball && before.kind == Touch::Kind::ball && now.ball == before.ball &&
        out.t - chain.legs[i - 1].leg.t < kSamePair)
      return false;
    if (i + contacts < chain.legs.size()) continue;
    const double driven =
        std::max(chain.legs[i - 1].leg.velocity_at(out.t, cloth).norm(), chain.legs[i].touch.velocity.norm());
    if (out.v.norm() > kGain * driven + kSlack) return false;
  }
  return true;
}

void put(Chain& chain, const Cloth& cloth, const std::vector<Guess>& guesses) {
  for (const Guess& g : guesses) {
    ChainLeg next;
    next.touch = g.touch;
    const Leg& in = chain.legs.back().leg;
    next.leg.t = std::max(g.time, in.t + 2e-4);
    next.leg.p = in.at(next.leg.t, cloth);
    next.leg.v = g.v;
    next.leg.w = g.w;
    chain.legs.push_back(next);
  }
}

// The last leg's velocity from the sightings in [j, end) for a given begin, deaf to sightings far off. A ball contact
// keeps the spin: what the slide takes follows from the change of velocity. Returns the cost.
double start_velocity(Chain& chain, const Cloth& cloth, std::size_t j, std::size_t end) {
  const Leg in = chain.legs[chain.legs.size() - 2].leg;
  Leg& leg = chain.legs.back().leg;
  const bool ball = chain.legs.back().touch.kind == Touch::Kind::ball;
  const Vec2 v_in = in.velocity_at(leg.t, cloth), w_in = in.slip_at(leg.t, cloth);
  std::size_t first = j;
  while (first < end && !chain.seen[first].trusted) ++first;
  if (first == end) return 1e18;
  constexpr double kBlunt = 25.0;  // squared sd at which a sighting counts half
  if (ball) {
    const Seen& s = chain.seen[end - 1];
    leg.v = (s.at - leg.p) / std::max(s.time - leg.t, 0.01);
  }
  double cost = 0;
  for (int iteration = 0; iteration < 5; ++iteration) {
    if (ball) leg.w = w_in + kSlipShare * (leg.v - v_in);
    Mat2 h = 1e-6 * Mat2::Identity();
    Vec2 g = Vec2::Zero();
    cost = 0;
    for (std::size_t i = j; i < end; ++i) {
      const Seen& s = chain.seen[i];
      if (!s.trusted) continue;
      const LegSlopes d = slopes(leg, s.time, cloth);
      const Mat2 by = s.root * (d.by_v + (ball ? kSlipShare : 0.0) * d.by_w);
      const Vec2 r = s.root * (d.at - s.at);
      const double d2 = r.squaredNorm();
      // The first passes take all sightings alike.
      const double weight = iteration < 2 ? 1.0 : 1 / (1 + d2 / kBlunt);
      cost += 0.5 * kBlunt * std::log1p(d2 / kBlunt);
      h += weight * by.transpose() * by;
      g += weight * by.transpose() * r;
    }
    leg.v -= h.ldlt().solve(g);
  }
  if (ball) {
    leg.w = w_in + kSlipShare * (leg.v - v_in);
    const Touch& t = chain.legs.back().touch;
    const double miss = (t.place + t.velocity * (leg.t - t.time) - leg.p).norm() - t.radius - chain.radius;
    constexpr double kMissSd = 0.002;  // m: the incoming path is known to about this so far
    cost += 0.5 * std::pow(miss / kMissSd, 2);
  }
  return cost;
}

// Puts the guesses in, the last one at the instant that the sightings like best.
void put_best(Chain& chain, const Cloth& cloth, std::vector<Guess> guesses, double earliest, double latest,
              std::size_t j, std::size_t end) {
  const Chain begun = chain;
  if (guesses.size() > 1) earliest = std::max(earliest, guesses[guesses.size() - 2].time + 2e-4);
  const bool ball = guesses.back().touch.kind == Touch::Kind::ball;
  std::vector<double> times{std::min(guesses.back().time, std::max(latest, earliest))};
  constexpr int kInstants = 24;
  if (ball && latest > earliest)
    for (int i = 0; i <= kInstants; ++i) times.push_back(earliest + (latest - earliest) * i / kInstants);
  double best = 1e18;
  for (const double t : times) {
    Chain tried = begun;
    guesses.back().time = t;
    put(tried, cloth, guesses);
    const Leg expected = tried.legs.back().leg;
    const double cost = start_velocity(tried, cloth, j, end);
    // A cushion's rebound is expected well enough to start from.
    if (!ball) tried.legs.back().leg.v = 0.5 * (expected.v + tried.legs.back().leg.v);
    if (cost >= best) continue;
    best = cost;
    chain = std::move(tried);
  }
}

void try_all(const Chain& chain, const Cloth& begun, const World& world, std::size_t j, double price, Best& best) {
  const double leg_begins = chain.legs.back().leg.t;
  // From the last but one sighting before the break to the first behind it.
  std::size_t last = j, before = j;
  for (int i = 0; i < 2 && before > 0; ++i) {
    --before;
    while (before > 0 && !chain.seen[before].trusted) --before;
    if (i == 0) last = before;
  }
  constexpr double kBack = 0.05;    // s: at least this far before the break
  constexpr double kAfter = 0.004;  // s: the path's end is known to about this
  const double from = std::max(leg_begins + 2e-4, std::min(chain.seen[before].time, chain.seen[j].time - kBack));
  const double to = chain.seen[j].time + kAfter;
  if (!(to > from)) return;
  auto tries = explanations(chain, world, begun, from, to, 3);
  // Fewer contacts first; more of them only when they pay.
  std::stable_sort(tries.begin(), tries.end(), [](const auto& a, const auto& b) { return a.size() < b.size(); });
  for (const std::size_t ahead : {std::size_t{4}, std::size_t{2}, std::size_t{1}}) {
    std::size_t end = j, taken = 0;
    while (end < chain.seen.size() && taken < ahead) taken += chain.seen[end++].trusted;
    if (taken < ahead && ahead > 1 && end < chain.seen.size()) continue;
    bool found = false;
    for (const auto& guesses : tries) {
      Chain tried = chain;
      Cloth cloth = begun;
      const double earliest = std::max(leg_begins + 2e-4, chain.seen[last].time - 0.004);
      put_best(tried, cloth, guesses, earliest, chain.seen[j].time - 0.0005, j, end);
      const bool slides = guesses.back().touch.kind == Touch::Kind::ball;
      const std::size_t back = guesses.size() + 1;
      double cost = slides ? fit_reseeded(tried, world, cloth, end, back)
                           : fit_window(tried, world, cloth, end, kThorough, back, kGentlePass);
      // Explanations of fewer sightings are compared by what they leave unexplained.
      cost += price + kPriceOfContact * static_cast<double>(guesses.size()) + 4.0 * static_cast<double>(4 - ahead);
      if (cost >= best.cost || !plausible(tried, cloth, guesses.size())) continue;
      if (taken >= 4) leave_one_out(tried, cloth, j, end);
      if (!explains(tried, world, cloth, j, end)) continue;
      best.cost = cost;
      best.chain = std::move(tried);
      best.cloth = cloth;
      best.end = end;
      found = true;
    }
    if (found) return;
  }
}

}  // namespace

std::size_t find_contact(Found& found, const World& world, std::size_t j) {
  Best best;
  try_all(found.chain, found.cloth, world, j, 0, best);
  if (!best.chain || best.cost > kDear) {
    // A false sighting among the last ones before the contact bends the leg that leads to it.
    constexpr int kLookBack = 6;
    int looked = 0;
    for (std::size_t i = j; i-- > 0 && looked < kLookBack;) {
      const Seen& s = found.chain.seen[i];
      if (s.time < found.chain.legs.back().leg.t) break;
      if (!s.trusted) continue;
      ++looked;
      Chain without = found.chain;
      Cloth cloth = found.cloth;
      without.seen[i].trusted = false;
      fit_window(without, world, cloth, j, kThorough, 2, kGentlePass);
      try_all(without, cloth, world, j, kPriceOfFalse, best);
    }
  }
  if (!best.chain) return 0;
  found.chain = std::move(*best.chain);
  found.cloth = best.cloth;
  return best.end;
}

}  // namespace baizetrace::path
