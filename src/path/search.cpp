#include "path/search.hpp"

#include <algorithm>
#include <cmath>

#include "path/explain.hpp"
#include "path/impact.hpp"

namespace baizetrace::path {
namespace {

// What a leg may miss a sighting by beside its stated error: model and picture, m.
constexpr double kModelSd = 0.0005;
// Squared standard deviations (two degrees of freedom) beyond which a sighting is not explained.
constexpr double kOff = 18.0;
// A contact more must be worth this much of the cost (half squared sd): an information criterion's price of its
// five unknowns, ln(n) / 2 each, at some tens of sightings.
constexpr double kPriceOfContact = 8.0;

// Iterations where a leg begins: contact time, slide and velocity depend on each other along a narrow valley.
constexpr int kThorough = 30, kGentle = 20;

double off(const Seen& s, const Vec2& at) { return (s.root * (at - s.at)).squaredNorm(); }

std::vector<Seen> prepare(const BallTrack& track, const World& world) {
  std::vector<Seen> out;
  bool fallen = false;
  for (const Sighting& s : track.seen) {
    bool possible = true;
    for (const Surface& f : world.surfaces) {
      // Inside a fall circle it drops; behind a nose it cannot be.
      constexpr double kBehind = 0.012;  // m
      const double g = f.gap(s.at);
      if (f.kind == ContactKind::pocket && g < 0) fallen = true;
      if (f.kind == ContactKind::cushion && g < -kBehind && g > -0.2 && f.reaches(s.at, 0)) possible = false;
    }
    Seen seen;
    seen.time = s.time;
    seen.at = s.at;
    const Mat2 c = s.covariance + kModelSd * kModelSd * Mat2::Identity();
    seen.root = Mat2(c.inverse().llt().matrixU());
    seen.sd = std::sqrt(0.5 * c.trace());
    // What has been seen to drop does not come back; a ball at rest over the edge of the fall would not drop.
    seen.trusted = possible && !(fallen && !track.after);
    out.push_back(seen);
  }
  return out;
}

// The last two legs of a chain, with the sightings up to index `end`.
Problem window(const Chain& chain, const World& world, const Cloth& cloth, std::size_t end, std::size_t back) {
  Problem p;
  p.cloth = cloth;
  p.prior = world.cloth;
  p.slide_sd = world.slide_sd;
  p.roll_sd = world.roll_sd;
  p.impact = world.impact;
  Chain w = chain;
  const std::size_t first = chain.legs.size() > back ? chain.legs.size() - back : 0;
  w.legs.assign(chain.legs.begin() + static_cast<std::ptrdiff_t>(first), chain.legs.end());
  if (first > 0) {
    w.start_free = false;
    w.start.reset();
    w.legs[0].touch = {};
    w.legs[0].touch.kind = Touch::Kind::unknown;
  }
  w.rest.reset();
  w.seen.clear();
  for (std::size_t i = 0; i < end; ++i)
    if (first == 0 || chain.seen[i].time >= w.legs[0].leg.t) w.seen.push_back(chain.seen[i]);
  p.chains.push_back(std::move(w));
  return p;
}

double fit_window(Chain& chain, const World& world, Cloth& cloth, std::size_t end, int iterations,
                  std::size_t back = 2, int gentle = 0) {
  Problem p = window(chain, world, cloth, end, back);
  const FitSummary s = fit(p, {.iterations = iterations, .gentle = gentle});
  const std::size_t n = p.chains[0].legs.size();
  for (std::size_t i = 0; i < n; ++i) chain.legs[chain.legs.size() - n + i].leg = p.chains[0].legs[i].leg;
  cloth = p.cloth;
  return s.cost;
}

class Reader {
 public:
  // `vanishes`: the track ends without a stay.
  Reader(Chain chain, const World& world, bool vanishes) : world_(world), vanishes_(vanishes) {
    found_.chain = std::move(chain);
    found_.cloth = world.cloth;
  }

