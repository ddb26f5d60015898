// An invented evening: a player sets a shot up again and again, with everything that happens between; told as the looks
// of a good eye. Balls run as motion::simulate() says, hands cover and carry. The truth is kept beside.
#pragma once

#include <fmt/ranges.h>

#include <algorithm>
#include <functional>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "base/sighting.hpp"
#include "motion/motion.hpp"
#include "path/reconstruct.hpp"
#include "practice/attempts.hpp"
#include "practice/scoring.hpp"
#include "practice/sorting.hpp"
#include "support/truth_looks.hpp"

namespace baizetrace::invented {

using support::Dice;

struct TrueShot {
  double time = 0;
  bool attempt = true;                        // false: a follow-on or a ball sent back with the cue
  std::map<std::string, std::string> potted;  // ball, pocket; the white too
  bool by_hand = false;                       // the white was taken before it rested
  std::string what;
};

class Evening {
 public:
  Evening(const table::Table& table, const table::BallSet& set, std::uint64_t seed)
      : dice{seed}, table_(table), set_(set) {}

  Dice dice;
  double now = 0;
  std::map<std::string, Vec2> lie;  // balls at rest on the table
  std::vector<TrueShot> shots;

  void put_at_once(const std::string& ball, const Vec2& at) { lie[ball] = at, keep(ball, 0, at); }
  void wait(double seconds) { now += seconds; }

