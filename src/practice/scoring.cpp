#include "practice/scoring.hpp"

#include <algorithm>
#include <cmath>

#include "practice/pot.hpp"
#include "practice/stop.hpp"
#include "practice/wording.hpp"

namespace baizetrace::practice {
namespace {

constexpr double kLongBefore = -1e9, kLongAfter = 1e9;  // s: a ball at rest was and stays there
constexpr double kPushed = 0.01;                        // m: a ball that lies nearer to where it lay stayed there

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

// When another ball first met this one, s.
std::optional<double> first_hit(const Attempt& a, const std::string& ball) {
  std::optional<double> first;
  for (const auto& [name, path] : a.balls)
    for (const Contact& c : path.contacts)
      if (c.kind == ContactKind::ball && c.with == ball && (!first || c.time < *first)) first = c.time;
  return first;
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
      // Not followed to its end, but seen to lie there.
      if (const auto lies = a.after.find(ball); lies != a.after.end() && !path.rest && !path.pocket)
        path.rest = lies->second;
      if (path.pieces.empty()) path.pieces = pieces_of(path.rows);
      if (!path.pieces.empty())
        path.pieces.insert(path.pieces.begin(), resting(place.at, kLongBefore, path.pieces[0].from));
      if (path.rest && !path.pocket)
        path.pieces.push_back(
            resting(path.rest->at, path.pieces.empty() ? kLongBefore : path.pieces.back().to, kLongAfter));
    } else {
      // Hit, and nobody saw it go: it stands where it lay up to then, and where it lies afterwards once all is at rest.
      const auto lies = a.after.find(ball);
      const auto hit = first_hit(a, ball);
      const bool gone = hit && (lies == a.after.end() || (lies->second.at - place.at).norm() > kPushed);
      path.pieces.push_back(resting(place.at, kLongBefore, gone ? *hit : kLongAfter));
      if (!gone) path.rest = place;
      if (gone && lies != a.after.end() && a.rest_time) {
        path.rest = lies->second;
        path.pieces.push_back(resting(lies->second.at, *a.rest_time, kLongAfter));
      }
    }
    out.motion.balls.push_back(std::move(path));
  }
  // Taken by hand while it rolled: it is scored where it would have stopped.
  if (a.rest_extrapolated)
    for (BallPath& path : out.motion.balls)
      if (path.ball == "white" && !path.rest && !path.pocket) {
        path.rest = *a.rest_extrapolated;
        const double from = path.pieces.empty() ? kLongBefore : path.pieces.back().to;
        path.pieces.push_back(resting(path.rest->at, from, kLongAfter));
      }
  return out;
}

}  // namespace

void add_passing(Attempt& a, const table::Table& table, const table::BallSet& set,
                 std::span<const motion::GateName> named) {
  const AsPlayed played = as_played(a, set);
  const motion::Route route = motion::route_of(played.motion, played.balls, table, named);
  a.gates.clear();
  const auto white = a.balls.find(set.kinds[0].name);
  const bool in_part = white != a.balls.end() && white->second.told_until;
  const auto seen = [&](double time) {
    const std::vector<PathRow>& rows = white->second.rows;
    const auto after = std::find_if(rows.begin(), rows.end(), [&](const PathRow& r) { return r.time > time; });
    return after != rows.end() && after->seen && (after == rows.begin() || (after - 1)->seen);
  };
  for (const auto& g : route.gates)
    if (!in_part || seen(g.time)) a.gates.push_back({g.a, g.b, g.time, g.at, g.clearance});
  a.nearest_pockets.clear();
  if (in_part) return;  // it may have come nearer where it was not seen
  for (const auto& p : route.pockets)
    a.nearest_pockets.push_back({p.pocket, p.distance, std::max(p.time, a.strike_time)});
}

