#include "compare/replay.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::compare {
namespace {

// Where a piece of motion is at `t`, also a little outside it; it stands still once it has stopped.
Vec2 beyond(const Piece& p, double t) {
  double dt = t - p.from;
  if (p.phase == Piece::Phase::rest) return p.place;
  if (p.phase == Piece::Phase::roll) {
    const double slowing = -p.acceleration.dot(p.velocity) / std::max(p.velocity.norm(), 1e-12);
    if (slowing > 0) dt = std::min(dt, p.velocity.norm() / slowing);
  }
  return p.place + dt * (p.velocity + 0.5 * dt * p.acceleration);
}

}  // namespace

Replay::Replay(const Evidence& evidence, const table::Table& table, const motion::Conditions& conditions)
    : evidence_(evidence), table_(table), conditions_(conditions), simulator_(table, conditions) {
  for (const motion::Ball& b : evidence.balls) {
    bodies_.push_back({b.radius, b.mass});
    states_.emplace_back();
  }
}

bool Replay::run(const ShotNumbers& numbers, std::vector<motion::Simulator::Kick> kicks) {
  numbers_ = numbers;
  for (std::size_t i = 0; i < evidence_.balls.size(); ++i) {
    states_[i] = {};
    states_[i].place = i < evidence_.moved ? numbers.places[i] : evidence_.balls[i].place;
    for (std::size_t j = 0; j < i; ++j)
      if ((states_[i].place - states_[j].place).norm() <
          motion::touching_distance(bodies_[i].radius, bodies_[j].radius) - motion::kOverlap)
        return false;
  }
  states_[0] = motion::struck(numbers.strike, numbers.places[0], bodies_[0].radius);
  simulator_.set_conditions(turned(conditions_, numbers.play));
  simulator_.set_kicks(std::move(kicks));
  constexpr int kMostEvents = 400;
  if (!simulator_.run(bodies_, states_, kMostEvents)) return false;
  events_.assign(evidence_.moved, {});
  const auto all = simulator_.events();
  for (std::size_t k = 0; k < all.size(); ++k)
    if (all[k].ball < evidence_.moved) events_[all[k].ball].push_back(k);
  matched_.assign(evidence_.moved, 0);
  for (std::size_t b = 0; b < evidence_.moved; ++b) {
    const auto& wanted = evidence_.contacts[b];
    std::size_t m = 0;
    while (m < wanted.size() && m < events_[b].size() && is(wanted[m], all[events_[b][m]])) ++m;
    matched_[b] = m;
  }
  return true;
}

bool Replay::is(const Touched& wanted, const motion::Event& event) const {
  if (wanted == Touched{event.kind, event.with}) return true;
  if (wanted.kind != ContactKind::cushion || event.kind != ContactKind::jaw) return false;
  constexpr double kHair = 0.003;  // m along the nose: a middle jaw's normal turns by 3 degrees in it
  const motion::Ground& ground = simulator_.ground();
  return std::any_of(table_.jaws().begin(), table_.jaws().end(), [&](const table::Jaw& j) {
    if (j.cushion != ground.cushions[wanted.with] || j.pocket != ground.pocket_names[event.with]) return false;
    const Vec2 in = (j.start - j.centre).normalized(), along(-in.y(), in.x());
    return std::abs(along.dot(event.at - j.start)) < kHair;
  });
}

bool Replay::all_matched() const {
  for (std::size_t b = 0; b < matched_.size(); ++b)
    if (matched_[b] < evidence_.contacts[b].size()) return false;
  return true;
}

std::vector<Replay::Turn> Replay::turns() const {
  std::vector<Turn> out;
  for (std::size_t b = 0; b < matched_.size(); ++b)
    for (std::size_t k = 0; k < matched_[b]; ++k)
      out.push_back({events_[b][k], simulator_.events()[events_[b][k]].kind, b});
  return out;
}

Vec2 Replay::place(const Fact& f) const {
  if (f.when == Fact::When::before) return numbers_.places[f.ball];
  const auto pieces = simulator_.pieces(f.ball);
  const auto events = simulator_.events();
  const auto& mine = events_[f.ball];
  if (f.when == Fact::When::after) {
    // At rest after as many contacts as were seen; after more of them it rests elsewhere all the same.
    if (!simulator_.fell(f.ball)) return simulator_.rest(f.ball);
    return pieces.empty() ? numbers_.places[f.ball] : pieces.back().at(pieces.back().to);
  }
  const double t = f.time - numbers_.delay;
  // The contact that the flight begins with, and the one it ends with.
  const bool cue = f.ball == 0;
  const std::size_t begins = cue ? f.flight : f.flight + 1;  // so many contacts come before it
  if (begins > matched_[f.ball]) {
    for (const Piece& p : pieces)
      if (t <= p.to) return beyond(p, std::max(t, p.from));
    return pieces.empty() ? numbers_.places[f.ball] : beyond(pieces.back(), t);
  }
  constexpr double kSame = 1e-12;  // s
  const double from = begins == 0 ? -1e18 : events[mine[begins - 1]].time;
  const double to = begins < mine.size() ? events[mine[begins]].time : 1e18;
  const Piece* best = nullptr;
  for (const Piece& p : pieces) {
    if (p.from < from - kSame || p.from >= to - kSame) continue;
    if (best && t < p.from) break;
    best = &p;
  }
  return best ? beyond(*best, t) : numbers_.places[f.ball];
}

Eigen::VectorXd Replay::places() const {
  const auto n = static_cast<Eigen::Index>(evidence_.facts.size());
  Eigen::VectorXd out(2 * n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Fact& f = evidence_.facts[static_cast<std::size_t>(i)];
    Vec2 off = place(f) - f.at;
    if (const double size = off.norm(); size > kFarOff) off *= kFarOff / size;
    out[i] = f.at.x() + off.x();
    out[n + i] = f.at.y() + off.y();
  }
  return out;
}

}  // namespace baizetrace::compare