  // Reads from sighting `next` to the end.
  void read(std::size_t next) {
    std::size_t block = 2;
    Chain& chain = found_.chain;
    const std::size_t n = chain.seen.size();
    while (next < n) {
      if (!chain.seen[next].trusted) {
        ++next;
        continue;
      }
      const std::size_t end = std::min(n, next + block);
      Chain tried = chain;
      Cloth cloth = found_.cloth;
      fit_window(tried, world_, cloth, end, 6);
      if (explains(tried, cloth, next > 2 ? next - 2 : 0, end)) {
        chain = std::move(tried);
        found_.cloth = cloth;
        next = end;
        block = std::min<std::size_t>(block * 2, 32);
        continue;
      }
      if (end - next > 1) {
        block = std::max<std::size_t>(1, (end - next) / 2);
        continue;
      }
      if (young(chain, next)) {
        // Too few sightings yet for the slide: it may have settled wrong.
        tried = chain;
        cloth = found_.cloth;
        fit_reseeded(tried, cloth, end, 2);
        if (explains(tried, cloth, next > 3 ? next - 3 : 0, end)) {
          chain = std::move(tried);
          found_.cloth = cloth;
          next = end;
          continue;
        }
        if (const std::size_t went = without_one(next)) {
          next = went;
          continue;
        }
      }
      if (false_sighting(next)) {
        chain.seen[next].trusted = false;
        ++next;
        continue;
      }
      const std::size_t went = contact(next);
      if (went == 0) {
        found_.lost = !(vanishes_ && falling(chain.seen[next].time));
        found_.lost_at = chain.seen[next].time;
        for (std::size_t i = next; i < n; ++i) chain.seen[i].trusted = false;
        return;
      }
      next = went;
      block = 2;
    }
  }

  Found found_;

 private:
  // The last leg has hardly been seen.
  static bool young(const Chain& chain, std::size_t next) {
    constexpr int kYoung = 12;  // sightings
    int n = 0;
    for (std::size_t i = 0; i < next; ++i) n += chain.seen[i].trusted && chain.seen[i].time > chain.legs.back().leg.t;
    return n < kYoung;
  }

  // The window's fit from several slides: which way a ball slides is not seen in its first sightings, and the fit
  // does not turn a slide round by itself. Returns the least cost.
  double fit_reseeded(Chain& chain, Cloth& cloth, std::size_t end, std::size_t back) const {
    const Chain begun = chain;
    const Cloth cloth_begun = cloth;
    double best = fit_window(chain, world_, cloth, end, kThorough, back, kGentle);
    const std::size_t last = begun.legs.size() - 1;
    const auto attempt = [&](double strike_share, double last_share) {
      Chain tried = begun;
      Cloth c = cloth_begun;
      const bool strike = tried.legs.size() <= back && tried.legs[0].touch.kind == Touch::Kind::start;
      if (strike) tried.legs[0].leg.w = strike_share * tried.legs[0].leg.v;
      Leg& leg = tried.legs[last].leg;
      if (last > 0 && tried.legs[last].touch.kind == Touch::Kind::ball) {
        const Leg& in = tried.legs[last - 1].leg;
        leg.w = in.slip_at(leg.t, c) + kSlipShare * (leg.v - in.velocity_at(leg.t, c)) + last_share * leg.v;
      } else if (last > 0) {
        leg.w += last_share * leg.v;
      }
      const double cost = fit_window(tried, world_, c, end, kThorough, back, kGentle);
      if (cost >= best) return;
      best = cost;
      chain = std::move(tried);
      cloth = c;
    };
    for (const double share : {-0.05, 0.2, 0.45}) attempt(share, 0.0);
    attempt(0.15, 0.3);
    attempt(0.15, -0.3);
    return best;
  }

  // Whether the last leg is on its way into a pocket about now: what is seen of a ball that drops is not followed.
  bool falling(double time) const {
    constexpr double kMouth = 0.10;  // m before the fall line
    const Leg& leg = found_.chain.legs.back().leg;
    for (const double t : {time - 0.06, time - 0.03, time})
      for (const Surface& s : world_.surfaces)
        if (s.kind == ContactKind::pocket && s.gap(leg.at(t, found_.cloth)) < kMouth &&
            leg.velocity_at(t, found_.cloth).dot(s.normal(leg.at(t, found_.cloth))) < 0)
          return true;
    return false;
  }

  bool explains(const Chain& chain, const Cloth& cloth, std::size_t from, std::size_t end) const {
    for (std::size_t i = from; i < end; ++i) {
      const Seen& s = chain.seen[i];
      if (s.trusted && off(s, chain.at(s.time, cloth)) > kOff) return false;
    }
    // Noses are never passed by more than the fit can be wrong.
    constexpr double kInto = 0.004;  // m
    const Leg& leg = chain.legs.back().leg;
    const double last = chain.seen[end - 1].time;
    const Vec2 p = leg.at(last, cloth);
    for (const Surface& s : world_.surfaces)
      if (s.kind == ContactKind::cushion && s.reaches(p, 0) && s.gap(p) < -kInto && s.gap(p) > -0.2) return false;
    return true;
  }

