#include <algorithm>
#include <cmath>

#include "motion/motion.hpp"
#include "motion/simulator.hpp"

namespace baizetrace::motion {

namespace {
constexpr double kHighestNose = 0.6;  // (h - R) / R: above it the cushion model's friction can jam a ball
constexpr double kFastestBall = 20;   // m/s
constexpr double kMostSpin = 5000;    // rad/s

Result<Done> check_balls(const table::Table& table, std::span<const Ball> balls) {
  for (const Ball& b : balls) {
    if (!b.place.allFinite() || !b.velocity.allFinite() || !b.spin.allFinite())
      return fail("{}: its place, velocity or spin is not a finite number", b.name);
    if (!(b.radius >= 0.01 && b.radius <= 0.05))
      return fail("{}: radius is {} m, expected 0.01 to 0.05", b.name, b.radius);
    if (!(b.mass >= 0.02 && b.mass <= 0.5)) return fail("{}: mass is {} kg, expected 0.02 to 0.5", b.name, b.mass);
    if (b.velocity.norm() > kFastestBall)
      return fail("{}: speed is {} m/s, expected at most {}", b.name, b.velocity.norm(), kFastestBall);
    if (b.spin.norm() > kMostSpin)
      return fail("{}: spin is {} rad/s, expected at most {}", b.name, b.spin.norm(), kMostSpin);
    if (std::abs(table.nose_height() - b.radius) > kHighestNose * b.radius)
      return fail(
          "{}: the table's noses at {} m do not suit its radius of {} m, expected within {} radii of its centre",
          b.name, table.nose_height(), b.radius, kHighestNose);
    if (!table.on_bed(b.place, b.radius, kOverlap))
      return fail("{}: ({:.4f}, {:.4f}) is not on the bed, expected |x| up to {:.4f} and |y| up to {:.4f} m", b.name,
                  b.place.x(), b.place.y(), table.half_width() - table.touch_distance(b.radius),
                  table.half_length() - table.touch_distance(b.radius));
  }
  for (std::size_t i = 0; i < balls.size(); ++i)
    for (std::size_t j = i + 1; j < balls.size(); ++j) {
      if (balls[i].name == balls[j].name) return fail("{}: there are two balls of that name", balls[i].name);
      const double overlap =
          touching_distance(balls[i].radius, balls[j].radius) - (balls[i].place - balls[j].place).norm();
      if (overlap > kOverlap)
        return fail("{} and {} overlap by {:.2f} mm", balls[i].name, balls[j].name, 1000 * overlap);
    }
  return Done{};
}

Result<Prediction> play(const table::Table& table, const Conditions& conditions, std::span<const Ball> balls,
                        const Strike* strike, const Options& options) {
  if (auto ok = conditions.validate(); !ok) return pass_on(ok);
  if (auto ok = check_balls(table, balls); !ok) return pass_on(ok);
  Simulator simulator(table, conditions);
  std::vector<Body> bodies;
  std::vector<State> states;
  for (const Ball& b : balls) {
    bodies.push_back({b.radius, b.mass});
    states.push_back({b.place, b.velocity, b.spin});
  }
  Prediction out;
  if (strike) {
    if (auto ok = validate(*strike); !ok) return pass_on(ok);
    const auto cue =
        std::find_if(balls.begin(), balls.end(), [&](const Ball& b) { return b.name == options.cue_ball; });
    if (cue == balls.end()) return fail("there is no cue ball, expected a ball named \"{}\"", options.cue_ball);
    states[static_cast<std::size_t>(cue - balls.begin())] = struck(*strike, cue->place, cue->radius);
    out.strike = *strike;
  }
  out.complete = simulator.run(bodies, states, options.most_events);
  out.events = simulator.steps();
  out.total_time = simulator.total_time();
  if (!out.complete)
    out.why = fmt::format("stopped after {} events, {:.3f} s after the strike; balls may still be moving",
                          options.most_events, out.total_time);
  out.balls.resize(balls.size());
  out.spins.resize(balls.size());
  for (std::size_t i = 0; i < balls.size(); ++i) {
    BallPath& p = out.balls[i];
    p.ball = balls[i].name;
    p.pieces.assign(simulator.pieces(i).begin(), simulator.pieces(i).end());
    if (!simulator.fell(i) && (out.complete || p.pieces.empty() || p.pieces.back().phase == Piece::Phase::rest)) {
      p.rest = Place{simulator.rest(i), Vec2::Zero()};
      p.rest_time = simulator.rest_time(i);
    }
  }
  for (const Event& e : simulator.events()) {
    Contact c;
    c.time = e.time;
    c.kind = e.kind;
    c.with = e.kind == ContactKind::ball      ? balls[e.with].name
             : e.kind == ContactKind::cushion ? simulator.ground().cushions[e.with]
                                              : simulator.ground().pocket_names[e.with];
    c.at = e.at;
    c.speed_in = e.velocity_in.norm();
    c.speed_out = e.velocity_out.norm();
    c.heading_in = heading_of(e.velocity_in);
    c.heading_out = heading_of(e.velocity_out);
    BallPath& p = out.balls[e.ball];
    if (e.kind == ContactKind::pocket) {
      p.pocket = c.with;
      p.pocket_time = c.time;
    }
    p.contacts.push_back(std::move(c));
    out.spins[e.ball].emplace_back(e.before.spin, e.after.spin);
  }
  return out;
}
}  // namespace

const BallPath* Prediction::ball(std::string_view name) const {
  for (const BallPath& b : balls)
    if (b.ball == name) return &b;
  return nullptr;
}

Result<Prediction> simulate(const table::Table& table, const Conditions& conditions, std::span<const Ball> balls,
                            const Strike& strike, const Options& options) {
  return play(table, conditions, balls, &strike, options);
}

Result<Prediction> simulate_moving(const table::Table& table, const Conditions& conditions, std::span<const Ball> balls,
                                   const Options& options) {
  return play(table, conditions, balls, nullptr, options);
}

Result<Done> part(const table::Table& table, std::vector<Ball>& balls, double most) {
  constexpr int kSweeps = 100;
  const std::vector<Ball> given = balls;
  for (int sweep = 0; sweep < kSweeps; ++sweep) {
    bool moved = false;
    for (Ball& b : balls) {
      const double d = table.touch_distance(b.radius);
      const Vec2 most_at(table.half_width() - d, table.half_length() - d);
      const Vec2 inside = b.place.cwiseMax(-most_at).cwiseMin(most_at);
      moved = moved || inside != b.place;
      b.place = inside;
    }
    for (std::size_t i = 0; i < balls.size(); ++i)
      for (std::size_t j = i + 1; j < balls.size(); ++j) {
        const Vec2 apart = balls[j].place - balls[i].place;
        const double overlap = touching_distance(balls[i].radius, balls[j].radius) - apart.norm();
        if (overlap <= 0.1 * kOverlap) continue;
        moved = true;
        const Vec2 push =
            (0.5 * overlap + 0.05 * kOverlap) * (apart.norm() > 0 ? Vec2(apart.normalized()) : Vec2(1, 0));
        balls[i].place -= push;
        balls[j].place += push;
      }
    if (!moved) break;
  }
  for (std::size_t i = 0; i < balls.size(); ++i)
    if (!((balls[i].place - given[i].place).norm() <= most))
      return fail("{} overlaps a neighbour or a nose by more than {:.0f} mm", balls[i].name, 1000 * most);
  return Done{};
}

Ball make_ball(const table::BallSet& set, const std::string& name, const Vec2& place) {
  const table::BallKind& k = set.kinds[set.kind_of(name).value_or(0)];
  Ball b;
  b.name = name;
  b.place = place;
  b.radius = k.radius;
  b.mass = k.mass;
  return b;
}

double path_length(const BallPath& path) {
  double sum = 0;
  for (const Piece& p : path.pieces) {
    if (p.phase == Piece::Phase::rest) continue;
    const double span = p.to - p.from;
    if (p.phase == Piece::Phase::roll) {
      sum += (p.at(p.to) - p.place).norm();
    } else {
      // Length of a parabola's arc: Gauss-Legendre on |v|, smooth over a slide.
      constexpr int kParts = 4;
      static constexpr double kNode[3] = {-0.7745966692414834, 0.0, 0.7745966692414834};
      static constexpr double kWeight[3] = {5.0 / 9, 8.0 / 9, 5.0 / 9};
      const double half = span / kParts / 2;
      for (int k = 0; k < kParts; ++k)
        for (int q = 0; q < 3; ++q) {
          const double t = p.from + (2 * k + 1 + kNode[q]) * half;
          sum += kWeight[q] * half * p.velocity_at(t).norm();
        }
    }
  }
  return sum;
}

Result<double> lengths_of(double speed, const table::Table& table, const Conditions& conditions, const Ball& cue_ball) {
  Ball b = cue_ball;
  const double y = table.spec().baulk_line ? table.baulk_line_y() : -0.6 * table.half_length();
  b.place = Vec2(0, y);
  Strike s;
  s.speed = speed;
  Options o;
  o.cue_ball = b.name;
  const auto p = simulate(table, conditions, std::span(&b, 1), s, o);
  if (!p) return pass_on(p);
  return path_length(p->balls[0]) / (2 * table.half_length());
}

Result<double> speed_for(double lengths, const table::Table& table, const Conditions& conditions,
                         const Ball& cue_ball) {
  double low = 0.02, high = kFastestStrike;
  const auto least = lengths_of(low, table, conditions, cue_ball);
  if (!least) return least;
  const auto most = lengths_of(high, table, conditions, cue_ball);
  if (!most) return most;
  if (!(lengths >= *least && lengths <= *most))
    return fail("lengths is {}, expected {:.2f} to {:.1f} on these conditions", lengths, *least, *most);
  constexpr int kHalvings = 60;
  for (int i = 0; i < kHalvings && high - low > 1e-12; ++i) {
    const double middle = 0.5 * (low + high);
    const auto l = lengths_of(middle, table, conditions, cue_ball);
    if (!l) return l;
    (*l < lengths ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

}  // namespace baizetrace::motion
