#include "path/search.hpp"

#include <algorithm>
#include <cmath>

#include "path/contact.hpp"
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
      if (young(chain, next)) {
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
      const std::size_t went = find_contact(found_, world_, next);
      constexpr int kSuspend = 2;  // false sightings in a row just where a contact is
      if (went == 0 && suspended_ < kSuspend && next + 1 < n) {
        ++suspended_;
        chain.seen[next].trusted = false;
        ++next;
        continue;
      }
      suspended_ = 0;
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

}  // namespace baizetrace::path