  // A sighting off the path, while those after it lie on it.
  bool false_sighting(std::size_t j) const {
    const Chain& chain = found_.chain;
    const double miss = (chain.at(chain.seen[j].time, found_.cloth) - chain.seen[j].at).norm();
    int on = 0, looked = 0, in_a_row = 0;
    for (std::size_t i = j + 1; i < chain.seen.size() && looked < 4; ++i) {
      const Seen& s = chain.seen[i];
      if (!s.trusted) continue;
      if (s.time - chain.seen[j].time > 0.4) break;
      ++looked;
      // The extrapolated path is known worse than the sighting: m at the end of the look ahead.
      constexpr double kExtrapolated = 0.003;
      const double d = (chain.at(s.time, found_.cloth) - s.at).norm();
      if (d < 4 * s.sd + kExtrapolated && d < 0.6 * miss) {
        ++on;
        in_a_row += looked == on;
      }
    }
    if (in_a_row >= 2) return true;
    return looked > 0 && on >= std::max(1, looked - 1) && (looked > 1 || j + 2 >= chain.seen.size());
  }

  // A leg hardly seen yet is led astray by one false sighting among its first: leaves each out in turn. Returns the
  // next sighting to read, 0: none of them is to blame.
  std::size_t without_one(std::size_t j) {
    const Chain& chain = found_.chain;
    for (const std::size_t ahead : {std::size_t{3}, std::size_t{2}}) {
      std::size_t end = j, taken = 0;
      while (end < chain.seen.size() && taken < ahead) taken += chain.seen[end++].trusted;
      if (taken < ahead) continue;
      double best = 1e18;
      std::optional<Chain> kept;
      Cloth kept_cloth;
      for (std::size_t i = 0; i < j; ++i) {
        if (!chain.seen[i].trusted || chain.seen[i].time < chain.legs.back().leg.t) continue;
        Chain tried = chain;
        Cloth cloth = found_.cloth;
        tried.seen[i].trusted = false;
        const double cost = fit_window(tried, world_, cloth, end, kThorough, 2, kGentle);
        if (cost >= best || !explains(tried, cloth, 0, end)) continue;
        best = cost;
        kept = std::move(tried);
        kept_cloth = cloth;
      }
      if (!kept) continue;
      found_.chain = std::move(*kept);
      found_.cloth = kept_cloth;
      return end;
    }
    return 0;
  }

  // One of the sightings after a contact may be false: the one that all others contradict.
  void leave_one_out(Chain& chain, const Cloth& cloth, std::size_t from, std::size_t end) const {
    std::size_t worst = end;
    int bad = 0;
    for (std::size_t i = from; i < end; ++i) {
      const Seen& s = chain.seen[i];
      if (s.trusted && off(s, chain.at(s.time, cloth)) > kOff) ++bad, worst = i;
    }
    if (bad == 1) chain.seen[worst].trusted = false;
  }

