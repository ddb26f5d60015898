#include "practice/pot.hpp"

#include <algorithm>
#include <cmath>
#include <set>

#include "practice/wording.hpp"

namespace baizetrace::practice {
namespace {

constexpr double kMiddle = 0.005;  // m off the middle of the mouth that still is its middle
constexpr double kNearer = 0.005;  // m by which one jaw must be nearer to be called so

const Contact* departure(const BallPath& object) {  // what sent it off
  if (object.contacts.empty() || object.contacts.front().kind != ContactKind::ball) return nullptr;
  return &object.contacts.front();
}

// What ended its first free run; nullptr: it came to rest, or was not seen further.
const Contact* run_into(const BallPath& object) {
  const std::size_t first = departure(object) ? 1 : 0;
  return object.contacts.size() > first ? &object.contacts[first] : nullptr;
}

// Place and direction of the end of the first free run.
struct Line {
  Vec2 at, along;
};
std::optional<Line> first_run(const BallPath& object) {
  if (const Contact* c = run_into(object)) return Line{c->at, along_heading(c->heading_in)};
  if (object.rows.size() < 2) return std::nullopt;
  constexpr double kLast = 0.10;  // m of its way over which the direction is taken
  const Vec2 end = object.rows.back().at;
  for (auto r = object.rows.rbegin(); r != object.rows.rend(); ++r)
    if ((r->at - end).norm() > kLast) return Line{end, (end - r->at).normalized()};
  return std::nullopt;
}

bool sent_by_white(const Shot& shot) { return shot.first.empty() && shot.bank.empty(); }

}  // namespace

PotLine pot_line(const Attempt& a, const Shot& shot, const table::Table& table) {
  PotLine out;
  const table::Pocket* pocket = table.pocket(shot.pocket);
  const auto object = a.balls.find(shot.ball);
  const auto stood = a.before.find(shot.ball);
  if (!pocket || object == a.balls.end() || stood == a.before.end() || !shot.bank.empty()) return out;
  const BallPath& path = object->second;

  for (const Contact& c : path.contacts) {
    if (c.kind != ContactKind::jaw || c.with != pocket->name) continue;
    const bool on_a = (c.at - pocket->mouth_a).norm() < (c.at - pocket->mouth_b).norm();
    const double to_a = (stood->second.at - pocket->mouth_a).norm(), to_b = (stood->second.at - pocket->mouth_b).norm();
    if (std::abs(to_a - to_b) > kNearer) out.jaw = on_a == (to_a < to_b) ? "near" : "far";
    break;
  }

  const auto line = first_run(path);
  const Contact* into = run_into(path);
  if (!line || (into && into->kind == ContactKind::ball)) return out;
  const Vec2 mouth = (pocket->mouth_b - pocket->mouth_a).normalized(), outward(left_of(mouth));
  const double approach = line->along.dot(outward);
  constexpr double kAtLeast = 0.1;  // cosine: flatter to the mouth it never ran at this pocket
  if (std::abs(approach) < kAtLeast) return out;
  const double to_mouth = (pocket->mouth_middle() - line->at).dot(outward) / approach;
  constexpr double kPast = 0.15;  // m: a contact with a jaw or the fall lies a little behind the mouth's line
  if (to_mouth < -kPast) return out;
  const Vec2 crossing = line->at + to_mouth * line->along;
  out.at_mouth = std::abs((crossing - pocket->mouth_middle()).dot(mouth) * approach);
  out.half_opening = 0.5 * pocket->mouth() * std::abs(approach);

  if (!sent_by_white(shot)) return out;
  const auto white = a.balls.find("white");
  if (white == a.balls.end()) return out;
  const auto hit = std::find_if(white->second.contacts.begin(), white->second.contacts.end(),
                                [&](const Contact& c) { return c.kind == ContactKind::ball && c.with == shot.ball; });
  if (hit == white->second.contacts.end()) return out;
  const double needed = wrap_angle(heading_of(pocket->mouth_middle() - stood->second.at) - hit->heading_in);
  const double taken = wrap_angle(heading_of(crossing - stood->second.at) - hit->heading_in);
  if (std::abs(needed) < kStraightCut || *out.at_mouth <= 0) return out;
  out.thick_or_thin = (needed > 0 ? taken : -taken) < std::abs(needed) ? "thick" : "thin";
  return out;
}

std::string pot_note(const Attempt& a, const Shot& shot, const table::Table& table, const table::BallSet& set) {
  const table::Pocket* pocket = table.pocket(shot.pocket);
  const PotLine line = pot_line(a, shot, table);
  const double radius = set.radius_of(shot.ball);
  const std::string jaw = line.jaw ? fmt::format("{} jaw", *line.jaw) : "";
  const auto fell =
      std::find_if(a.potted.begin(), a.potted.end(), [&](const Potted& p) { return p.ball == shot.ball; });
  if (fell != a.potted.end()) {
    if (fell->pocket != shot.pocket) return fmt::format("in the wrong pocket, {}", post_name(fell->pocket));
    if (!jaw.empty()) return "in, off the " + jaw;
    if (!line.at_mouth) return "in";
    if (*line.at_mouth < kMiddle) return "in, middle of the pocket";
    return line.thick_or_thin
               ? fmt::format("in, {:.0f} mm {} of the middle", 1000 * *line.at_mouth, *line.thick_or_thin)
               : fmt::format("in, {:.0f} mm off the middle", 1000 * *line.at_mouth);
  }
  const auto object = a.balls.find(shot.ball);
  if (object == a.balls.end())
    return hit_unseen(a, shot.ball) ? "stayed up; its way was not followed"
                                    : fmt::format("the {} was not hit", ball_name(shot.ball));
  const Contact* into = run_into(object->second);
  if (into && into->kind == ContactKind::ball)
    return fmt::format("ran into the {}", into->with == "white" ? "white again" : ball_name(into->with));
  const double room = std::max(0.0, line.half_opening - radius);
  std::string out;
  if (!into && pocket && object->second.rest) {
    const double left = std::max(0.0, pocket->to_fall(object->second.rest->at));
    out = fmt::format("stopped {:.0f} cm short of the fall", 100 * left);
    if (line.at_mouth && *line.at_mouth > room && line.thick_or_thin)
      out += fmt::format(", {} by {:.0f} mm", *line.thick_or_thin, 1000 * (*line.at_mouth - room));
    return out;
  }
  if (!line.at_mouth) return jaw.empty() ? "stayed up" : "stayed up, " + jaw;
  const double over = *line.at_mouth - room;
  const std::string which = line.thick_or_thin.value_or("wide");
  if (over <= 0) {
    out = fmt::format("stayed up in the jaws, {:.0f} mm {}", 1000 * *line.at_mouth,
                      line.thick_or_thin ? which : std::string("off the middle"));
  } else {
    out = over < 2 * radius ? fmt::format("missed {} by {:.0f} mm", which, 1000 * over)
                            : fmt::format("missed {} by {}", which, ball_widths(over, radius));
  }
  return jaw.empty() ? out : out + ", " + jaw;
}

std::vector<std::string> gone_of(const Attempt& attempt) {
  std::vector<std::string> out;
  // Also what was seen on its way alone: nobody knows where it had lain.
  std::set<std::string> there;
  for (const auto& [ball, place] : attempt.before) there.insert(ball);
  for (const auto& [ball, path] : attempt.balls) there.insert(ball);
  for (const std::string& ball : there) {
    const auto path = attempt.balls.find(ball);
    const bool on_its_way = path != attempt.balls.end() && (path->second.rest || !path->second.told_until);
    const bool fell =
        std::any_of(attempt.potted.begin(), attempt.potted.end(), [&](const Potted& p) { return p.ball == ball; });
    if (ball != "white" && !attempt.after.contains(ball) && !fell && !on_its_way) out.push_back(ball);
  }
  return out;
}

std::optional<bool> next_potted(const FollowOn& shot, const std::string& next) {
  if (std::any_of(shot.potted.begin(), shot.potted.end(), [&](const Potted& p) { return p.ball == next; })) return true;
  if (std::find(shot.unseen.begin(), shot.unseen.end(), next) != shot.unseen.end()) return std::nullopt;
  return false;
}

bool hit_unseen(const Attempt& a, const std::string& ball) {
  constexpr double kPushed = 0.01;  // m: a ball that lies nearer to where it lay was not moved worth the name
  if (a.balls.contains(ball)) return false;
  const auto lay = a.before.find(ball), lies = a.after.find(ball);
  if (lay != a.before.end() && lies != a.after.end())
    return (lies->second.at - lay->second.at).norm() > std::max(kPushed, 3 * lies->second.u.norm());
  return std::any_of(a.balls.begin(), a.balls.end(), [&](const auto& other) {
    return std::any_of(other.second.contacts.begin(), other.second.contacts.end(),
                       [&](const Contact& c) { return c.kind == ContactKind::ball && c.with == ball; });
  });
}

}  // namespace baizetrace::practice
