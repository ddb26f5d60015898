#include "path/publish.hpp"

#include <algorithm>
#include <cmath>

#include "path/impact.hpp"

namespace baizetrace::path {
namespace {

Mat2 rig_share(const std::function<Mat2(const Vec2&)>& of, const Vec2& p) { return of ? of(p) : Mat2(Mat2::Zero()); }

// Sightings near a contact; none: it was out of sight and is inferred.
bool in_sight(const Chain& chain, double time, const std::vector<double>& frames) {
  // The frames either side of the contact; one of them must show the ball.
  double before = -1e9, after = 1e9;
  for (const double f : frames) {
    if (f <= time) before = std::max(before, f);
    if (f > time) after = std::min(after, f);
  }
  if (after > 1e8) return false;
  constexpr double kRow = 0.04;  // s: a frame's rows may be this much later than its timestamp
  for (const Seen& s : chain.seen)
    if (s.trusted && s.time >= before - kRow && s.time <= after + kRow) return true;
  return false;
}

// s: the rig's doubt along the way to a contact, at the speed that it is come to with.
double moment_by(const Mat2& rig, const Touch& touch, const ImpactState& state) {
  constexpr double kSlowest = 0.05;  // m/s
  const Vec2 way = touch.kind == Touch::Kind::surface ? touch.surface.normal(state.at)
                                                      : Vec2(state.v_in / std::max(1e-9, state.v_in.norm()));
  return std::sqrt(std::max(0.0, way.dot(rig * way))) / std::max(kSlowest, std::abs(way.dot(state.v_in)));
}

}  // namespace

Place place_of(const Stay& stay, const ReconstructOptions& options) {
  const Mat2 c = stay.place_covariance() + rig_share(options.rig_covariance, stay.at);
  return {stay.at, c.diagonal().cwiseSqrt()};
}

BallPath publish(const Published& from, std::size_t i, const Found& found, const BallTrack& track) {
  const Problem& problem = *from.problem;
  const Chain& chain = problem.chains[i];
  const Cloth& cloth = problem.cloth;
  const ReconstructOptions& options = *from.options;
  BallPath out;
  out.ball = chain.ball;
  const double last_seen = [&] {
    double t = chain.legs.back().leg.t;
    for (const Seen& s : chain.seen)
      if (s.trusted) t = std::max(t, s.time);
    return t;
  }();
  const double rests = chain.legs.back().leg.rests(cloth);
  // The path ends where the ball falls, rests, or was last seen.
  double until = std::min(rests, last_seen);
  if (found.pocket) until = found.pocket_time;
  if (chain.rest) until = rests;

  for (std::size_t k = 0; k < chain.legs.size(); ++k) {
    const double end = k + 1 < chain.legs.size() ? chain.legs[k + 1].leg.t : until;
    const std::size_t first = out.pieces.size();
    add_pieces(chain.legs[k].leg, end, cloth, out.pieces);
    bool seen = false;
    for (const Seen& s : chain.seen) seen = seen || (s.trusted && s.time >= chain.legs[k].leg.t && s.time <= end);
    for (std::size_t p = first; p < out.pieces.size(); ++p) out.pieces[p].seen = seen;
  }

  Eigen::MatrixXd slope;
  for (std::size_t k = 0; k < chain.legs.size(); ++k) {
    const Touch& touch = chain.legs[k].touch;
    if (touch.kind != Touch::Kind::surface && touch.kind != Touch::Kind::ball) continue;
    ImpactState state;
    impact_slopes(problem, *from.layout, i, k, state, slope);
    const Eigen::MatrixXd c = slope * *from.covariance * slope.transpose();
    Contact contact;
    contact.time = chain.legs[k].leg.t;
    const double row = from.clock->row(state.at);
    const int t = from.layout->chains[i].t[k];
    const double by_readout = options.u_readout * row;
    contact.kind = touch.kind == Touch::Kind::ball ? ContactKind::ball : touch.surface.kind;
    contact.with = touch.kind == Touch::Kind::ball ? touch.ball : touch.surface.name;
    contact.at = state.at;
    const bool nose = touch.kind == Touch::Kind::surface;
    Mat2 rig = rig_share(options.rig_covariance, state.at);
    // Where the rig has the way in off against what is struck, the moment is off by the time that way takes.
    const double by_rig = moment_by(nose ? rig_share(options.rig_off_noses, state.at) : rig, touch, state);
    contact.u_time = std::sqrt(std::max(0.0, (*from.covariance)(t, t)) + by_readout * by_readout + by_rig * by_rig);
    if (nose) {
      // Across it the ball is where the nose is, and that is as well known as the table's size.
      const Vec2 n = touch.surface.normal(state.at), along = left_of(n);
      rig = along.dot(rig * along) * along * along.transpose() + n.dot(options.size_covariance * n) * n * n.transpose();
    }
    contact.u = (c.block<2, 2>(0, 0) + rig).diagonal().cwiseMax(0.0).cwiseSqrt();
    contact.speed_in = state.v_in.norm();
    contact.speed_out = state.v_out.norm();
    contact.heading_in = heading_of(state.v_in);
    contact.heading_out = heading_of(state.v_out);
    if (contact.speed_in > 1e-4) {
      const Vec2 along = state.v_in / contact.speed_in, across = left_of(along);
      const Mat2 cv = c.block<2, 2>(2, 2);
      // A readout that is off scales speeds along the rows' direction.
      const double scale = options.u_readout * from.clock->gradient(state.at).dot(state.v_in);
      contact.u_speed_in = std::sqrt(std::max(0.0, along.dot(cv * along)) + std::pow(scale * contact.speed_in, 2));
      contact.u_heading_in = std::sqrt(std::max(0.0, across.dot(cv * across))) / contact.speed_in;
    }
    contact.inferred = !in_sight(chain, contact.time, from.episode->frame_times);
    // What starts a ball that lay still is its first contact too.
    out.contacts.push_back(contact);
  }
  if (found.pocket) {
    Contact fall;
    fall.time = found.pocket_time;
    constexpr double kFallSd = 0.004;  // s: where a ball leaves the bed is known to some millimetres
    fall.u_time = found.u_fall.value_or(kFallSd);
    fall.inferred = found.u_fall.has_value();
    fall.kind = ContactKind::pocket;
    fall.with = *found.pocket;
    fall.at = chain.legs.back().leg.at(fall.time, cloth);
    const Vec2 v = chain.legs.back().leg.velocity_at(fall.time, cloth);
    fall.u = Vec2::Constant(std::max(0.002, kFallSd * v.norm() / std::sqrt(2.0)));
    fall.speed_in = fall.speed_out = v.norm();
    fall.heading_in = fall.heading_out = heading_of(v);
    out.contacts.push_back(fall);
    out.pocket = found.pocket;
    out.pocket_time = found.pocket_time;
  }
  out.rows = rows(chain, cloth, track, from.episode->frame_times, *from.clock, until);
  if (found.pocket) out.rows.push_back({found.pocket_time, chain.legs.back().leg.at(found.pocket_time, cloth)});
  if (chain.rest && track.after) {
    out.rest = place_of(*track.after, options);
    out.rest_time = rests;
  }
  for (std::size_t k = 1; k < chain.legs.size() && !out.told_until; ++k)
    if (chain.legs[k].touch.kind == Touch::Kind::unknown) out.told_until = chain.legs[k].leg.t;
  // Lost as it came to rest there, it has touched nothing since.
  constexpr double kAsGoodAsThere = 0.05;  // m
  const bool there = track.after && (track.after->at - chain.at(until, cloth)).norm() < kAsGoodAsThere;
  // Nor is it known where a ball lies that went out of sight on its way, and not into a pocket; the white may have been
  // taken, unless it ran under what always hides the bed.
  const bool vanished = (chain.ball != "white" || found.went_under) && !chain.rest && !track.after;
  if ((found.lost || found.came_back || vanished) && !found.pocket && !there && !out.told_until) out.told_until = until;
  double sum = 0;
  int n = 0;
  for (const Seen& s : chain.seen) {
    if (!s.trusted || s.time < chain.legs[0].leg.t || s.time > until) continue;
    sum += (chain.at(s.time, cloth) - s.at).squaredNorm();
    ++n;
  }
  out.rms = n > 0 ? std::sqrt(sum / n) : 0;
  return out;
}

}  // namespace baizetrace::path