  // Puts the best explanation in; returns the next sighting to read, 0: none is good.
  std::size_t contact(std::size_t j) {
    const Chain& chain = found_.chain;
    const double leg_begins = chain.legs.back().leg.t;
    double from = leg_begins;
    std::size_t before = j;
    for (int i = 0; i < 2 && before > 0; ++i) {
      --before;
      while (before > 0 && !chain.seen[before].trusted) --before;
    }
    before_ = j;
    while (before_ > 0 && (before_ == j || !chain.seen[before_].trusted)) --before_;
    from = std::max(leg_begins + 2e-4, std::min(chain.seen[before].time, chain.seen[j].time - 0.05));
    const double to = chain.seen[j].time + 0.004;
    if (!(to > from)) return 0;
    double best = 1e18;
    std::optional<Chain> kept;
    std::size_t kept_end = 0;
    Cloth kept_cloth;
    auto tries = explanations(chain, world_, found_.cloth, from, to, 3);
    if(getenv("PXD")) { fprintf(stderr,"   %s break at %zu t=%.3f leg v=(%.3f %.3f) w=(%.3f %.3f) tries %zu legs %zu\n",chain.ball.c_str(),j,chain.seen[j].time,chain.legs.back().leg.v.x(),chain.legs.back().leg.v.y(),chain.legs.back().leg.w.x(),chain.legs.back().leg.w.y(),tries.size(),chain.legs.size()); for(auto&g:tries){for(auto&q:g)fprintf(stderr," [%s %s %.3f]",q.touch.kind==Touch::Kind::ball?"ball":"surf",q.touch.kind==Touch::Kind::ball?q.touch.ball.c_str():q.touch.surface.name.c_str(),q.time);fprintf(stderr,"\n");} for(size_t i=j>3?j-3:0;i<std::min(j+5,chain.seen.size());++i)fprintf(stderr,"      %zu t %.3f off %.1f trusted %d (%.4f %.4f)\n",i,chain.seen[i].time,off(chain.seen[i],chain.at(chain.seen[i].time,found_.cloth)),(int)chain.seen[i].trusted,chain.seen[i].at.x(),chain.seen[i].at.y());}
    // Fewer contacts first; more of them only when they pay.
    std::stable_sort(tries.begin(), tries.end(), [](const auto& a, const auto& b) { return a.size() < b.size(); });
    for (const std::size_t ahead : {std::size_t{4}, std::size_t{2}, std::size_t{1}}) {
      std::size_t end = j, taken = 0;
      while (end < chain.seen.size() && taken < ahead) taken += chain.seen[end++].trusted;
      if (taken < ahead && ahead > 1 && end < chain.seen.size()) continue;
      for (const auto& guesses : tries) {
        Chain tried = chain;
        Cloth cloth = found_.cloth;
        start_best(tried, guesses, j, end);
        const bool slides = guesses.back().touch.kind == Touch::Kind::ball;
        const double cost = (slides ? fit_reseeded(tried, cloth, end, guesses.size() + 1)
                                    : fit_window(tried, world_, cloth, end, kThorough, guesses.size() + 1, kGentle)) +
                            kPriceOfContact * static_cast<double>(guesses.size());
        if(getenv("PXD")) {fprintf(stderr,"     ahead %zu n %zu cost %.1f order %d leg t %.4f v %.3f %.3f w %.3f %.3f:",ahead,guesses.size(),cost,(int)plausible(tried,cloth,1),tried.legs.back().leg.t,tried.legs.back().leg.v.x(),tried.legs.back().leg.v.y(),tried.legs.back().leg.w.x(),tried.legs.back().leg.w.y()); for(size_t i=j>5?j-5:0;i<end;++i)fprintf(stderr," %.1f%s",off(tried.seen[i],tried.at(tried.seen[i].time,cloth)),tried.seen[i].trusted?"":"x"); fprintf(stderr,"\n");}
        if (cost >= best || !plausible(tried, cloth, guesses.size())) continue;
        if (taken >= 4) leave_one_out(tried, cloth, j, end);
        if (!explains(tried, cloth, j, end)) continue;
        best = cost;
        kept = std::move(tried);
        kept_end = end;
        kept_cloth = cloth;
      }
      if (kept) break;
    }
    if (!kept) return 0;
    found_.chain = std::move(*kept);
    found_.cloth = kept_cloth;
    return kept_end;
  }

  // Contacts in order, and no ball faster after its last ones than what drove it.
  static bool plausible(const Chain& chain, const Cloth& cloth, std::size_t contacts) {
    constexpr double kGain = 1.05, kSlack = 0.1;  // and m/s: what the fit may be wrong by
    for (std::size_t i = 1; i < chain.legs.size(); ++i) {
      const Leg& out = chain.legs[i].leg;
      if (out.t <= chain.legs[i - 1].leg.t) return false;
      if (i + contacts < chain.legs.size()) continue;
      const double driven = std::max(chain.legs[i - 1].leg.velocity_at(out.t, cloth).norm(), chain.legs[i].touch.velocity.norm());
      if (out.v.norm() > kGain * driven + kSlack) return false;
    }
    return true;
  }

  // Puts the guesses in with the time of the last one where the sightings like it best.
  void start_best(Chain& chain, std::vector<Guess> guesses, std::size_t j, std::size_t end) const {
    const Chain begun = chain;
    const double t = guesses.back().time;
    const double latest = chain.seen[j].time - 0.001, earliest = chain.seen[before_].time;
    const double floor = guesses.size() > 1 ? guesses[guesses.size() - 2].time : earliest;
    double best = 1e18;
    for (const double when : {t, latest, latest - 0.005, latest - 0.010, 0.5 * (earliest + latest), earliest}) {
      if (when < floor || (when > latest && when != t)) continue;
      guesses.back().time = when;
      Chain tried = begun;
      put(tried, guesses, j, end);
      Cloth cloth = found_.cloth;
      const double cost = fit_window(tried, world_, cloth, end, 5, guesses.size() + 1, 5);
      if (cost >= best) continue;
      best = cost;
      chain = std::move(tried);
    }
    if (best == 1e18) put(chain, guesses, j, end);
  }