  // A hand fetches a ball, wherever it is, and puts it down.
  void place(const std::string& ball, const Vec2& to) {
    const Vec2 from = lie.contains(ball) ? lie[ball] : edge_near(to);
    const double reach = now + 0.5, lift = reach + 0.3, down = lift + 0.6 + 0.4 * dice.uniform(), leave = down + 0.5;
    hand(now, reach, edge_near(from), from);
    hand(reach, lift, from, from);
    hand(lift, down, from, to);
    hand(down, leave, to, edge_near(to));
    gone(ball, lift);
    carried_.push_back({ball, lift, down, from, to});
    lie[ball] = to;
    keep(ball, down, to);
    now = leave + 0.3 + 0.3 * dice.uniform();
  }
  void take(const std::string& ball) {
    const Vec2 from = lie[ball];
    hand(now, now + 0.5, edge_near(from), from);
    gone(ball, now + 0.5);
    hand(now + 0.5, now + 1.2, from, edge_near(from));
    lie.erase(ball);
    now += 1.5;
  }
  // A finger sets a ball right by millimetres.
  void nudge(const std::string& ball, const Vec2& by) {
    const Vec2 at = lie[ball];
    hand(now, now + 0.4, edge_near(at), at);
    hand(now + 0.4, now + 0.8, at, at);
    keep(ball, now + 0.6, at + by);
    lie[ball] = at + by;
    hand(now + 0.8, now + 1.2, at, edge_near(at));
    now += 1.6;
  }
  // Somebody walks along a side and leans over the edge of the bed.
  void walk_by() {
    const double side = dice.uniform() < 0.5 ? -1 : 1, x = side * (table_.half_width() - 0.05);
    hand(now, now + 3, {x, -table_.half_length()}, {x, table_.half_length()}, 0.14);
    now += 3.3;
  }
  void brush() {
    for (double x = -0.7; x < 0.8; x += 0.35, now += 1.2)
      hand(now, now + 1.2, {x, -table_.half_length()}, {x, table_.half_length()}, 0.10);
    now += 0.5;
  }
  // A ball that a hand sends straight to a place, slowing as cloth slows it.
  struct Roll {
    std::string ball;
    Vec2 from = Vec2::Zero(), along = Vec2::Zero();
    double speed = 0, slows = 0.0095 * kGravity;  // m/s, m/s^2
    double off = 0, lasts = 0;                    // s: when the hand lets go, how long it rolls
    [[nodiscard]] Vec2 at(double t) const {
      const double s = std::clamp(t - off, 0.0, lasts);
      return from + along * (speed * s - 0.5 * slows * s * s);
    }
  };
  // The roll that would begin now.
  [[nodiscard]] Roll roll_to(const std::string& ball, const Vec2& to) const {
    Roll r;
    r.ball = ball;
    r.from = lie.at(ball);
    const double length = (to - r.from).norm();
    r.along = (to - r.from) / std::max(length, 1e-6);
    r.speed = std::sqrt(2 * r.slows * length);
    r.lasts = r.speed / r.slows;
    r.off = now + 0.6;
    return r;
  }
  // A hand rolls a ball straight to a place.
  void roll_by_hand(const std::string& ball, const Vec2& to) {
    const Roll r = roll_to(ball, to);
    hand(now, r.off, edge_near(r.from), r.from);
    hand(r.off, r.off + 0.25, r.from, r.from);
    hand(r.off + 0.25, r.off + 0.8, r.from, edge_near(r.from));
    move(ball, r.off, r.off + r.lasts, [r](double t) { return r.at(t); });
    keep(ball, r.off + r.lasts, to);
    lie[ball] = to;
    now = r.off + r.lasts + 0.8;
  }
  // Whether the roll meets a ball that lies, or one that moves after a strike at `struck` (s); or
  // whether one of them passes where it will come to rest.
  [[nodiscard]] bool meets(const Roll& r, const motion::Strike& how, const motion::Conditions& conditions,
                           double struck) const {
    std::vector<motion::Ball> balls;
    for (const auto& [name, at] : lie)
      if (name != r.ball) balls.push_back(motion::make_ball(set_, name, at));
    if (!motion::part(table_, balls)) std::abort();
    const auto run = motion::simulate(table_, conditions, balls, how);
    if (!run) std::abort();
    const double clear = 2 * set_.kinds[0].radius + 0.005;
    for (double t = r.off; t < std::max(r.off + r.lasts, struck + 20); t += 0.004) {
      for (const motion::Ball& b : balls) {
        const auto p = std::find_if(run->balls.begin(), run->balls.end(),
                                    [&](const BallPath& path) { return path.ball == b.name; });
        Vec2 at = b.place;
        if (p != run->balls.end() && t > struck) {
          if (p->pocket && t - struck > p->pocket_time) continue;
          at = p->at(t - struck).value_or(p->rest ? p->rest->at : b.place);
        }
        if ((at - r.at(t)).norm() < clear || (at - r.at(r.off + r.lasts)).norm() < clear) return true;
      }
    }
    return false;
  }

