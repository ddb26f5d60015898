// The laws of the whole simulator on thousands of random tables, and the same result bit for bit.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cstdlib>
#include <cstring>

#include "base/files.hpp"
#include "motion/motion.hpp"
#include "motion/roots.hpp"
#include "motion/simulator.hpp"

namespace baizetrace::motion {
namespace {

// A thousand tables a law unless the environment says otherwise.
const int kMany = setenv("RC_PARAMS", "max_success=1000", 0);

constexpr double kR = 0.02625;
constexpr double kOverlapBound = 1e-6;  // m, the bound the simulator is held to

const table::Table& full_size() {
  static const table::Table t = [] {
    set_data_folder(BAIZETRACE_SOURCE);
    return table::Table(*table::read_spec("full-size"));
  }();
  return t;
}

double share() { return *rc::gen::inRange(-1000000, 1000001) / 1e6; }

// Up to 22 balls that do not overlap; some touch each other, some a cushion.
std::vector<Ball> random_balls() {
  const table::Table& t = full_size();
  const double x = t.half_width() - t.touch_distance(kR), y = t.half_length() - t.touch_distance(kR);
  const int wanted = *rc::gen::inRange(1, 23);
  std::vector<Ball> balls;
  for (int tries = 0; static_cast<int>(balls.size()) < wanted && tries < 200; ++tries) {
    Ball b;
    b.name = balls.empty() ? "white" : "red-" + std::to_string(balls.size());
    b.place = Vec2(x * share(), y * share());
    const int kind = *rc::gen::inRange(0, 6);
    if (kind == 0) b.place.x() = b.place.x() > 0 ? x : -x;
    if (kind == 1 && !balls.empty()) {
      const double angle = kPi * share();
      b.place = balls.back().place + 2 * kR * along_heading(angle);
    }
    const bool inside = std::abs(b.place.x()) <= x && std::abs(b.place.y()) <= y;
    const bool apart = std::all_of(balls.begin(), balls.end(),
                                   [&](const Ball& o) { return (o.place - b.place).norm() >= 2 * kR - 1e-9; });
    if (inside && apart) balls.push_back(b);
  }
  return balls;
}

Strike random_strike() {
  Strike s;
  s.speed = 0.05 + 4 * (1 + share());
  s.heading = kPi * share();
  s.right = 0.35 * share();
  s.height = 0.35 * share();
  s.elevation = 0.2 * (1 + share());
  return s;
}

double energy(const Simulator& sim, std::size_t n, double time) {  // of the centres alone, J/kg: spin is in the events
  double sum = 0;
  for (std::size_t i = 0; i < n; ++i)
    for (const Piece& p : sim.pieces(i))
      if (time >= p.from && time < p.to) sum += 0.5 * p.velocity_at(time).squaredNorm();
  return sum;
}

RC_GTEST_PROP(Laws, NothingOverlapsNothingLeavesAllRests, ()) {
  ASSERT_EQ(kMany, 0);
  const auto balls = random_balls();
  const auto p = simulate(full_size(), {}, balls, random_strike());
  RC_ASSERT(p.has_value());
  RC_ASSERT(p->complete);
  const table::Table& t = full_size();
  for (std::size_t i = 0; i < p->balls.size(); ++i) {
    const BallPath& a = p->balls[i];
    RC_ASSERT(a.rest.has_value() != a.pocket.has_value());
    if (a.rest)
      RC_ASSERT(std::abs(a.rest->at.x()) < t.half_width() + 0.1 && std::abs(a.rest->at.y()) < t.half_length() + 0.1);
    for (const Piece& q : a.pieces) {
      RC_ASSERT(q.to > q.from);
      for (const double time : {q.from, 0.5 * (q.from + q.to), q.to}) {
        const Vec2 at = q.at(time);
        RC_ASSERT(std::abs(at.x()) < t.half_width() + 0.1 && std::abs(at.y()) < t.half_length() + 0.1);
        // Clear of every straight nose.
        for (const table::Nose& n : t.noses()) {
          const Vec2 way = (n.b - n.a).normalized();
          const double along = (at - n.a).dot(way);
          if (along >= 0 && along <= (n.b - n.a).norm())
            RC_ASSERT((at - n.a).dot(n.inward) > t.touch_distance(kR) - kOverlapBound);
        }
        for (std::size_t j = 0; j < p->balls.size(); ++j) {
          if (j == i || (p->balls[j].pocket && time >= p->balls[j].pocket_time)) continue;
          if (a.pocket && time >= a.pocket_time) continue;
          const auto other = p->balls[j].at(time);
          if (other) RC_ASSERT((*other - at).norm() > 2 * kR - kOverlapBound);
        }
      }
    }
  }
}

RC_GTEST_PROP(Laws, EnergyNeverRisesAtAContactAndMomentumIsKept, ()) {
  const auto balls = random_balls();
  Simulator sim(full_size(), {});
  std::vector<Body> bodies;
  std::vector<State> start;
  for (const Ball& b : balls) {
    bodies.push_back({b.radius, b.mass});
    start.push_back({b.place, Vec2::Zero(), Vec3::Zero()});
  }
  start[0] = struck(random_strike(), balls[0].place, kR);
  sim.run(bodies, start, 20000);
  const double scale = energy_over_mass(start[0], kR);
  const auto events = sim.events();
  for (std::size_t k = 0; k < events.size();) {
    // All events of one instant that are ball-ball belong together.
    std::size_t end = k + 1;
    if (events[k].kind == ContactKind::ball) end = k + 2;
    double before = 0, after = 0;
    Vec2 change = Vec2::Zero();
    bool repeated = false;
    for (std::size_t m = k; m < end; ++m) {
      before += energy_over_mass(events[m].before, kR);
      after += energy_over_mass(events[m].after, kR);
      change += events[m].after.velocity - events[m].before.velocity;
    }
    // A group solved together logs a ball once for each of its contacts: judged by the whole run's energy instead.
    for (std::size_t m = 0; m < events.size(); ++m)
      repeated = repeated || (m / 2 != k / 2 && events[m].time == events[k].time);
    if (!repeated) {
      RC_ASSERT(after <= before + 1e-12 * scale);
      if (events[k].kind == ContactKind::ball) RC_ASSERT(change.norm() <= 1e-12 * std::sqrt(scale));
    }
    k = end;
  }
  RC_ASSERT(energy(sim, balls.size(), 0.5 * sim.total_time()) <= scale * (1 + 1e-12));
}

RC_GTEST_PROP(Laws, MirrorImageAndOrderOfBalls, ()) {
  auto balls = random_balls();
  const Strike s = random_strike();
  const auto p = simulate(full_size(), {}, balls, s);
  RC_ASSERT(p.has_value());
  auto mirrored = balls;
  for (Ball& b : mirrored) b.place.x() = -b.place.x();
  Strike m = s;
  m.heading = -s.heading;
  m.right = -s.right;
  const auto q = simulate(full_size(), {}, mirrored, m);
  auto reversed = balls;
  std::reverse(reversed.begin(), reversed.end());
  const auto r = simulate(full_size(), {}, reversed, s);
  RC_ASSERT(q.has_value() && r.has_value());
  // Compared over the first contacts: rounding grows by 2 d / R at each ball-ball contact and would be all of a late
  // one.
  constexpr std::size_t kFirst = 3;
  for (const BallPath& a : p->balls) {
    const BallPath *b = q->ball(a.ball), *c = r->ball(a.ball);
    for (std::size_t k = 0; k < std::min(kFirst, a.contacts.size()); ++k) {
      if (a.contacts[k].time > 0.5) break;
      RC_ASSERT(b->contacts.size() > k && c->contacts.size() > k);
      RC_ASSERT(std::abs(a.contacts[k].time - b->contacts[k].time) < 1e-6);
      RC_ASSERT((a.contacts[k].at - Vec2(-b->contacts[k].at.x(), b->contacts[k].at.y())).norm() < 1e-6);
      RC_ASSERT((a.contacts[k].at - c->contacts[k].at).norm() < 1e-6);
    }
  }
}

RC_GTEST_PROP(Laws, TheSameBitForBit, ()) {
  const auto balls = random_balls();
  const Strike s = random_strike();
  const auto p = simulate(full_size(), {}, balls, s), q = simulate(full_size(), {}, balls, s);
  RC_ASSERT(p.has_value() && q.has_value());
  for (std::size_t i = 0; i < p->balls.size(); ++i) {
    RC_ASSERT(p->balls[i].pieces.size() == q->balls[i].pieces.size());
    for (std::size_t k = 0; k < p->balls[i].pieces.size(); ++k) {
      const Piece &a = p->balls[i].pieces[k], &b = q->balls[i].pieces[k];
      RC_ASSERT(std::memcmp(&a.from, &b.from, sizeof a.from) == 0);
      RC_ASSERT(std::memcmp(a.place.data(), b.place.data(), 2 * sizeof(double)) == 0);
    }
  }
}

RC_GTEST_PROP(Roots, QuarticsFromTheirRoots, ()) {
  // f = (t - a)(t - b)((t - c)^2 + d^2): falls through zero at the smaller of a and b.
  const double a = 0.5 + 0.5 * share(), b = 2 + share() * 0.5, c = 2 * share(), d = 0.1 + std::abs(share());
  const double q2 = 1, q1 = -(a + b), q0 = a * b, r1 = -2 * c, r0 = c * c + d * d;
  const Quartic f{q0 * r0, q1 * r0 + q0 * r1, q2 * r0 + q1 * r1 + q0, q2 * r1 + q1, 1};
  const double t = first_touch(f, 3.0);
  RC_ASSERT(std::abs(t - a) < 1e-11);  // coefficients rounded to 1e-16 over a slope of about 0.01 or more
}

TEST(BadInput, EachNamesTheValueAndTheRange) {
  const table::Table& t = full_size();
  const auto says = [&](Strike s, Conditions c, std::vector<Ball> balls, const char* words) {
    const auto p = simulate(t, c, balls, s);
    ASSERT_FALSE(p) << words;
    EXPECT_NE(p.error().what.find(words), std::string::npos) << p.error().what;
  };
  Ball w;
  w.name = "white";
  Ball r = w;
  r.name = "red-1";
  r.place = Vec2(0, 0.05);
  const Strike ok{.speed = 1};
  says({.speed = -1}, {}, {w}, "speed is -1");
  says({.speed = std::nan("")}, {}, {w}, "speed is nan");
  says({.speed = 1, .heading = 0, .right = 0.5, .height = 0.5}, {}, {w}, "miscue");
  says(ok, {}, {w, r}, "overlap by 2.50 mm");
  says(ok, {}, {r}, "no cue ball");
  Conditions c;
  c.rolling = -0.1;
  c.sliding = 7;
  says(ok, c, {w}, "sliding is 7");
  says(ok, c, {w}, "rolling is -0.1");
  Ball far = w;
  far.place = Vec2(0.9, 0);
  says(ok, {}, {far}, "not on the bed");
  far.place = Vec2(std::nan(""), 0);
  says(ok, {}, {far}, "not a finite number");
  Ball heavy = w;
  heavy.mass = 3;
  says(ok, {}, {heavy}, "mass is 3 kg");
}

TEST(Budget, RunsOutWithAReason) {
  Ball w;
  w.name = "white";
  const auto p = simulate(full_size(), {}, std::span(&w, 1), {.speed = 6}, {.most_events = 2});
  ASSERT_TRUE(p);
  EXPECT_FALSE(p->complete);
  EXPECT_NE(p->why.find("2 events"), std::string::npos);
}

TEST(Pressed, BallDrivenIntoACushionAndAFrozenBallEnds) {
  // Top spin against a frozen ball and a cushion: pressed together again and again, and still it ends.
  const table::Table& t = full_size();
  const double y = t.half_length() - t.touch_distance(kR);
  Ball w, r;
  w.name = "white";
  r.name = "red-1";
  r.place = Vec2(0.2, y);
  w.place = Vec2(0.2, y - 2 * kR);
  const std::vector<Ball> balls{w, r};
  const auto p = simulate(t, {}, balls, {.speed = 3, .heading = 0, .right = 0, .height = 0.5});
  ASSERT_TRUE(p) << p.error().what;
  EXPECT_TRUE(p->complete) << p->why;
}

}  // namespace
}  // namespace baizetrace::motion