  void put(Chain& chain, const std::vector<Guess>& guesses, std::size_t j, std::size_t end) const {
    for (std::size_t g = 0; g < guesses.size(); ++g) {
      ChainLeg next;
      next.touch = guesses[g].touch;
      const Leg& in = chain.legs.back().leg;
      next.leg.t = std::max(guesses[g].time, in.t + 2e-4);
      next.leg.p = in.at(next.leg.t, found_.cloth);
      next.leg.v = guesses[g].v;
      next.leg.w = guesses[g].w;
      if (g + 1 == guesses.size()) {
        // What is seen after it tells its velocity.
        std::size_t last = j;
        for (std::size_t i = j; i < end; ++i)
          if (chain.seen[i].trusted) last = i;
        const Seen& s = chain.seen[last];
        const double dt = s.time - next.leg.t;
        const Vec2 mean = dt > 1e-3 ? Vec2((s.at - next.leg.p) / dt) : guesses[g].v;
        if (!guesses[g].v_known) {
          next.leg.v = mean;
          const Vec2 v_in = in.velocity_at(next.leg.t, found_.cloth);
          next.leg.w = in.slip_at(next.leg.t, found_.cloth) + kSlipShare * (next.leg.v - v_in);
        } else if (dt > 0.03) {
          next.leg.v = 0.5 * (next.leg.v + mean);
        }
      }
      chain.legs.push_back(next);
    }
  }

