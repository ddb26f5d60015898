#include "report/miss_table.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "report/names.hpp"
#include "table/table.hpp"

namespace baizetrace::report {
namespace {

std::string contact_name(const Contact& c) {
  return c.kind == ContactKind::cushion  ? table::trade_name_of_cushion(c.with)
         : c.kind == ContactKind::pocket ? table::trade_name_of_pocket(c.with)
         : c.kind == ContactKind::jaw    ? table::trade_name_of_pocket(c.with) + " jaw"
                                         : ball_name(c.with);
}

}  // namespace

std::string tip_words(const practice::Strike& s, const std::string& which, double ball_radius, const char* plus,
                      const char* minus) {
  const bool side = which == "right";
  const auto& value = side ? s.right : s.height;
  const auto& at_least = side ? s.right_at_least : s.height_at_least;
  const auto& at_most = side ? s.right_at_most : s.height_at_most;
  const auto mm = [&](double r) {
    return fmt::format("{:.1f} mm {}", 1e3 * ball_radius * std::abs(r), r < 0 ? minus : plus);
  };
  if (value) {
    const auto ends = s.interval.find(which);
    if (ends == s.interval.end()) return mm(*value);
    const auto& [low, high] = ends->second;
    if (low * high > 0 && low * *value > 0)  // all to one side: from the nearer to the farther
      return fmt::format("{} ({:.1f} to {:.1f})", mm(*value),
                         1e3 * ball_radius * std::min(std::abs(low), std::abs(high)),
                         1e3 * ball_radius * std::max(std::abs(low), std::abs(high)));
    return fmt::format("{} ({} to {})", mm(*value), mm(low), mm(high));
  }
  if (at_least && at_most) return fmt::format("between {} and {}", mm(*at_least), mm(*at_most));
  if (at_least)
    return *at_least > 0 ? fmt::format("at least {}", mm(*at_least))
                         : "not further " + std::string(minus) + " than " + mm(*at_least);
  if (at_most)
    return *at_most < 0 ? fmt::format("at least {}", mm(*at_most))
                        : "not further " + std::string(plus) + " than " + mm(*at_most);
  return "cannot tell";
}

std::string raised_words(const practice::Strike& s) {
  if (!s.elevation) return "";
  std::string out = fmt::format("{:.0f} degrees", degrees(*s.elevation));
  if (const auto ends = s.interval.find("elevation"); ends != s.interval.end())
    out += fmt::format(" ({:.0f} to {:.0f})", degrees(std::max(0.0, ends->second[0])), degrees(ends->second[1]));
  return out;
}

std::string strike_line(const practice::Attempt& a, double ball_radius) {
  if (!a.strike || a.strike->from != "whole motion") return "";
  const practice::Strike& s = *a.strike;
  std::string pace = fmt::format("{:.2f} m/s", s.speed);
  if (const auto ends = s.interval.find("speed"); ends != s.interval.end())
    pace += fmt::format(" ({:.2f} to {:.2f})", ends->second[0], ends->second[1]);
  const std::string raised = raised_words(s);
  return fmt::format("Struck: {}; side {}; height {}{}.", pace, tip_words(s, "right", ball_radius, "right", "left"),
                     tip_words(s, "height", ball_radius, "above the middle", "below the middle"),
                     raised.empty() ? "" : "; cue raised " + raised);
}

std::vector<MissRow> miss_rows(const practice::Attempt& a) {
  std::vector<MissRow> rows;
  if (!a.miss) return rows;
  const practice::Miss& m = *a.miss;
  struct Part {
    const char* key;
    const char* words;
    const Vec2& by;
  };
  for (const Part& p : {Part{"placing", "placing (the shot aimed anew)", m.placing}, Part{"aim", "aim", m.aim},
                        Part{"pace", "pace", m.pace}, Part{"side", "side", m.side}, Part{"height", "height", m.height},
                        Part{"left_over", "left over (table or a kick)", m.left_over}}) {
    MissRow r{p.words, fmt::format("{:.1f} cm", 100 * p.by.norm()), ""};
    const auto u = m.u.find(p.key);
    const bool told = std::find(m.not_told.begin(), m.not_told.end(), p.key) == m.not_told.end() &&
                      (u == m.u.end() || 1.96 * u->second <= p.by.norm());
    if (u != m.u.end()) r.known = fmt::format("give or take {:.1f} cm", 196 * u->second);
    if (!told) {
      r.how_far = "not told apart";
      r.known = u == m.u.end() ? "" : fmt::format("up to {:.0f} cm", 100 * (p.by.norm() + 1.96 * u->second));
    }
    if (told && r.what == "aim" && m.aim_at_ball && m.u_aim_at_ball &&
        std::abs(*m.aim_at_ball) > 1.96 * *m.u_aim_at_ball)
      r.what += fmt::format(" ({:.1f} mm {} at the object ball)", 1e3 * std::abs(*m.aim_at_ball),
                            *m.aim_at_ball > 0 ? "thick" : "thin");
    rows.push_back(std::move(r));
  }
  return rows;
}

std::string parting_words(const practice::Attempt& a) {
  if (!a.comparison || !a.meant) return "";
  const auto white = a.balls.find("white");
  if (white == a.balls.end()) return "";
  const auto& real = white->second.contacts;
  std::string out;
  for (std::size_t i = 0; i < a.comparison->at_contacts.size() && i < real.size(); ++i)
    out += fmt::format("{}{} {:.1f} cm", out.empty() ? "Apart from what was meant at " : ", ", contact_name(real[i]),
                       100 * a.comparison->at_contacts[i].second);
  const std::size_t n = a.comparison->at_contacts.size();
  const auto& meant = a.meant->contacts;
  // Of one that was not seen to its end nobody knows what it touched next.
  const bool seen_on = n < real.size() || (a.ended == practice::Ended::rest && !white->second.told_until);
  if (seen_on && (n < real.size() || n < meant.size())) {
    const auto name = [&](const std::vector<Contact>& c) { return n < c.size() ? contact_name(c[n]) : "nothing more"; };
    out += fmt::format("{}it touched {} where {} was meant", out.empty() ? "" : "; then ", name(real), name(meant));
  }
  if (!out.empty()) out += ".";
  if (a.comparison->parts)
    out += fmt::format("{}The paths part {:.2f} s after the strike.", out.empty() ? "" : " ",
                       a.comparison->parts->time - a.strike_time);
  return out;
}

std::string what_if_words(const motion::Prediction& p, const std::optional<Vec2>& unchanged) {
  const BallPath* white = p.ball("white");
  if (!white) return "there is no white";
  std::string out;
  for (const Contact& c : white->contacts) out += (out.empty() ? "" : ", ") + contact_name(c);
  if (out.empty()) out = "touches nothing";
  if (white->pocket) return out + "; goes in-off";
  if (!white->rest) return out + "; does not come to rest";
  out += fmt::format("; stops at ({:.2f}, {:.2f})", white->rest->at.x(), white->rest->at.y());
  if (unchanged)
    out += fmt::format(", {:.0f} cm from where the strike as it was found stops",
                       100 * (white->rest->at - *unchanged).norm());
  return out;
}

}  // namespace baizetrace::report
