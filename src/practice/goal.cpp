// The goal's parts judged, each with by how much. One judge for a prediction and for a measured attempt.
#include <algorithm>
#include <cmath>

#include "practice/setup.hpp"
#include "practice/stop.hpp"
#include "practice/wording.hpp"

namespace baizetrace::practice {
namespace {

std::string cushions_in_words(const std::vector<std::string>& cushions) {
  std::string out;
  for (const std::string& c : cushions) out += (out.empty() ? "" : ", ") + table::trade_name_of_cushion(c);
  return out.empty() ? "no cushion" : out;
}

double radius_of(const SetupPrediction& p, const std::string& ball) {
  for (const motion::Ball& b : p.balls)
    if (b.name == ball) return b.radius;
  return 0;
}

GoalPart cushions(const Goal& g, const SetupPrediction& p) {
  const auto& real = p.route.cushions;
  const bool met = real.size() >= g.cushions.size() && std::equal(g.cushions.begin(), g.cushions.end(), real.begin());
  if (met) return {"cushions", true, cushions_in_words(g.cushions)};
  return {"cushions", false, fmt::format("took {}, wanted {}", cushions_in_words(real), cushions_in_words(g.cushions))};
}

// By how much a gate was missed: where the path crosses the line through its posts outside them.
std::string gate_missed(const motion::GateName& gate, const BallPath& white, const table::Table& table,
                        const SetupPrediction& p) {
  const std::string names = post_name(gate.first) + " and " + post_name(gate.second);
  const auto place = [&](const std::string& post) -> std::optional<Vec2> {
    for (const motion::Ball& b : p.balls)
      if (b.name == post) return b.place;
    if (const table::Pocket* k = table.pocket(post)) return k->mouth_middle();
    if (const auto s = table.spots().find(post); s != table.spots().end()) return s->second;
    return std::nullopt;
  };
  const auto a = place(gate.first), b = place(gate.second);
  if (!a || !b || (*b - *a).norm() < 1e-3) return "not between " + names;
  const Vec2 along = (*b - *a).normalized();
  const double width = (*b - *a).norm();
  double least = 1e9, before = 0;
  bool outside_a = false;
  Vec2 last = Vec2::Zero();
  for (const Piece& q : white.pieces) {
    if (q.phase == Piece::Phase::rest) continue;
    constexpr int kSteps = 16;
    for (int k = 0; k <= kSteps; ++k) {
      const Vec2 at = q.at(q.from + (q.to - q.from) * k / kSteps);
      const double off = cross(along, at - *a);
      if (before * off < 0) {
        const Vec2 crossing = last + (at - last) * (before / (before - off));
        const double s = (crossing - *a).dot(along), wide = s < 0 ? -s : s - width;
        if (wide > 0 && wide < least) least = wide, outside_a = s < 0;
      }
      if (off != 0) before = off;
      last = at;
    }
  }
  if (least < 1e8)
    return fmt::format("not between {}: past the {} on its other side, {:.0f} mm off it", names,
                       post_name(outside_a ? gate.first : gate.second), 1000 * least);
  const double short_by = std::abs(cross(along, last - *a));
  return fmt::format("not between {}: stopped {:.0f} cm before the line", names, 100 * short_by);
}

GoalPart gate(const motion::GateName& wanted, const BallPath& white, const table::Table& table,
              const SetupPrediction& p) {
  const auto passed = std::find_if(p.route.gates.begin(), p.route.gates.end(), [&](const motion::GatePass& q) {
    return (q.a == wanted.first && q.b == wanted.second) || (q.a == wanted.second && q.b == wanted.first);
  });
  if (passed == p.route.gates.end()) return {"gate", false, gate_missed(wanted, white, table, p)};
  return {"gate", true,
          fmt::format("between {} and {}, {} ({:.0f} mm) to spare", post_name(wanted.first), post_name(wanted.second),
                      ball_widths(passed->clearance, radius_of(p, "white")), 1000 * passed->clearance)};
}

GoalPart avoid(const Goal& g, const SetupPrediction& p) {
  const motion::PocketPass* nearest = nullptr;
  for (const motion::PocketPass& q : p.route.pockets)
    if (std::find(g.avoid.begin(), g.avoid.end(), q.pocket) != g.avoid.end() &&
        (!nearest || q.distance < nearest->distance))
      nearest = &q;
  if (!nearest) return {"avoid", true, ""};
  const double gap = std::max(0.0, nearest->distance - radius_of(p, "white"));
  return {"avoid", true,
          fmt::format("passed the {} by {}", post_name(nearest->pocket), ball_widths(gap, radius_of(p, "white")))};
}

// The ball that it touched must not touch, or how near it came to one of those.
GoalPart touch(const Goal& g, const BallPath& white, const SetupPrediction& p) {
  const auto allowed = [&](const std::string& ball) {
    return std::find(g.touch->begin(), g.touch->end(), ball) != g.touch->end();
  };
  const auto joined = [](const std::vector<std::string>& balls) {
    std::string out;
    for (const std::string& b : balls) out += (out.empty() ? "" : ", ") + ball_name(b);
    return out.empty() ? std::string("none") : out;
  };
  std::vector<std::string> wrong, right;
  std::string first;
  for (const Contact& c : white.contacts) {
    if (c.kind != ContactKind::ball) continue;
    if (first.empty()) first = c.with;
    if (c.with == first && !allowed(c.with)) continue;
    auto& list = allowed(c.with) ? right : wrong;
    if (std::find(list.begin(), list.end(), c.with) == list.end()) list.push_back(c.with);
  }
  if (!wrong.empty()) return {"touch", false, "touched " + joined(wrong)};
  if (static_cast<int>(right.size()) < g.touch_at_least)
    return {"touch", false, fmt::format("touched {} of at least {}", joined(right), g.touch_at_least)};
  std::string near;
  double gap = 1e9;
  for (const motion::Ball& b : p.balls) {
    const BallPath* path = p.motion.ball(b.name);
    if (b.name == "white" || b.name == first || allowed(b.name) || !path || !path->contacts.empty()) continue;
    const double d = motion::nearest_to(white, b.place).first - b.radius - radius_of(p, "white");
    if (d < gap) gap = d, near = b.name;
  }
  std::string note = right.empty() ? "" : "touched " + joined(right);
  constexpr double kWorthSaying = 0.21;  // m: four balls' widths
  if (gap < kWorthSaying)
    note += fmt::format("{}passed the {} by {}", note.empty() ? "" : "; ", ball_name(near),
                        ball_widths(std::max(gap, 0.0), radius_of(p, "white")));
  return {"touch", true, note.empty() ? "nothing else" : note};
}

GoalPart over(const Goal& g, const BallPath& white, const table::Table& table) {
  double after = 0;
  for (const Contact& c : white.contacts)
    if (c.kind == ContactKind::cushion) {
      after = c.time;
      break;
    }
  const auto spot = table.spots().find(g.over->first);
  if (!(after > 0) || spot == table.spots().end()) return {"over", false, "no cushion"};
  const double off = motion::nearest_to(white, spot->second, after).first;
  return {"over", off <= g.over->second,
          fmt::format("{:.0f} mm from the {} spot, allowed {:.0f}", 1000 * off, g.over->first, 1000 * g.over->second)};
}

GoalPart zone(const Setup& setup, const BallPath& white) {
  const Zone& z = *setup.goal->zone;
  if (!white.rest) return {"zone", false, white.pocket ? "in-off" : "its resting place is not known"};
  const Vec2 at = white.rest->at;
  const double depth = z.depth(at);
  std::string note;
  if (const auto stop = stop_of(white, *white.rest, setup))
    note = "stopped " + stop_words(*stop);
  else
    note = fmt::format("stopped {:.0f} cm from its middle", 100 * (at - z.middle()).norm());
  note += fmt::format(", {:.0f} cm {}", 100 * std::abs(depth), depth >= 0 ? "inside the edge" : "outside the edge");
  return {"zone", z.holds(at), note};
}

GoalPart leave(const NextBall& next, const SetupPrediction& p) {
  if (!p.leave) return {"leave", false, "no shot: the ball or the white is not there"};
  const motion::Leave& l = *p.leave;
  bool met = l.clear;
  std::string note;
  if (!l.on) {
    note = fmt::format("{} cannot be cut in", ball_name(next.ball));
  } else {
    note = fmt::format("{} {}, {} (cut {:.0f} degrees) {:.0f} cm away", ball_name(next.ball),
                       l.clear ? "open" : "blocked by the " + ball_name(l.blocked_by), fullness_words(l.cut),
                       degrees(l.cut), 100 * l.distance);
    if (l.cut >= kStraightCut) note += ", white on its " + l.side;
  }
  if (l.hampered_by) note += ", hampered by the " + post_name(*l.hampered_by);
  if (next.cut && l.on) {
    const double thin = l.cut - next.cut->second, full = next.cut->first - l.cut;
    if (thin > 0) note += fmt::format("; {:.0f} degrees thinner than wanted", degrees(thin));
    if (full > 0) note += fmt::format("; {:.0f} degrees fuller than wanted", degrees(full));
    met = met && thin <= 0 && full <= 0;
  }
  if (next.within && l.distance > *next.within) {
    note += fmt::format("; {:.0f} cm further than wanted", 100 * (l.distance - *next.within));
    met = false;
  }
  return {"leave", met, note};
}

}  // namespace

std::vector<GoalPart> judge(const Setup& setup, const table::Table& table, const SetupPrediction& p) {
  std::vector<GoalPart> out;
  const BallPath* white = p.motion.ball("white");
  if (!white) return out;
  if (p.meant_to_pot)
    out.push_back({"pot", p.pots, p.pots ? "in" : fmt::format("{} stays up", ball_name(setup.shot->ball))});
  if (white->pocket)
    out.push_back({"avoid", false, fmt::format("in-off, {}", table::trade_name_of_pocket(*white->pocket))});
  if (!setup.goal) return out;
  const Goal& g = *setup.goal;
  if (!g.cushions.empty()) out.push_back(cushions(g, p));
  for (const motion::GateName& name : g.gates) out.push_back(gate(name, *white, table, p));
  if (!g.avoid.empty() && !white->pocket) out.push_back(avoid(g, p));
  if (g.touch) out.push_back(touch(g, *white, p));
  if (g.over) out.push_back(over(g, *white, table));
  if (g.zone) out.push_back(zone(setup, *white));
  if (g.next) out.push_back(leave(*g.next, p));
  return out;
}

}  // namespace baizetrace::practice
