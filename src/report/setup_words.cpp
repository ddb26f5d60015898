#include "report/setup_words.hpp"

#include <fmt/format.h>

#include <cmath>

#include "report/marks.hpp"
#include "report/names.hpp"
#include "report/words.hpp"

namespace baizetrace::report {
namespace {

constexpr double kNoTip = 0.001;  // ball radii: less is the middle

std::string listed(const std::vector<std::string>& words, const char* last) {
  std::string s;
  for (std::size_t k = 0; k < words.size(); ++k) s += (k == 0 ? "" : k + 1 == words.size() ? last : ", ") + words[k];
  return s;
}

std::vector<std::string> named(const std::vector<std::string>& names, std::string (*word)(std::string_view)) {
  std::vector<std::string> out;
  for (const std::string& n : names) out.push_back(word(n));
  return out;
}

std::string play_words(const practice::Shot& shot, const std::optional<double>& cut) {
  std::string s;
  switch (shot.kind) {
    case practice::Shot::Kind::pot:
      s = fmt::format("Pot the {} into the {}", ball_name(shot.ball), table::trade_name_of_pocket(shot.pocket));
      if (!shot.bank.empty())
        s += " as a double, off the " + listed(named(shot.bank, table::trade_name_of_cushion), " and the ");
      if (!shot.first.empty()) s += ", a plant off the " + ball_name(shot.first);
      if (cut) s += fmt::format(": {} (cut {:.0f} degrees)", fullness_words(*cut), degrees(*cut));
      break;
    case practice::Shot::Kind::onto: {
      const double angle = std::asin(std::min(1.0, std::max(0.0, 1 - shot.fullness)));
      s = fmt::format("Play onto the {}, {}: {:.0f} % of it covered", ball_name(shot.ball), fullness_words(angle),
                      100 * shot.fullness);
      if (shot.fullness < 1) s += fmt::format(", on its {} side as you see it", shot.on_its_left ? "left" : "right");
      break;
    }
    case practice::Shot::Kind::heading: {
      const double a = degrees(shot.heading);
      if (std::abs(a) < 0.05)
        s = "Play the white straight up the table";
      else if (std::abs(std::abs(a) - 180) < 0.05)
        s = "Play the white straight down the table";
      else
        s = fmt::format("Play the white {:.1f} degrees to the {} of straight up the table", std::abs(a),
                        a > 0 ? "right" : "left");
      break;
    }
  }
  return s + ".";
}

std::string tip_words(const practice::Shot& shot, double radius) {
  const auto one = [&](double off, const char* plus, const char* minus) {
    const double m = std::abs(off) * radius;
    return fmt::format("{:.0f} mm ({:.1f} tips) {}", 1000 * m, m / kTipWidth, off > 0 ? plus : minus);
  };
  std::vector<std::string> parts;
  if (std::abs(shot.height) > kNoTip) parts.push_back(one(shot.height, "above centre", "below centre"));
  if (std::abs(shot.right) > kNoTip) parts.push_back(one(shot.right, "to the right", "to the left"));
  return parts.empty() ? "Plain ball: tip on the centre." : "Tip " + listed(parts, " and ") + ".";
}

std::string place_words(const Vec2& at, const table::Table& table) {
  return fmt::format("{} mm from the {}, {} mm from the {}", millimetres(table.half_width() - std::abs(at.x())),
                     table::trade_name_of_cushion(at.x() < 0 ? "left" : "right"),
                     millimetres(table.half_length() - std::abs(at.y())),
                     table::trade_name_of_cushion(at.y() < 0 ? "baulk" : "top"));
}

std::string zone_words(const practice::Zone& zone, const table::Table& table) {
  if (zone.centre)
    return fmt::format("White stops within {:.0f} cm of a place {}.", 100 * zone.radius,
                       place_words(*zone.centre, table));
  return fmt::format("White stops in the zone drawn on the plan, its middle {}.", place_words(zone.middle(), table));
}

std::string touch_words(const practice::Goal& goal) {
  if (goal.touch->empty()) return "White touches no other ball.";
  const std::string balls = listed(named(*goal.touch, ball_name), " or ");
  if (goal.touch_at_least == 0) return fmt::format("After the first ball the white may touch {}, no other.", balls);
  if (goal.touch->size() == 1) return fmt::format("White then touches {}, no other.", balls);
  return fmt::format(
      "White then touches {} of {}, no other.",
      goal.touch_at_least == 1 ? std::string("at least one") : fmt::format("at least {}", goal.touch_at_least), balls);
}

}  // namespace

std::vector<std::string> shot_words(const practice::Setup& setup, const SetupWordsOptions& o) {
  std::vector<std::string> out;
  if (!setup.shot) return out;
  const practice::Shot& shot = *setup.shot;
  out.push_back(play_words(shot, o.cut));
  std::string pace;
  if (shot.speed) {
    pace = fmt::format("{} pace, {:.2f} m/s", capital(pace_words(*shot.speed)), *shot.speed);
    if (o.lengths) pace += fmt::format(", {:.1f} lengths", *o.lengths);
  } else if (shot.lengths) {
    pace = fmt::format("Pace: {:.1f} lengths", *shot.lengths);
  }
  if (!pace.empty()) out.push_back(pace + ".");
  out.push_back(tip_words(shot, o.ball_radius));
  constexpr double kUsual = 0.05;  // rad from the default: a cue raised on purpose
  if (std::abs(shot.elevation - practice::Shot{}.elevation) > kUsual)
    out.push_back(fmt::format("Cue raised {:.0f} degrees.", degrees(shot.elevation)));
  return out;
}

std::vector<std::string> goal_words(const practice::Setup& setup, const table::Table& table) {
  std::vector<std::string> out;
  if (!setup.goal) return out;
  const practice::Goal& goal = *setup.goal;
  if (!goal.cushions.empty())
    out.push_back("White takes the " + listed(named(goal.cushions, table::trade_name_of_cushion), ", then the ") + ".");
  for (const auto& [a, b] : goal.gates)
    out.push_back(fmt::format("White passes between the {} and the {}.", post_name(a), post_name(b)));
  if (goal.touch) out.push_back(touch_words(goal));
  if (!goal.avoid.empty())
    out.push_back("White stays out of the " + listed(named(goal.avoid, table::trade_name_of_pocket), " and the ") +
                  ".");
  if (goal.over)
    out.push_back(fmt::format("White runs back over the {} spot, within {:.0f} mm.", ball_name(goal.over->first),
                              1000 * goal.over->second));
  if (goal.zone) out.push_back(zone_words(*goal.zone, table));
  if (goal.next) {
    const practice::NextBall& n = *goal.next;
    std::string s =
        fmt::format("That leaves the {} for the {}", ball_name(n.ball), table::trade_name_of_pocket(n.into));
    if (n.cut)
      s += fmt::format(", at a cut of {:.0f} to {:.0f} degrees", degrees(n.cut->first), degrees(n.cut->second));
    if (n.within) s += fmt::format(", from within {:.0f} cm", 100 * *n.within);
    out.push_back(s + ".");
  }
  return out;
}

}  // namespace baizetrace::report
