#include "compare/beside.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::compare {
namespace {

constexpr double kRowEvery = 1.0 / 60;  // s

std::optional<Vec2> at(const std::vector<PathRow>& rows, double time) {
  const auto after =
      std::upper_bound(rows.begin(), rows.end(), time, [](double t, const PathRow& r) { return t < r.time; });
  if (after == rows.begin()) return std::nullopt;
  if (after == rows.end()) return rows.back().time == time ? std::optional<Vec2>(rows.back().at) : std::nullopt;
  const PathRow &a = *(after - 1), &b = *after;
  const double f = (time - a.time) / std::max(b.time - a.time, 1e-12);
  return a.at + f * (b.at - a.at);
}

// How far a place lies from the way that rows go between two times: the way itself, not where the ball was at that
// moment, since a ball a little slower is still on it. Absent where the rows say nothing of that time.
std::optional<double> off_the_way(const Vec2& place, const std::vector<PathRow>& rows, double from, double to) {
  std::optional<double> nearest;
  for (std::size_t i = 1; i < rows.size(); ++i) {
    const PathRow &a = rows[i - 1], &b = rows[i];
    if (b.time <= from || a.time >= to) continue;
    const Vec2 leg = b.at - a.at;
    const double f = std::clamp((place - a.at).dot(leg) / std::max(leg.squaredNorm(), 1e-18), 0.0, 1.0);
    const double off = (place - (a.at + f * leg)).norm();
    if (!nearest || off < *nearest) nearest = off;
  }
  return nearest;
}

// The time between the contacts that comes after `done` of them.
std::pair<double, double> leg_after(const std::vector<Contact>& contacts, std::size_t done) {
  constexpr double kEver = 1e18;
  return {done == 0 ? -kEver : contacts[done - 1].time, done < contacts.size() ? contacts[done].time : kEver};
}

bool same(const Contact& a, const Contact& b) { return a.kind == b.kind && a.with == b.with; }

}  // namespace

practice::ComputedPath computed_path(const motion::Prediction& prediction, double begin) {
  practice::ComputedPath out;
  const BallPath* white = prediction.ball(prediction.balls.empty() ? "" : "white");
  if (!white) return out;
  for (const Piece& p : white->pieces) {
    if (p.phase == Piece::Phase::rest) continue;
    out.path.push_back({begin + p.from, p.at(p.from)});
    const double first = std::ceil(p.from / kRowEvery + 1e-9) * kRowEvery;
    for (double t = first; t < p.to; t += kRowEvery) out.path.push_back({begin + t, p.at(t)});
    out.path.push_back({begin + p.to, p.at(p.to)});
  }
  out.path.erase(std::unique(out.path.begin(), out.path.end(),
                             [](const PathRow& a, const PathRow& b) { return std::abs(a.time - b.time) < 1e-9; }),
                 out.path.end());
  out.contacts = white->contacts;
  for (Contact& c : out.contacts) c.time += begin;
  if (white->rest) out.rest = white->rest->at;
  return out;
}

practice::Comparison compare_paths(const BallPath& real, const std::optional<Place>& real_rest,
                                   const practice::ComputedPath& computed) {
  practice::Comparison c;
  if (!real.contacts.empty() && !computed.contacts.empty() && same(real.contacts[0], computed.contacts[0]))
    c.first_contact_off = (real.contacts[0].at - computed.contacts[0].at).norm();
  if (real_rest && computed.rest) c.rest_off = real_rest->at - *computed.rest;

  double until = real.rows.empty() ? 0 : real.rows.back().time;
  for (std::size_t i = 0; i < std::max(real.contacts.size(), computed.contacts.size()); ++i) {
    if (i < real.contacts.size() && i < computed.contacts.size() && same(real.contacts[i], computed.contacts[i])) {
      c.at_contacts.emplace_back(real.contacts[i].with, (real.contacts[i].at - computed.contacts[i].at).norm());
      continue;
    }
    if (i < real.contacts.size()) until = std::min(until, real.contacts[i].time);
    if (i < computed.contacts.size()) until = std::min(until, computed.contacts[i].time);
    break;
  }
  const std::size_t alike = c.at_contacts.size();  // contacts from the first on that both have
  std::size_t leg = 0;
  const double far = kPartedBy * std::max(kPathU, real.rms);
  for (const PathRow& r : real.rows) {
    const auto where = at(computed.path, r.time);
    if (where && r.time <= until) c.worst_off = std::max(c.worst_off.value_or(0), (r.at - *where).norm());
    while (leg < alike && r.time > real.contacts[leg].time) ++leg;
    const auto [from, to] = leg_after(computed.contacts, leg);
    const auto off = off_the_way(r.at, computed.path, from, to);
    if (!off) continue;
    if (*off <= far)
      c.parts.reset();
    else if (!c.parts && r.seen)
      c.parts = r;
  }
  return c;
}

}  // namespace baizetrace::compare
