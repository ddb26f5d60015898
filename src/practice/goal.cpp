#include <fmt/ranges.h>

#include <algorithm>

#include "practice/setup.hpp"

namespace baizetrace::practice {

namespace {
std::string joined(const std::vector<std::string>& words) {
  return words.empty() ? std::string("none") : fmt::format("{}", fmt::join(words, ", "));
}
}  // namespace

std::vector<GoalPart> judge(const Setup& setup, const table::Table& table, const SetupPrediction& p) {
  std::vector<GoalPart> out;
  const BallPath* white = p.motion.ball("white");
  if (!white) return out;
  if (p.meant_to_pot) out.push_back({"pot", p.pots, p.pots ? "" : fmt::format("{} stays up", setup.shot->ball)});
  if (white->pocket)
    out.push_back({"avoid", false, fmt::format("in-off, {}", table::trade_name_of_pocket(*white->pocket))});
  if (!setup.goal) return out;
  const Goal& g = *setup.goal;
  if (!g.cushions.empty()) {
    const auto& real = p.route.cushions;
    const bool met = real.size() >= g.cushions.size() && std::equal(g.cushions.begin(), g.cushions.end(), real.begin());
    out.push_back({"cushions", met, met ? "" : fmt::format("took {}, wanted {}", joined(real), joined(g.cushions))});
  }
  for (const motion::GateName& gate : g.gates) {
    const auto passed = std::find_if(p.route.gates.begin(), p.route.gates.end(), [&](const motion::GatePass& q) {
      return (q.a == gate.first && q.b == gate.second) || (q.a == gate.second && q.b == gate.first);
    });
    const bool met = passed != p.route.gates.end();
    out.push_back({"gate", met,
                   met ? fmt::format("{} - {}: {:.0f} mm to spare", gate.first, gate.second, 1000 * passed->clearance)
                       : fmt::format("not between {} and {}", gate.first, gate.second)});
  }
  if (!g.avoid.empty() && !white->pocket) out.push_back({"avoid", true, ""});
  if (g.touch) {
    std::vector<std::string> wrong, right;
    std::string first;
    for (const Contact& c : white->contacts) {
      if (c.kind != ContactKind::ball) continue;
      if (first.empty()) first = c.with;
      if (c.with == first && std::find(g.touch->begin(), g.touch->end(), c.with) == g.touch->end()) continue;
      auto& list = std::find(g.touch->begin(), g.touch->end(), c.with) != g.touch->end() ? right : wrong;
      if (std::find(list.begin(), list.end(), c.with) == list.end()) list.push_back(c.with);
    }
    const bool met = wrong.empty() && static_cast<int>(right.size()) >= g.touch_at_least;
    out.push_back(
        {"touch", met,
         wrong.empty() ? fmt::format("touched {}", joined(right)) : fmt::format("touched {}", joined(wrong))});
  }
  if (g.over) {
    double after = 0;
    for (const Contact& c : white->contacts)
      if (c.kind == ContactKind::cushion) {
        after = c.time;
        break;
      }
    const auto spot = table.spots().find(g.over->first);
    const double off =
        after > 0 && spot != table.spots().end() ? motion::nearest_to(*white, spot->second, after).first : 1e9;
    out.push_back({"over", off <= g.over->second,
                   after > 0 ? fmt::format("{:.0f} mm from the {} spot", 1000 * off, g.over->first) : "no cushion"});
  }
  if (g.zone) {
    const bool met = white->rest && g.zone->holds(white->rest->at);
    const Vec2 off = white->rest ? Vec2(white->rest->at - g.zone->middle()) : Vec2::Zero();
    out.push_back(
        {"zone", met, white->rest ? fmt::format("{:.0f} cm from its middle", 100 * off.norm()) : "not at rest"});
  }
  if (g.next) {
    bool met = p.leave && p.leave->clear;
    std::string note = "no shot";
    if (p.leave) {
      note =
          fmt::format("{} cut {:.0f} degrees, {:.0f} cm", g.next->ball, degrees(p.leave->cut), 100 * p.leave->distance);
      if (!p.leave->blocked_by.empty()) note += fmt::format(", {} in the way", p.leave->blocked_by);
      if (g.next->cut) met = met && p.leave->cut >= g.next->cut->first && p.leave->cut <= g.next->cut->second;
      if (g.next->within) met = met && p.leave->distance <= *g.next->within;
    }
    out.push_back({"leave", met, note});
  }
  return out;
}

}  // namespace baizetrace::practice
