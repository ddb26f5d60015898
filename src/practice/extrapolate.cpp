#include "practice/extrapolate.hpp"

#include <cmath>

#include "motion/motion.hpp"

namespace baizetrace::practice {

void extrapolate_rest(Attempt& a, const table::Table& table, const table::BallSet& set,
                      const motion::Conditions& conditions) {
  a.rest_extrapolated.reset();
  if (a.ended != Ended::hand || a.in_off || a.after.contains("white")) return;
  const auto white = a.balls.find("white");
  if (white == a.balls.end() || white->second.rows.size() < 3) return;
  const BallPath& path = white->second;
  motion::Ball cue = motion::make_ball(set, "white", path.rows.back().at);
  if (!path.pieces.empty()) {
    cue.place = path.pieces.back().at(path.pieces.back().to);
    cue.velocity = path.pieces.back().velocity_at(path.pieces.back().to);
  } else {
    const PathRow &p = path.rows[path.rows.size() - 3], &q = path.rows.back();
    if (!(q.time > p.time)) return;
    cue.velocity = (q.at - p.at) / (q.time - p.time);
  }
  // It rolls: whatever slid has stopped sliding within tenths of a second.
  cue.spin = Vec3(-cue.velocity.y(), cue.velocity.x(), 0) / cue.radius;
  std::vector<motion::Ball> balls{cue};
  for (const auto& [ball, place] : a.before) {
    if (ball == "white" || !set.kind_of(ball)) continue;
    const auto later = a.after.find(ball);
    if (a.balls.contains(ball) && later == a.after.end()) continue;  // fell, or went where nobody knows
    balls.push_back(motion::make_ball(set, ball, later == a.after.end() ? place.at : later->second.at));
  }
  if (!motion::part(table, balls)) return;
  const auto rolled = motion::simulate_moving(table, conditions, balls);
  if (!rolled || !rolled->complete) return;
  const BallPath* to = rolled->ball("white");
  if (!to || !to->rest) return;
  constexpr double kStraightOn = 0.10, kAfterContact = 0.25;  // share of the way left: rolling is known to 5-10 %
  constexpr double kLeast = 0.01;                             // m
  const double left = motion::path_length(*to);
  const double u = kLeast + (to->contacts.empty() ? kStraightOn : kAfterContact) * left;
  a.rest_extrapolated = Place{to->rest->at, Vec2(u, u)};
}

}  // namespace baizetrace::practice
