#include "compare/evidence.hpp"

#include <algorithm>
#include <cmath>

#include "motion/simulator.hpp"

namespace baizetrace::compare {
namespace {

constexpr double kNearContact = 0.012;   // s: which side of a contact a place is on is not asked closer than this
constexpr double kNearPath = 0.12;       // m: a resting ball further from all paths is not met by a shot like this one
constexpr double kLeastPlaceU = 0.0004;  // m: a fitted path's own error, however well it was seen
constexpr double kSharedU = 0.0007;      // m: registration's, where the attempt does not say
constexpr double kSharedOver = 0.5;      // m: how far apart two places still share it
constexpr double kHopelessU = 0.006;     // m: a path worse than this tells nothing

// While the cue and the hand are near, the ball is half hidden and its places are drawn off together: m of the instant
// of the strike and how fast it fades, s; read off drawn footage at 30 frames a second (up to 20 mm in the first frame,
// 2 mm after a tenth of a second).
constexpr double kCueU = 0.015, kCueFades = 0.025;
constexpr double kHandU = 0.003, kHandFades = 0.12;
constexpr double kHandOver = 0.08;  // s: how far apart in time two places still share it

constexpr double kCueAtRms = 0.0006;  // m: with a picture in which the moving ball scatters by this

double cue_u(double since_strike, double rms) {
  const double share = std::clamp(rms / kCueAtRms, 0.3, 2.0);
  return share * kCueU * std::exp(-std::max(0.0, since_strike) / kCueFades) +
         share * kHandU * std::exp(-std::max(0.0, since_strike) / kHandFades);
}

std::optional<std::size_t> index_of(const std::vector<std::string>& names, const std::string& name) {
  const auto it = std::find(names.begin(), names.end(), name);
  if (it == names.end()) return std::nullopt;
  return static_cast<std::size_t>(it - names.begin());
}

// Up to `most` of the places, spread evenly in time, the first and the last among them.
std::vector<std::size_t> spread(std::size_t n, std::size_t most) {
  std::vector<std::size_t> out;
  if (n <= most) {
    for (std::size_t i = 0; i < n; ++i) out.push_back(i);
    return out;
  }
  for (std::size_t k = 0; k < most; ++k) out.push_back(k * (n - 1) / (most - 1));
  return out;
}

}  // namespace

Result<Evidence> evidence_of(const practice::Attempt& a, const table::Table& table, const table::BallSet& set,
                             const EvidenceOptions& o) {
  const std::string cue = set.kinds[0].name;
  const auto white = a.balls.find(cue);
  if (white == a.balls.end() || white->second.rows.empty()) return fail("the {} was not seen to move", cue);
  if (!white->second.followed())
    return fail("no run of a ball follows what was seen of the {}: {:.0f} mm beside it", cue, 1000 * white->second.rms);
  const auto lay = a.before.find(cue);
  if (lay == a.before.end()) return fail("where the {} lay before the strike was not seen", cue);

  Evidence e;
  e.begin = a.strike_time;
  const motion::Ground ground(table);
  std::vector<const BallPath*> paths;
  std::vector<std::string> names;
  const auto take = [&](const std::string& name, const BallPath* path) {
    e.balls.push_back(motion::make_ball(set, name, a.before.at(name).at));
    names.push_back(name);
    if (path) paths.push_back(path);
  };
  take(cue, &white->second);
  for (const auto& [name, path] : a.balls) {
    // A ball counts as moved by the shot when something known sent it off.
    if (name == cue || !a.before.contains(name) || path.contacts.empty() || path.rows.empty()) continue;
    if (path.contacts.front().kind == ContactKind::ball) take(name, &path);
  }
  e.moved = e.balls.size();
  for (const auto& [name, place] : a.before) {
    if (index_of(names, name)) continue;
    const bool near = std::any_of(paths.begin(), paths.end(), [&](const BallPath* p) {
      return std::any_of(p->rows.begin(), p->rows.end(),
                         [&](const PathRow& r) { return (r.at - place.at).norm() < kNearPath; });
    });
    if (near) take(name, nullptr);
  }
  // Two balls measured within a hair of each other may seem to overlap.
  if (const auto parted = motion::part(table, e.balls); !parted) return pass_on(parted);

  double end = 1e18;
  if (o.before_first_cushion)
    for (const Contact& c : white->second.contacts)
      if (c.kind == ContactKind::cushion || c.kind == ContactKind::jaw) end = std::min(end, c.time);

  std::vector<double> shared;
  for (std::size_t b = 0; b < e.moved; ++b) {
    const BallPath& path = *paths[b];
    const Place& from = a.before.at(names[b]);
    if (from.u.maxCoeff() > 0) shared.push_back(from.u.norm() / std::sqrt(2.0));
    e.facts.push_back({Fact::When::before, b, 0, 0, from.at, kLeastPlaceU});
    e.contacts.emplace_back();
    // Contacts in order, as far as the ball's motion is one that can be told: jaws and pockets end it.
    std::vector<double> times;
    double until = std::min(end, path.told_until.value_or(1e18));
    for (const Contact& c : path.contacts) {
      if (c.time >= until) break;
      std::optional<std::size_t> with;
      if (c.kind == ContactKind::ball) with = index_of(names, c.with);
      if (c.kind == ContactKind::cushion) with = index_of(ground.cushions, c.with);
      if (!with) {
        until = std::min(until, c.time);
        break;
      }
      e.contacts[b].push_back({c.kind, *with});
      times.push_back(c.time);
      if (b == 0) e.contact_times.push_back(c.time - e.begin);
      if (b == 0 && c.kind == ContactKind::cushion) ++e.cushions;
    }
    if (path.rms > kHopelessU) {
      if (b == 0) return fail("the {} was seen only to {:.0f} mm: too dark or too far off", cue, 1000 * path.rms);
      continue;
    }
    const double u = std::max(kLeastPlaceU, 0.7 * path.rms);
    // The cue ball's flights begin with the strike, the others' with what sent them off.
    std::vector<double> begins{b == 0 ? -1e18 : times.empty() ? 1e18 : times[0]};
    for (std::size_t k = b == 0 ? 0 : 1; k < times.size(); ++k) begins.push_back(times[k]);
    const bool rests = path.rest && until > 1e17;
    for (std::size_t f = 0; f < begins.size(); ++f) {
      const double to = f + 1 < begins.size() ? begins[f + 1] : until;
      std::vector<std::size_t> in;
      for (std::size_t i = 0; i < path.rows.size(); ++i) {
        const PathRow& r = path.rows[i];
        if (!r.seen || r.time <= begins[f] + kNearContact || r.time >= to - kNearContact) continue;
        if (b == 0 && r.time <= a.strike_time + kNearContact) continue;
        if (rests && r.time >= path.rest_time) continue;
        in.push_back(i);
      }
      for (const std::size_t k : spread(in.size(), o.per_flight)) {
        const PathRow& r = path.rows[in[k]];
        e.facts.push_back({Fact::When::moving, b, f, r.time - e.begin, r.at, u});
      }
    }
    if (rests) {
      e.facts.push_back({Fact::When::after, b, begins.size() - 1, 0, path.rest->at, kLeastPlaceU});
      if (b == 0) e.to_rest = true;
    }
  }
  const auto seen = std::count_if(e.facts.begin(), e.facts.end(),
                                  [](const Fact& f) { return f.ball == 0 && f.when == Fact::When::moving; });
  constexpr int kFewest = 4;
  if (seen < kFewest) return fail("only {} places of the moving {} were seen", seen, cue);

  double share = kSharedU;
  if (!shared.empty()) {
    std::nth_element(shared.begin(), shared.begin() + static_cast<long>(shared.size() / 2), shared.end());
    share = std::clamp(shared[shared.size() / 2], 0.0003, 0.003);
  }
  const auto n = static_cast<Eigen::Index>(e.facts.size());
  e.covariance.resize(n, n);
  const double rms = white->second.rms;
  for (Eigen::Index i = 0; i < n; ++i)
    for (Eigen::Index j = 0; j < n; ++j) {
      const Fact &p = e.facts[static_cast<std::size_t>(i)], &q = e.facts[static_cast<std::size_t>(j)];
      const double d = (p.at - q.at).norm() / kSharedOver;
      e.covariance(i, j) = share * share * std::exp(-0.5 * d * d) + (i == j ? p.u * p.u : 0.0);
      const auto shown = [](const Fact& f) { return f.ball == 0 && f.when == Fact::When::moving; };
      if (shown(p) && shown(q)) {
        const double apart = (p.time - q.time) / kHandOver;
        e.covariance(i, j) += cue_u(p.time, rms) * cue_u(q.time, rms) * std::exp(-0.5 * apart * apart);
      }
    }
  return e;
}

}  // namespace baizetrace::compare