  struct Play {
    bool attempt = true;
    double taken_at = 0;      // s after the strike at which a hand takes the white; 0: not
    double off_table_at = 0;  // s after the strike from which the first object ball flies over its next cushion; 0: not
    bool rest_across = false;  // the rest lies across the bed
    double wait_for = 1e9;     // s after the strike at which the evening goes on, balls rolling or not
    std::string what;
  };
  void strike(const motion::Strike& how, const motion::Conditions& conditions, const Play& play) {
    std::vector<motion::Ball> balls;
    for (const auto& [name, at] : lie) balls.push_back(motion::make_ball(set_, name, at));
    if (!motion::part(table_, balls)) std::abort();
    const Vec2 white = lie["white"], back = along_heading(how.heading);
    hand(now, now + 0.5, edge_near(white), white - 0.25 * back, 0.05);
    hand(now + 0.5, now + 1.6, white - 0.25 * back, white - 0.25 * back, 0.05);
    if (play.rest_across) bar(now, now + 2.4, white - 0.2 * back, edge_near(white));
    const double at = now + 1.5;
    cue_.push_back({at - 0.15, at + 0.06, white - 0.06 * back});
    hand(at + 0.1, at + 0.8, white - 0.25 * back, edge_near(white), 0.05);
    const auto run = motion::simulate(table_, conditions, balls, how);
    if (!run) std::abort();
    TrueShot shot;
    shot.time = at;
    shot.attempt = play.attempt;
    shot.what = play.what;
    double last = at;
    std::string flew;
    for (const BallPath& p : run->balls) {
      if (p.contacts.empty() && p.ball != "white") continue;
      const double end = p.pocket ? p.pocket_time : p.rest_time;
      if (p.pieces.empty() || (p.pieces.size() == 1 && p.pieces[0].phase == Piece::Phase::rest)) continue;
      double until = at + end;
      bool lies_then = !p.pocket;
      if (p.ball == "white" && play.taken_at > 0 && play.taken_at < end) {
        until = at + play.taken_at;
        lies_then = false;
        shot.by_hand = true;
        const Vec2 there = p.at(play.taken_at).value_or(white);
        hand(until - 0.4, until + 0.2, there, there);
        hand(until + 0.2, until + 0.9, there, edge_near(there));
      } else if (p.ball != "white" && play.off_table_at > 0 && flew.empty() && over_a_cushion(p, play.off_table_at)) {
        until = at + *over_a_cushion(p, play.off_table_at);
        lies_then = false;
        flew = p.ball;
      } else if (p.pocket) {
        shot.potted[p.ball] = *p.pocket;
      }
      const BallPath path = p;
      move(p.ball, at, until,
           [path, at](double t) -> Vec2 { return path.at(t - at).value_or(path.rest ? path.rest->at : Vec2(9, 9)); });
      if (lies_then) {
        lie[p.ball] = p.rest->at;
        keep(p.ball, until, p.rest->at);
      } else {
        lie.erase(p.ball);
        gone(p.ball, until);
      }
      last = std::max(last, until);
    }
    shots.push_back(std::move(shot));
    now = std::min(last, at + play.wait_for) + 1.0 + dice.uniform();
  }

