#include "practice/scoring.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::practice {
namespace {

constexpr double kLongBefore = -1e9, kLongAfter = 1e9;  // s: a ball at rest was and stays there

Piece resting(const Vec2& at, double from, double to) {
  Piece p;
  p.phase = Piece::Phase::rest;
  p.place = at;
  p.from = from;
  p.to = to;
  return p;
}

// Straight pieces between the rows: for an attempt that was read back from its file.
std::vector<Piece> pieces_of(const std::vector<PathRow>& rows) {
  std::vector<Piece> pieces;
  for (std::size_t i = 0; i + 1 < rows.size(); ++i) {
    const double dt = rows[i + 1].time - rows[i].time;
    if (dt <= 0) continue;
    Piece p;
    p.from = rows[i].time;
    p.to = rows[i + 1].time;
    p.place = rows[i].at;
    p.velocity = (rows[i + 1].at - rows[i].at) / dt;
    pieces.push_back(p);
  }
  return pieces;
}

// The measured attempt in the form in which a prediction is judged: the same judge for both.
struct AsPlayed {
  std::vector<motion::Ball> balls;
  motion::Prediction motion;
};
AsPlayed as_played(const Attempt& a, const table::BallSet& set) {
  AsPlayed out;
  for (const auto& [ball, place] : a.before) {
    if (!set.kind_of(ball)) continue;
    out.balls.push_back(motion::make_ball(set, ball, place.at));
    BallPath path;
    path.ball = ball;
    if (const auto moved = a.balls.find(ball); moved != a.balls.end()) {
      path = moved->second;
      if (path.pieces.empty()) path.pieces = pieces_of(path.rows);
      if (!path.pieces.empty())
        path.pieces.insert(path.pieces.begin(), resting(place.at, kLongBefore, path.pieces[0].from));
      if (path.rest && !path.pocket)
        path.pieces.push_back(
            resting(path.rest->at, path.pieces.empty() ? kLongBefore : path.pieces.back().to, kLongAfter));
    } else {
      path.rest = place;
      path.pieces.push_back(resting(place.at, kLongBefore, kLongAfter));
    }
    out.motion.balls.push_back(std::move(path));
  }
  return out;
}

}  // namespace

void add_passing(Attempt& a, const table::Table& table, const table::BallSet& set,
                 std::span<const motion::GateName> named) {
  const AsPlayed played = as_played(a, set);
  const motion::Route route = motion::route_of(played.motion, played.balls, table, named);
  a.gates.clear();
  for (const auto& g : route.gates) a.gates.push_back({g.a, g.b, g.time, g.at, g.clearance});
  a.nearest_pockets.clear();
  for (const auto& p : route.pockets) a.nearest_pockets.push_back({p.pocket, p.distance, p.time});
}

void score_attempt(Attempt& a, const Setup& setup, const table::Table& table, const table::BallSet& set) {
  a.placing_error.clear();
  for (const motion::Ball& mark : balls_of(setup, table, set))
    if (const auto stood = a.before.find(mark.name); stood != a.before.end())
      a.placing_error[mark.name] = stood->second.at - mark.place;

  a.pot_made.reset();
  a.leave.reset();
  a.score.reset();
  if (a.ended == Ended::clip) return;

  AsPlayed played = as_played(a, set);
  SetupPrediction p;
  p.balls = std::move(played.balls);
  p.motion = std::move(played.motion);
  p.route =
      motion::route_of(p.motion, p.balls, table, setup.goal ? setup.goal->gates : std::vector<motion::GateName>{});
  p.meant_to_pot = setup.shot && setup.shot->kind == Shot::Kind::pot;
  if (p.meant_to_pot) {
    p.pots = std::any_of(a.potted.begin(), a.potted.end(), [&](const Potted& fell) {
      return fell.ball == setup.shot->ball && fell.pocket == setup.shot->pocket;
    });
    a.pot_made = p.pots;
  }
  if (setup.goal && setup.goal->next) {
    const auto after = motion::balls_after(p.motion, p.balls);
    p.leave = motion::leave_of(after, table, setup.goal->next->ball, setup.goal->next->into);
    if (p.leave)
      a.leave = Leave{p.leave->ball,     p.leave->into,  p.leave->cut,        p.leave->fullness,
                      p.leave->distance, p.leave->clear, p.leave->hampered_by};
  }

  // A hit is the pot and all goal parts: pot one point, position one, both forfeited by an in-off.
  Score score;
  bool position = false, position_met = true;
  for (GoalPart& part : judge(setup, table, p)) {
    if (part.what == "pot") {
      score.of += 1;
      score.points += part.met ? 1 : 0;
    } else {
      position = true;
      position_met = position_met && part.met;
    }
    score.parts.push_back({std::move(part.what), part.met, std::move(part.note)});
  }
  if (position && setup.goal) {
    score.of += 1;
    score.points += position_met ? 1 : 0;
  }
  if (a.in_off) score.points = 0;
  if (!score.parts.empty()) a.score = std::move(score);
}

}  // namespace baizetrace::practice
