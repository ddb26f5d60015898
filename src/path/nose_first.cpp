#include "path/nose_first.hpp"

#include <algorithm>

#include "path/impact.hpp"

namespace baizetrace::path {
namespace {

constexpr double kBeside = 0.10;  // m: from further off it is seen on its way to the nose

bool lay_there(const Seen& s, const Vec2& place) {
  constexpr double kSurely = 5, kAtLeast = 0.002;  // standard uncertainties; m
  return (s.at - place).norm() <= kSurely * s.sd + kAtLeast;
}

Chain off_surface(const Chain& still, std::size_t i, const Leg& to, const Surface& surface, const Leg& off) {
  Chain out = still;
  for (std::size_t q = 0; q < i; ++q)
    if (!lay_there(out.seen[q], out.start->at)) out.seen[q].trusted = false;
  ChainLeg first, second;
  first.leg = to;
  second.touch.kind = Touch::Kind::surface;
  second.touch.surface = surface;
  second.leg = off;
  out.legs = {first, second};
  return out;
}

std::optional<Chain> as_it_was_sent(const Chain& still, std::size_t i, const World& world) {
  const Leg& begun = *world.begun;
  std::optional<double> when;
  const Surface* what = nullptr;
  for (const Surface& s : world.surfaces) {
    if (s.kind == ContactKind::pocket || s.gap(begun.p) > kBeside) continue;
    const auto t = first_touch(begun, world.cloth, s, begun.t + 1e-4, still.seen[i].time, 0.0);
    if (t && (!when || *t < *when)) when = t, what = &s;
  }
  if (!what) return std::nullopt;
  Touch touch;
  touch.kind = Touch::Kind::surface;
  touch.surface = *what;
  ImpactState in;
  in.at = begun.at(*when, world.cloth);
  in.v_in = begun.velocity_at(*when, world.cloth);
  Leg off;
  off.t = *when;
  off.p = in.at;
  expect_after_surface(touch, world.impact, in, off.v, off.w);
  return off_surface(still, i, begun, *what, off);
}

}  // namespace

std::vector<Chain> nose_first(const Chain& still, std::size_t i, std::size_t k, const World& world) {
  std::vector<Chain> out;
  if (world.begun)
    if (auto sent = as_it_was_sent(still, i, world)) out.push_back(std::move(*sent));
  const Seen &s0 = still.seen[i], &s1 = still.seen[k];
  const Vec2& place = still.start->at;
  const Vec2 v = (s1.at - s0.at) / std::max(s1.time - s0.time, 1e-3);
  double lay_until = -1e18;
  for (std::size_t q = 0; q < i; ++q)
    if (lay_there(still.seen[q], place)) lay_until = still.seen[q].time;
  for (const Surface& s : world.surfaces) {
    constexpr double kComesOff = 0.1;  // m/s
    const double gap = s.gap(place), back = v.dot(s.inward);
    if (s.kind != ContactKind::cushion || gap < 0 || gap > kBeside || back < kComesOff) continue;
    Leg to, off;
    off.t = s0.time - s.gap(s0.at) / back;
    off.p = s0.at - v * (s0.time - off.t);
    off.v = v;
    if (off.t >= s0.time || !s.reaches(off.p, 0)) continue;
    constexpr double kTouching = 0.001, kEarlier = 0.02;  // m; s
    const double went = std::max(gap, kTouching) / (back / world.impact.rebound);
    if (off.t - went < lay_until - kEarlier) continue;
    to.t = off.t - went;
    to.p = place;
    to.v = (off.p - place) / went;
    out.push_back(off_surface(still, i, to, s, off));
  }
  return out;
}

}  // namespace baizetrace::path