  // Everything as looks, 30 a second, with half a millimetre of noise, gaps, confusions and false sightings.
  [[nodiscard]] std::vector<Look> looks(double until) {
    std::vector<Look> out;
    constexpr double kFrame = 1.0 / 30, kReadout = 0.012;
    Dice d{dice.state ^ 0x5eedULL};
    for (int frame = 0; frame * kFrame < until; ++frame) {
      Look l;
      l.frame = frame;
      l.time = frame * kFrame;
      l.cover.half_width = table_.half_width() + 0.15;
      l.cover.half_length = table_.half_length() + 0.15;
      std::vector<std::pair<Vec2, double>> discs;
      for (const Hand& h : hands_)
        if (l.time >= h.from && l.time < h.to) {
          const double f = (l.time - h.from) / (h.to - h.from);
          discs.emplace_back(h.a + f * (h.b - h.a), h.radius);
        }
      for (const Bar& b : bars_)
        if (l.time >= b.from && l.time < b.to)
          for (double f = 0; f <= 1; f += 0.05) discs.emplace_back(b.a + f * (b.b - b.a), 0.02);
      for (const auto& [at, radius] : discs)
        for (double x = -radius; x <= radius; x += 0.025)
          for (double y = -radius; y <= radius; y += 0.025)
            if (Vec2(x, y).norm() <= radius) l.cover.cover(at + Vec2(x, y));
      const auto sight = [&](const std::string& ball, const Vec2& at, double visible, bool moving) {
        Sighting s;
        s.frame = frame;
        s.row = 0.5 + 0.5 * at.y() / l.cover.half_length;
        s.time = l.time + kReadout * s.row;
        const double sd = 0.0005 * (visible < 0.95 ? 2.5 : moving ? 1.3 : 1.0);
        s.at = at + support::place_error(at, 0.0002, 1) + sd * Vec2(d.normal(), d.normal());
        s.covariance = (sd * sd + 4e-8) * Mat2::Identity();
        s.visible = visible;
        s.streak = moving;
        std::size_t kind = set_.kind_of(ball).value_or(0);
        if (d.uniform() < 0.02) kind = static_cast<std::size_t>(d.uniform() * 7.99);
        for (std::size_t k = 0; k < set_.kinds.size(); ++k)
          s.colour.push_back(k == kind ? 0.0F : static_cast<float>(-std::max(0.5, 6.0 + 2.0 * d.normal())));
        l.sightings.push_back(std::move(s));
      };
      for (const auto& [ball, moves] : moves_) {
        const double t = l.time + kReadout * 0.5;
        const Move* m = nullptr;
        for (const Move& x : moves)
          if (x.from <= t) m = &x;
        if (!m || !m->where) continue;
        const Vec2 at = m->where(std::min(t, m->to));
        const bool moving = t < m->to;
        double visible = 1;
        for (const auto& [c, r] : discs) {
          const double gap = (c - at).norm() - r;
          visible = std::min(visible, std::clamp((gap + 0.02625) / 0.0525, 0.0, 1.0));
        }
        for (const Cue& c : cue_)
          if (ball == "white" && l.time >= c.from && l.time < c.to && (at - c.at).norm() < 0.25) visible = 0;
        if (visible < 0.5 || d.uniform() < 0.02) continue;
        // The row's own time: a moving ball is where it is when its row is read.
        const double row = l.time + kReadout * (0.5 + 0.5 * at.y() / l.cover.half_length);
        sight(ball, moving ? m->where(std::clamp(row, m->from, m->to)) : at, visible, moving);
      }
      for (const Carried& c : carried_)
        if (l.time >= c.from && l.time < c.to && d.uniform() < 0.3) {
          const double f = (l.time - c.from) / (c.to - c.from);
          sight(c.ball, (c.a + f * (c.b - c.a)) * 1.03, 0.6, true);
        }
      if (d.uniform() < 0.02)
        sight("red-1", Vec2((2 * d.uniform() - 1) * table_.half_width(), (2 * d.uniform() - 1) * table_.half_length()),
              0.9, false);
      out.push_back(std::move(l));
    }
    return out;
  }

 private:
  struct Move {
    double from, to;
    std::function<Vec2(double)> where;  // empty: not on the table
  };
  struct Hand {
    double from, to;
    Vec2 a, b;
    double radius;
  };
  struct Bar {
    double from, to;
    Vec2 a, b;
  };
  struct Cue {
    double from, to;
    Vec2 at;
  };
  struct Carried {
    std::string ball;
    double from, to;
    Vec2 a, b;
  };
  [[nodiscard]] Vec2 edge_near(const Vec2& p) const {
    return {(p.x() < 0 ? -1 : 1) * (table_.half_width() + 0.2), p.y()};
  }
  // When a ball leaves the table: at its first cushion from then on, where nobody would say that it fell.
  [[nodiscard]] std::optional<double> over_a_cushion(const BallPath& path, double from) const {
    for (const Contact& c : path.contacts)
      if (c.time >= from && c.kind == ContactKind::cushion &&
          std::none_of(table_.pockets().begin(), table_.pockets().end(),
                       [&](const table::Pocket& p) { return p.to_fall(c.at) < 0.25; }))
        return c.time;
    return std::nullopt;
  }
  void hand(double from, double to, const Vec2& a, const Vec2& b, double radius = 0.08) {
    if (to > from) hands_.push_back({from, to, a, b, radius});
  }
  void bar(double from, double to, const Vec2& a, const Vec2& b) { bars_.push_back({from, to, a, b}); }
  void move(const std::string& ball, double from, double to, std::function<Vec2(double)> where) {
    moves_[ball].push_back({from, to, std::move(where)});
  }
  void keep(const std::string& ball, double from, const Vec2& at) {
    move(ball, from, from, [at](double) -> Vec2 { return at; });
  }
  void gone(const std::string& ball, double from) { moves_[ball].push_back({from, from, {}}); }