  const World& world_;
  const bool vanishes_;
  std::size_t before_ = 0;  // the last trusted sighting before a break
};

}  // namespace

std::optional<std::pair<Vec2, Vec2>> Other::at(double time) const {
  if (chain && !chain->legs.empty()) return std::make_pair(chain->at(time, cloth), chain->velocity_at(time, cloth));
  if (!track) return std::nullopt;
  const auto& seen = track->seen;
  constexpr double kOwnPlace = 0.004;  // m: within this of its resting place it has not left
  std::size_t first = 0;
  if (track->before) {
    while (first < seen.size() && (seen[first].at - track->before->at).norm() < kOwnPlace) ++first;
    if (first >= seen.size() || time <= seen[first].time) {
      // Until it is seen elsewhere it is at its place, for a contact's purpose.
      return std::make_pair(track->before->at, Vec2(Vec2::Zero()));
    }
  }
  for (std::size_t i = std::max<std::size_t>(first, 1); i < seen.size(); ++i) {
    if (seen[i].time < time || seen[i - 1].time > time) continue;
    const double dt = seen[i].time - seen[i - 1].time;
    if (dt <= 0) continue;
    const Vec2 v = (seen[i].at - seen[i - 1].at) / dt;
    return std::make_pair(Vec2(seen[i - 1].at + v * (time - seen[i - 1].time)), v);
  }
  if (track->after && (seen.empty() || time > seen.back().time)) return std::make_pair(track->after->at, Vec2(Vec2::Zero()));
  return std::nullopt;
}

std::optional<Found> search(const BallTrack& track, double radius, double mass, const World& world) {
  Chain chain;
  chain.ball = track.ball;
  chain.radius = radius;
  chain.mass = mass;
  chain.seen = prepare(track, world);
  const std::size_t n = chain.seen.size();
  ChainLeg first;
  std::size_t next = 0;
  if (track.before) {
    Anchor a;
    a.at = track.before->at;
    constexpr double kStartSd = 0.0003;  // m: same ball, same place in the picture, but another light around it
    const Mat2 c = track.before->covariance + kStartSd * kStartSd * Mat2::Identity();
    a.root = Mat2(c.inverse().llt().matrixU());
    chain.start = a;
    first.leg.p = a.at;
    // The first two sightings on the move.
    const auto away = [&](std::size_t i) {
      return chain.seen[i].trusted && (chain.seen[i].at - a.at).norm() > 5 * chain.seen[i].sd + 0.002;
    };
    std::size_t i = 0;
    while (i < n && !(away(i) && (i + 1 >= n || away(i + 1)))) ++i;
    if (i + 1 >= n) return std::nullopt;
    std::size_t k = i + 1;
    while (k < n && !chain.seen[k].trusted) ++k;
    if (k >= n) return std::nullopt;
    // Strays before the motion, off the resting place.
    for (std::size_t q = 0; q < i; ++q)
      if ((chain.seen[q].at - a.at).norm() > 5 * chain.seen[q].sd + 0.002) chain.seen[q].trusted = false;
    const Seen &s0 = chain.seen[i], &s1 = chain.seen[k];
    const double run = (s0.at - a.at).norm();
    double speed = (s1.at - s0.at).norm() / std::max(s1.time - s0.time, 1e-3);
    double t0 = s0.time - run / std::max(speed, 0.05);
    // It lay at its place when last seen there.
    for (std::size_t q = 0; q < i; ++q)
      if (chain.seen[q].trusted) t0 = std::max(t0, chain.seen[q].time);
    t0 = std::min(t0, s0.time - 1e-3);
    first.leg.t = t0;
    first.leg.v = (s0.at - a.at) / (s0.time - t0);
    next = i + 1;
  } else {
    if (n < 3) return std::nullopt;
    chain.start_free = false;
    first.touch.kind = Touch::Kind::unknown;
    first.leg.t = chain.seen[0].time;
    first.leg.p = chain.seen[0].at;
    first.leg.v = (chain.seen[1].at - chain.seen[0].at) / std::max(chain.seen[1].time - chain.seen[0].time, 1e-3);
    next = 1;
  }
  chain.legs.push_back(first);
  Reader reader(std::move(chain), world, !track.after);
  reader.read(next);
  Found found = std::move(reader.found_);
  const double begins = found.chain.legs[0].leg.t;
  for (const Seen& s : found.chain.seen) {
    if (s.time < begins) continue;
    ++found.moving;
    found.trusted += s.trusted;
  }
  if (track.after && !found.lost) {
    Anchor a;
    a.at = track.after->at;
    constexpr double kRestSd = 0.0003;  // m, as at the start
    const Mat2 c = track.after->covariance + kRestSd * kRestSd * Mat2::Identity();
    a.root = Mat2(c.inverse().llt().matrixU());
    found.chain.rest = a;
  }
  return found;
}

namespace {

// A ball that vanished beside a pocket after its jaw fell there, even where the last leg, hardly seen, just misses.
void nearly(Found& found, const World& world, double from, double to) {
  constexpr double kNearly = 0.03;  // m
  const Leg& leg = found.chain.legs.back().leg;
  double best = kNearly;
  for (const Surface& s : world.surfaces) {
    if (s.kind != ContactKind::pocket) continue;
    for (double t = from; t <= to; t += 0.002) {
      const double g = s.gap(leg.at(t, found.cloth));
      if (g < best) best = g, found.pocket = s.name, found.pocket_time = t;
    }
  }
}

}  // namespace

void find_fall(Found& found, const World& world, double last_seen, double within) {
  Chain& chain = found.chain;
  found.pocket.reset();
  for (int touches = 0; touches < 3; ++touches) {
    const Leg& leg = chain.legs.back().leg;
    const double from = std::max(leg.t + 1e-4, std::min(last_seen, leg.rests(found.cloth)));
    std::optional<double> first;
    const Surface* what = nullptr;
    for (const Surface& s : world.surfaces) {
      if (s.kind == ContactKind::cushion) continue;
      const bool again = chain.legs.back().touch.kind == Touch::Kind::surface &&
                         (chain.legs.back().touch.surface.centre - s.centre).norm() < 1e-9;
      if (again) continue;
      // A jaw out of sight counts only where the path would run into it, not along it.
      constexpr double kSurelyInto = 0.0015;  // m
      const double level = s.kind == ContactKind::jaw ? -kSurelyInto : 0.0;
      const auto t = first_touch(leg, found.cloth, s, from - 0.02, last_seen + within, 0.0, level);
      if (t && (!first || *t < *first)) first = t, what = &s;
    }
    if (!what) {
      nearly(found, world, from, last_seen + within);
      return;
    }
    if (what->kind == ContactKind::pocket) {
      found.pocket = what->name;
      found.pocket_time = *first;
      return;
    }
    ChainLeg next;
    next.touch.kind = Touch::Kind::surface;
    next.touch.surface = *what;
    next.leg.t = *first;
    next.leg.p = leg.at(*first, found.cloth);
    ImpactState in;
    in.at = next.leg.p;
    in.v_in = leg.velocity_at(*first, found.cloth);
    expect_after_surface(next.touch, world.impact, in, next.leg.v, next.leg.w);
    chain.legs.push_back(next);
  }
}

}  // namespace baizetrace::path
