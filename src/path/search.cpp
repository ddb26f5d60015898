#include "path/search.hpp"

#include <algorithm>
#include <cmath>
#include <tuple>

#include "path/contact.hpp"
#include "path/hidden.hpp"
#include "path/nose_first.hpp"
#include "path/window.hpp"

namespace baizetrace::path {
namespace {

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
      if (explains(tried, world_, cloth, next > 2 ? next - 2 : 0, end)) {
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
      constexpr int kSlideUnsure = 40, kLedAstray = 12;  // sightings
      if (young(chain, next, kSlideUnsure)) {
        // Too few sightings yet for the slide: it may have settled wrong.
        tried = chain;
        cloth = found_.cloth;
        fit_reseeded(tried, world_, cloth, end, 2);
        if (explains(tried, world_, cloth, next > 3 ? next - 3 : 0, end)) {
          chain = std::move(tried);
          found_.cloth = cloth;
          next = end;
          continue;
        }
        if (const std::size_t went = young(chain, next, kLedAstray) ? without_one(next) : 0) {
          next = went;
          continue;
        }
      }
      if (false_sighting(next)) {
        chain.seen[next].trusted = false;
        ++next;
        continue;
      }
      if (dropping(next)) {
        for (std::size_t i = next; i < n; ++i) chain.seen[i].trusted = false;
        return;
      }
      std::size_t went = find_contact(found_, world_, next);
      if (went == 0) went = find_hidden_turn(found_, world_, next);
      constexpr int kSuspend = 2;  // false sightings in a row just where a contact is
      if (went == 0 && suspended_ < kSuspend && next + 1 < n) {
        ++suspended_;
        chain.seen[next].trusted = false;
        ++next;
        continue;
      }
      suspended_ = 0;
      if (went == 0) went = find_unseen_ball(found_, world_, next);
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
  static bool young(const Chain& chain, std::size_t next, int sightings) {
    int n = 0;
    for (std::size_t i = 0; i < next; ++i) n += chain.seen[i].trusted && chain.seen[i].time > chain.legs.back().leg.t;
    return n < sightings;
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

  // The last look or two at a ball in a pocket's mouth: it drops, and half of it is hidden. That is no contact.
  bool dropping(std::size_t next) const {
    if (!vanishes_) return false;
    int left = 0;
    for (std::size_t i = next; i < found_.chain.seen.size(); ++i) left += found_.chain.seen[i].trusted;
    return left <= 2 && falling(found_.chain.seen[next].time);
  }

  // A sighting off the path, while those after it lie on it.
  bool false_sighting(std::size_t j) const {
    const Chain& chain = found_.chain;
    constexpr double kTells = 0.5;  // of the miss: a sighting less sure than this cannot tell either way
    const double miss = (chain.at(chain.seen[j].time, found_.cloth) - chain.seen[j].at).norm();
    int on = 0, looked = 0, in_a_row = 0;
    for (std::size_t i = j + 1; i < chain.seen.size() && looked < 4; ++i) {
      const Seen& s = chain.seen[i];
      if (!s.trusted || s.sd > kTells * miss) continue;
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
        const double cost = fit_window(tried, world_, cloth, end, kThorough, 2, kGentlePass);
        if (cost >= best || !explains(tried, world_, cloth, 0, end)) continue;
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

  const World& world_;
  const bool vanishes_;
  int suspended_ = 0;  // sightings in a row that nothing explained
};

}  // namespace

double Other::leaves() const {
  if (chain && !chain->legs.empty()) return chain->start ? chain->legs[0].leg.t : -1e18;
  if (!track || !track->before) return -1e18;
  constexpr double kOwnPlace = 0.004;  // m: within this of its resting place it has not left
  const auto& seen = track->seen;
  for (std::size_t i = 0; i < seen.size(); ++i) {
    const auto off_place = [&](std::size_t k) {
      return k >= seen.size() || (seen[k].at - track->before->at).norm() > kOwnPlace;
    };
    if (off_place(i) && off_place(i + 1)) return seen[i].time;
  }
  return 1e18;
}

std::optional<std::pair<Vec2, Vec2>> Other::at(double time) const {
  if (chain && !chain->legs.empty()) return std::make_pair(chain->at(time, cloth), chain->velocity_at(time, cloth));
  if (!track) return std::nullopt;
  if (time <= leaves()) return std::make_pair(track->before->at, Vec2(Vec2::Zero()));
  const auto& seen = track->seen;
  for (std::size_t i = 1; i < seen.size(); ++i) {
    if (seen[i].time < time || seen[i - 1].time > time) continue;
    const double dt = seen[i].time - seen[i - 1].time;
    if (dt <= 0) continue;
    const Vec2 v = (seen[i].at - seen[i - 1].at) / dt;
    return std::make_pair(Vec2(seen[i - 1].at + v * (time - seen[i - 1].time)), v);
  }
  if (track->after && (seen.empty() || time > seen.back().time))
    return std::make_pair(track->after->at, Vec2(Vec2::Zero()));
  return std::nullopt;
}

double pulled_of(const BallTrack& track) {
  return track.before ? track.before->pulled : track.after ? track.after->pulled : 0;
}

Anchor anchor_of(const Stay& stay) {
  constexpr double kSd = 0.0003;  // m: same ball, same place in the picture, but another light around it
  const Mat2 c = stay.covariance + kSd * kSd * Mat2::Identity();
  return {stay.at, Mat2(c.inverse().llt().matrixU())};
}

namespace {

Found read(Chain chain, const World& world, const BallTrack& track, std::size_t next, const Cloth* cloth = nullptr) {
  Reader reader(std::move(chain), world, !track.after);
  if (cloth) reader.found_.cloth = *cloth;
  reader.read(next);
  Found found = std::move(reader.found_);
  const double begins = found.chain.legs[0].leg.t;
  // Followed until it went out of sight: what was seen of it long after does not speak against its motion before.
  double ends = 1e18;
  if (found.lost) {
    double last = begins;
    for (const Seen& s : found.chain.seen)
      if (s.trusted) last = std::max(last, s.time);
    if (found.lost_at - last > kOutOfSight) ends = last;
  }
  for (const Seen& s : found.chain.seen) {
    if (s.time < begins || s.time > ends) continue;
    ++found.moving;
    found.trusted += s.trusted;
  }
  return found;
}

// Better: not lost, and more of its sightings explained.
bool better(const Found& a, const Found& b) {
  if (a.lost != b.lost) return b.lost;
  return a.trusted > b.trusted;
}

// What is left over of all its sightings.
double cost_of(Found found, const World& world) {
  return fit_window(found.chain, world, found.cloth, found.chain.seen.size(), kThorough, found.chain.legs.size(), 0);
}

// A ball that lay at its place and was first seen moving at sighting `i`, then at `k`.
Chain begun_at(const Chain& still, std::size_t i, std::size_t k) {
  Chain chain = still;
  const Vec2& place = chain.start->at;
  for (std::size_t q = 0; q < i; ++q)
    if ((chain.seen[q].at - place).norm() > 5 * chain.seen[q].sd + 0.002) chain.seen[q].trusted = false;
  const Seen &s0 = chain.seen[i], &s1 = chain.seen[k];
  const double run = (s0.at - place).norm();
  const double speed = (s1.at - s0.at).norm() / std::max(s1.time - s0.time, 1e-3);
  double t0 = s0.time - run / std::max(speed, 0.05);
  // It lay at its place when last seen there.
  for (std::size_t q = 0; q < i; ++q)
    if (chain.seen[q].trusted) t0 = std::max(t0, chain.seen[q].time);
  t0 = std::min(t0, s0.time - 1e-3);
  ChainLeg first;
  first.leg.p = place;
  first.leg.t = t0;
  first.leg.v = (s0.at - place) / (s0.time - t0);
  chain.legs.push_back(first);
  return chain;
}

// The same, but it met `other`, which lay still, before it was first seen moving: hands hid it. Where and when they
// met follows from the other's path; how fast it came, from what both carry away.
std::optional<Chain> begun_behind_hands(const Chain& still, const Other& other, std::size_t i, std::size_t k) {
  if (!other.moved || !other.track || !other.track->before) return std::nullopt;
  const Seen &s0 = still.seen[i], &s1 = still.seen[k];
  const Vec2& lay = other.track->before->at;
  Vec2 v_other;
  double met;
  if (other.chain) {
    if (!other.chain->start) return std::nullopt;
    v_other = other.chain->legs[0].leg.v;
    met = other.chain->legs[0].leg.t;
  } else {
    const double leaves = other.leaves();
    const Sighting *a = nullptr, *b = nullptr;
    for (const Sighting& s : other.track->seen) {
      if (s.time < leaves) continue;
      if (!a)
        a = &s;
      else if (!b)
        b = &s;
    }
    if (!b || b->time <= a->time) return std::nullopt;
    v_other = (b->at - a->at) / (b->time - a->time);
    met = a->time - (a->at - lay).norm() / std::max(v_other.norm(), 0.05);
  }
  if (met > s0.time || s0.time - met > 0.5 || v_other.norm() < 0.05) return std::nullopt;
  const Vec2& place = still.start->at;
  const Vec2 at = lay - (still.radius + other.radius) * v_other.normalized();
  const Vec2 after = (s1.at - s0.at) / std::max(s1.time - s0.time, 1e-3);
  const Vec2 carried = after + (other.mass / still.mass) * v_other;
  const double speed = carried.norm(), run = (at - place).norm();
  if (speed < 0.1 || run < 0.01 || carried.dot(at - place) <= 0) return std::nullopt;
  Chain chain = still;
  for (std::size_t q = 0; q < i; ++q)
    if ((chain.seen[q].at - place).norm() > 5 * chain.seen[q].sd + 0.002) chain.seen[q].trusted = false;
  ChainLeg first, second;
  first.leg.p = place;
  first.leg.t = met - run / speed;
  first.leg.v = (at - place) * (speed / run);
  second.touch.kind = Touch::Kind::ball;
  second.touch.ball = other.name;
  second.touch.radius = other.radius;
  second.touch.mass = other.mass;
  second.touch.pulled = other.track ? pulled_of(*other.track) : 0;
  second.touch.place = lay;
  second.touch.time = met;
  second.leg.t = met;
  second.leg.p = at;
  second.leg.v = (s0.at - at) / std::max(s0.time - met, 5e-3);
  chain.legs = {first, second};
  return chain;
}

// Whether `other`, which lay still, set off just after this ball did, while this ball's path has met no ball by then: a
// ball does not set off by itself, and between two frames a contact leaves no trace but that. `seen_first`: when this
// ball was first seen on its way, s.
bool sent_unseen(const Found& found, const Other& other, double seen_first) {
  constexpr double kSoon = 0.15;  // s: a contact later than this is told from the path before it, where that was seen
  if (!other.moved || !other.track || !other.track->before) return false;
  const double begins = found.chain.legs[0].leg.t, leaves = other.leaves();
  if (leaves <= begins || leaves > std::max(begins + kSoon, seen_first)) return false;
  return std::none_of(found.chain.legs.begin(), found.chain.legs.end(),
                      [&](const ChainLeg& l) { return l.touch.kind == Touch::Kind::ball && l.leg.t <= leaves; });
}

}  // namespace

std::optional<Found> search(const BallTrack& track, double radius, double mass, const World& world) {
  Chain chain;
  chain.ball = track.ball;
  chain.radius = radius;
  chain.mass = mass;
  chain.pulled = pulled_of(track);
  chain.seen = prepare(track, world);
  const std::size_t n = chain.seen.size();
  std::optional<Found> best;
  if (track.before) {
    chain.start = anchor_of(*track.before);
    const auto away = [&](std::size_t i) {
      return chain.seen[i].trusted && (chain.seen[i].at - chain.start->at).norm() > 5 * chain.seen[i].sd + 0.002;
    };
    const auto next_trusted = [&](std::size_t i) {
      ++i;
      while (i < n && !chain.seen[i].trusted) ++i;
      return i;
    };
    std::size_t i = 0;
    while (i < n && !(away(i) && (i + 1 >= n || away(i + 1)))) ++i;
    // The first sighting on the move may be false, or the one after it.
    constexpr int kStarts = 3;
    for (int start = 0; start < kStarts && i < n; ++start, i = next_trusted(i)) {
      const std::size_t k = next_trusted(i);
      if (k >= n) break;
      Found found = read(begun_at(chain, i, k), world, track, k);
      if (!best || better(found, *best)) best = std::move(found);
      if (start == 0) {
        std::optional<double> least;
        for (Chain& off : nose_first(chain, i, k, world)) {
          found = read(std::move(off), world, track, i);
          constexpr int kFewer = 2;       // sightings that it may explain fewer: they were taken for its start
          constexpr double kCosts = 2.0;  // what one more contact must save
          if (found.lost || found.trusted + kFewer < best->trusted) continue;
          if (!least) least = best->lost ? 1e18 : cost_of(*best, world);
          if (const double cost = cost_of(found, world) + kCosts; cost < *least) least = cost, best = std::move(found);
        }
      }
      for (const Other& o : world.others) {
        const bool sent = start == 0 && sent_unseen(*best, o, chain.seen[i].time);
        if (start > 0 || (!best->lost && !sent)) continue;
        auto behind = begun_behind_hands(chain, o, i, k);
        if (!behind) continue;
        found = read(std::move(*behind), world, track, i);
        // What sent the other off explains more than one sighting can speak against.
        if (better(found, *best) || (sent && found.lost == best->lost && found.trusted + 1 >= best->trusted))
          best = std::move(found);
      }
      if (!best->lost) break;
    }
    if (!best) return std::nullopt;
  } else {
    if (n < 3) return std::nullopt;
    chain.start_free = false;
    ChainLeg first;
    first.touch.kind = Touch::Kind::unknown;
    first.leg.t = chain.seen[0].time;
    first.leg.p = chain.seen[0].at;
    first.leg.v = (chain.seen[1].at - chain.seen[0].at) / std::max(chain.seen[1].time - chain.seen[0].time, 1e-3);
    chain.legs.push_back(first);
    best = read(std::move(chain), world, track, 1);
  }
  if (track.after && !best->lost) best->chain.rest = anchor_of(*track.after);
  return best;
}

std::optional<Found> search_patiently(const BallTrack& track, double radius, double mass, World& world) {
  std::optional<Found> best;
  double best_sd = world.model_sd;
  constexpr double kModelSds[] = {0.0005, 0.0012, 0.0025};  // m
  for (const double sd : kModelSds) {
    world.model_sd = sd;
    auto found = search(track, radius, mass, world);
    if (!found) break;
    if (!best || better(*found, *best)) {
      best = std::move(found);
      best_sd = sd;
    }
    if (!best->lost) break;
    // What free motion explains so little of is no run of a ball, however wide the eye.
    constexpr double kHopeless = 0.3;
    if (track.ball != "white" && best->trusted < kHopeless * best->moving) break;
  }
  world.model_sd = best_sd;
  return best;
}

std::optional<Found> read_on(const Found& lost, const BallTrack& track, const World& world) {
  Chain chain = lost.chain;
  const std::vector<Seen> fresh = prepare(track, world);
  std::size_t next = 0;
  for (std::size_t i = 0; i < chain.seen.size(); ++i)
    if (chain.seen[i].trusted) next = i + 1;
  if (next == 0 || fresh.size() != chain.seen.size()) return std::nullopt;
  for (std::size_t i = next; i < fresh.size(); ++i) chain.seen[i].trusted = fresh[i].trusted;
  for (ChainLeg& l : chain.legs) {
    l.touch.other_chain = l.touch.other_leg = -1;
    if (l.touch.kind != Touch::Kind::ball) continue;
    // It met the other where that one's path has it now.
    constexpr double kJustBefore = 1e-4;  // s
    for (const Other& o : world.others)
      if (const auto at = o.name == l.touch.ball ? o.at(l.leg.t - kJustBefore) : std::nullopt)
        std::tie(l.touch.place, l.touch.velocity) = *at, l.touch.time = l.leg.t;
  }
  Found found = read(std::move(chain), world, track, next, &lost.cloth);
  if (!better(found, lost)) return std::nullopt;
  if (track.after && !found.lost) found.chain.rest = anchor_of(*track.after);
  return found;
}

bool lay_there_since(const BallTrack& track, const Found& found) {
  constexpr double kSoon = 0.05;     // s
  constexpr double kThere = 0.01;    // m
  constexpr double kLeft = 0.05;     // m
  constexpr double kSeenWell = 0.7;  // of its outline
  constexpr int kOften = 3;
  if (!track.before) return false;
  return std::count_if(track.seen.begin(), track.seen.end(), [&](const Sighting& s) {
           return s.time > found.chain.legs[0].leg.t + kSoon && s.visible > kSeenWell &&
                  (s.at - track.before->at).norm() < kThere &&
                  (found.chain.at(s.time, found.cloth) - s.at).norm() > kLeft;
         }) >= kOften;
}

}  // namespace baizetrace::path