  const table::Table& table_;
  const table::BallSet& set_;
  std::map<std::string, std::vector<Move>> moves_;
  std::vector<Hand> hands_;
  std::vector<Bar> bars_;
  std::vector<Cue> cue_;
  std::vector<Carried> carried_;
};

struct Found {
  practice::Sorted sorted;
  std::vector<std::string> why_not;
};

// The chain from looks to sorted attempts, as `measure` runs it.
inline Found find_attempts(const std::vector<Look>& looks, const table::Table& table, const table::BallSet& set,
                           std::span<const practice::Setup> setups) {
  path::TrackerOptions names;
  if (setups.size() == 1)
    for (const motion::Ball& b : practice::balls_of(setups[0], table, set)) names.names.emplace_back(b.name, b.place);
  path::Tracker tracker(table, set, names);
  path::ReconstructOptions how;
  how.readout = 0.012;
  Found out;
  std::vector<practice::Attempt> shots;
  const auto take = [&](const path::Episode& e) {
    const auto paths = path::reconstruct(e, table, set, how);
    auto a = practice::attempt_from(e, paths, set, {});
    if (const std::string note = practice::under_way_note(paths); a && !note.empty())
      out.why_not.push_back(fmt::format("{:.1f} s: {}", a->strike_time, note));
    if (a)
      shots.push_back(std::move(*a));
    else
      out.why_not.push_back(fmt::format("{:.1f} s: {}", e.begin, paths.why_not));
  };
  for (const Look& l : looks)
    if (const auto e = tracker.push(l)) take(*e);
  if (const auto e = tracker.finish()) take(*e);
  out.sorted = practice::sort_shots(std::move(shots), setups, table, set);
  for (const practice::Warning& n : out.sorted.notes)
    out.why_not.push_back(fmt::format("{:.1f} s: {}", n.time, n.what));
  return out;
}

// What is wrong with the attempts found, one line each.
inline std::vector<std::string> faults(const std::vector<TrueShot>& truth, const Found& found) {
  std::vector<std::string> out;
  std::vector<bool> used(found.sorted.attempts.size(), false);
  for (const TrueShot& s : truth) {
    if (!s.attempt) continue;
    const practice::Attempt* a = nullptr;
    for (std::size_t k = 0; k < used.size(); ++k)
      if (!used[k] && std::abs(found.sorted.attempts[k].strike_time - s.time) < 0.5)
        a = &found.sorted.attempts[k], used[k] = true;
    const std::string name = fmt::format("{} at {:.1f} s", s.what, s.time);
    if (!a) {
      std::string near;  // what was said of that time
      for (const std::string& w : found.why_not)
        if (std::abs(std::atof(w.c_str()) - s.time) < 12) near += "; " + w;
      out.push_back(name + " was lost" + near);
      continue;
    }
    // Reds are all alike: which of them fell cannot be seen.
    const auto fell = [](const std::string& ball, const std::string& pocket) {
      return (ball.starts_with("red-") ? "red" : ball) + " " + pocket;
    };
    std::multiset<std::string> is, was;
    for (const auto& [ball, pocket] : s.potted) is.insert(fell(ball, pocket));
    for (const practice::Potted& p : a->potted) was.insert(fell(p.ball, p.pocket));
    if (a->in_off) was.insert(fell("white", a->in_off->pocket));
    if (is != was)
      out.push_back(fmt::format("{}: potted {} | measured {}", name, fmt::join(is, ", "), fmt::join(was, ", ")));
    if (s.by_hand != (a->ended == practice::Ended::hand)) out.push_back(name + ": ended by hand or not");
  }
  for (std::size_t k = 0; k < used.size(); ++k)
    if (!used[k])
      out.push_back(fmt::format("an attempt at {:.1f} s was invented", found.sorted.attempts[k].strike_time));
  return out;
}

}  // namespace baizetrace::invented
