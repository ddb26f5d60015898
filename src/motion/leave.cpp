#include "motion/leave.hpp"

#include <algorithm>
#include <cmath>

#include "motion/ball_contact.hpp"

namespace baizetrace::motion {

namespace {
// A ball of radius r going straight from a to b touches a ball standing at p.
bool in_the_way(const Vec2& a, const Vec2& b, const Vec2& p, double touching) {
  const Vec2 d = b - a;
  const double length = d.norm();
  if (length == 0) return (p - a).norm() < touching;
  const double t = std::clamp((p - a).dot(d) / (length * length), 0.0, 1.0);
  return (p - a - t * d).norm() < touching;
}
}  // namespace

std::optional<Leave> leave_of(std::span<const Ball> balls, const table::Table& table, const std::string& name,
                              const std::string& into, const std::string& cue_ball) {
  const auto find = [&](const std::string& n) {
    return std::find_if(balls.begin(), balls.end(), [&](const Ball& b) { return b.name == n; });
  };
  const auto white = find(cue_ball), ball = find(name);
  const table::Pocket* pocket = table.pocket(into);
  if (white == balls.end() || ball == balls.end() || !pocket) return std::nullopt;
  Leave out;
  out.ball = name;
  out.into = into;
  const Vec2 target = pocket->mouth_middle();
  const Vec2 line = (target - ball->place).normalized();
  const double touching = touching_distance(white->radius, ball->radius);
  const Vec2 stand = ball->place - touching * line;  // where the white is when it meets the ball right
  const Vec2 way = stand - white->place;
  out.distance = way.norm();
  const Vec2 aim = out.distance > 0 ? Vec2(way / out.distance) : line;
  out.cut = std::acos(std::clamp(aim.dot(line), -1.0, 1.0));
  out.on = out.cut < kPi / 2;
  out.side = cross(line, white->place - ball->place) > 0 ? "left" : "right";
  out.fullness = out.on ? 1 - std::sin(out.cut) : 0.0;
  for (const Ball& b : balls) {
    if (b.name == name || b.name == cue_ball) continue;
    if (in_the_way(white->place, stand, b.place, touching_distance(white->radius, b.radius)) ||
        in_the_way(ball->place, target, b.place, touching_distance(ball->radius, b.radius))) {
      out.blocked_by = b.name;
      break;
    }
  }
  out.clear = out.on && out.blocked_by.empty();
  for (const Ball& b : balls) {
    if (b.name == cue_ball) continue;
    const Vec2 d = b.place - white->place;
    // Behind the white, under the cue: within two ball widths of its line.
    if (d.norm() < kHamperedByBall && d.dot(aim) < 0 && std::abs(cross(aim, d)) < 2 * b.radius)
      out.hampered_by = b.name;
  }
  for (const table::Nose& n : table.noses())
    if ((white->place - n.a).dot(n.inward) < kHamperedByCushion && n.inward.dot(aim) > 0) {
      // The cushion lies behind the white.
      if (!out.hampered_by) out.hampered_by = n.cushion;
    }
  return out;
}

std::vector<Ball> balls_after(const Prediction& prediction, std::span<const Ball> balls) {
  std::vector<Ball> out;
  for (const Ball& b : balls) {
    const BallPath* path = prediction.ball(b.name);
    if (!path || !path->rest) continue;
    Ball after = b;
    after.place = path->rest->at;
    after.velocity.setZero();
    after.spin.setZero();
    out.push_back(after);
  }
  return out;
}

}  // namespace baizetrace::motion