namespace {
Score points_of(const std::vector<GoalPart>& parts, const Goal* goal, bool in_off) {
  const std::map<std::string, double> usual{{"pot", 1.0}, {"position", 1.0}};  // common practice
  const auto& worth = goal && !goal->points.empty() ? goal->points : usual;
  Score score;
  bool position = false, position_met = true;
  const auto give = [&](const std::string& part, bool met) {
    const auto it = worth.find(part);
    if (it == worth.end()) return;
    score.of += it->second;
    if (met) score.points += it->second;
  };
  for (const GoalPart& part : parts) {
    give(part.what, part.met);
    if (part.what != "pot") position = true, position_met = position_met && part.met;
    score.parts.push_back({part.what, part.met, part.note});
  }
  if (position && goal) give("position", position_met);
  if (in_off) score.points = 0;
  return score;
}

// Why it cannot be told whether the white lies as wanted: within what is known of its place it may and may not. "": it
// can.
std::string too_close(const Setup& setup, const table::Table& table, SetupPrediction p) {
  const auto white =
      std::find_if(p.motion.balls.begin(), p.motion.balls.end(), [](const BallPath& b) { return b.ball == "white"; });
  if (!setup.goal || white == p.motion.balls.end() || !white->rest) return {};
  const Place rest = *white->rest;
  const double by = kSurely * rest.u.maxCoeff();
  if (!(by > 0)) return {};
  if (setup.goal->zone && std::abs(setup.goal->zone->depth(rest.at)) <= by)
    return "the white lies too near the zone's edge to call";
  if (!setup.goal->next) return {};
  const auto met = [&] {
    p.leave =
        motion::leave_of(motion::balls_after(p.motion, p.balls), table, setup.goal->next->ball, setup.goal->next->into);
    const auto parts = judge(setup, table, p);
    return std::any_of(parts.begin(), parts.end(), [](const GoalPart& g) { return g.what == "leave" && g.met; });
  };
  const bool as_told = met();
  for (const Vec2& side : {Vec2(by, 0), Vec2(-by, 0), Vec2(0, by), Vec2(0, -by)}) {
    white->rest->at = rest.at + side;
    if (met() != as_told) return "whether it leaves the next ball as wanted is too close to call";
  }
  return {};
}
}  // namespace

void score_attempt(Attempt& a, const Setup& setup, const table::Table& table, const table::BallSet& set) {
  a.placing_error.clear();
  for (const motion::Ball& mark : balls_of(setup, table, set))
    if (const auto stood = a.before.find(mark.name); stood != a.before.end())
      a.placing_error[mark.name] = stood->second.at - mark.place;

  a.pot_made.reset();
  a.pot_line = {};
  a.leave.reset();
  a.score.reset();
  a.not_judged.clear();
  const bool meant_to_pot = setup.shot && setup.shot->kind == Shot::Kind::pot;
  const bool fell = meant_to_pot && std::any_of(a.potted.begin(), a.potted.end(), [&](const Potted& p) {
                      return p.ball == setup.shot->ball && p.pocket == setup.shot->pocket;
                    });
  // Where the ball went that was to be potted, nobody saw: neither potted nor missed.
  if (const auto gone = gone_of(a); meant_to_pot && std::count(gone.begin(), gone.end(), setup.shot->ball) > 0) {
    a.not_judged = fmt::format("what became of the {} was not seen", ball_name(setup.shot->ball));
    return;
  }
  if (meant_to_pot && (fell || a.ended != Ended::clip)) {
    a.pot_made = fell;
    a.pot_line = pot_line(a, *setup.shot, table);
  }
  if (a.ended == Ended::clip) {
    a.not_judged = "it was cut off by the end of the recording";
    return;
  }

  AsPlayed played = as_played(a, set);
  SetupPrediction p;
  p.balls = std::move(played.balls);
  p.motion = std::move(played.motion);
  p.route =
      motion::route_of(p.motion, p.balls, table, setup.goal ? setup.goal->gates : std::vector<motion::GateName>{});
  p.meant_to_pot = meant_to_pot;
  p.pots = fell;
  if (setup.goal && setup.goal->next) {
    const auto after = motion::balls_after(p.motion, p.balls);
    p.leave = motion::leave_of(after, table, setup.goal->next->ball, setup.goal->next->into);
    if (p.leave) {
      const motion::Leave& l = *p.leave;
      a.leave = Leave{l.ball, l.into, l.cut, l.fullness, l.distance, l.clear, l.hampered_by, std::nullopt, l.side};
      if (!l.blocked_by.empty()) a.leave->blocked_by = l.blocked_by;
    }
  }
  // What its path passed is not known when nothing follows what was seen of it, or only up to a point.
  const Goal* goal = setup.goal ? &*setup.goal : nullptr;
  const bool by_path = goal && (!goal->cushions.empty() || !goal->gates.empty() || !goal->avoid.empty() ||
                                goal->touch || goal->touch_at_least > 0 || goal->over);
  if (const auto white = a.balls.find(set.kinds[0].name); white != a.balls.end()) {
    if (!white->second.followed())
      a.not_judged = "the white's way was not followed";
    else if (white->second.told_until && by_path)
      a.not_judged = "what the white passed was not seen all the way";
  }
  if (a.not_judged.empty()) a.not_judged = too_close(setup, table, p);
  if (!a.not_judged.empty()) return;
  std::vector<GoalPart> parts = judge(setup, table, p);
  for (GoalPart& part : parts)
    if (part.what == "pot") part.note = pot_note(a, *setup.shot, table, set);
  // A hit is the pot and all goal parts.
  Score score = points_of(parts, goal, a.in_off.has_value());
  if (!score.parts.empty()) a.score = std::move(score);
}

}  // namespace baizetrace::practice
