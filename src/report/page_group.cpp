#include "report/page_group.hpp"

#include <fmt/format.h>

#include <cmath>

#include "practice/stop.hpp"
#include "report/attempt_plan.hpp"
#include "report/html.hpp"
#include "report/names.hpp"
#include "report/plan.hpp"
#include "report/session_words.hpp"
#include "report/words.hpp"

namespace baizetrace::report {
namespace {

// Told apart by words and place, not by colour.
std::string four_boxes(const practice::Boxes& b) {
  const auto box = [](int n, const char* words) {
    return fmt::format("<td><b class=\"count\">{}</b> {}</td>", n, words);
  };
  return "<table class=\"boxes\"><caption>Pot and position</caption>\n"
         "<thead><tr><td></td><th scope=\"col\">position</th><th scope=\"col\">no position</th></tr></thead>\n"
         "<tbody><tr><th scope=\"row\">pot</th>" +
         box(b.both, "in and on") + box(b.pot_only, "in only") + "</tr>\n<tr><th scope=\"row\">no pot</th>" +
         box(b.position_only, "would have been on") + box(b.neither, "neither") + "</tr></tbody></table>\n";
}

std::string spread_list(const practice::GroupSummary& s) {
  std::string out;
  const auto item = [&](const char* name, const std::string& html) {
    out += fmt::format("<div><dt>{}</dt><dd>{}</dd></div>\n", name, html);
  };
  const auto about = [](const practice::MeanSd& m, const char* plus, const char* minus) {
    return fmt::format("{:.0f} cm {} on average, spread {:.0f} cm (1 sd, {} attempts)", 100 * std::abs(m.mean),
                       m.mean < 0 ? minus : plus, 100 * m.sd, m.n);
  };
  if (s.mark && s.rest) item("from the mark", fmt::format("half within {:.0f} cm", 100 * s.rest->median_from_mark));
  if (s.along.n > 1) item("along", about(s.along, "long", "short"));
  if (s.across.n > 1) item("across", about(s.across, "left", "right"));
  if (s.rest && s.rest->n > 2)
    item("ellipse", fmt::format("{:.0f} x {:.0f} cm (1 sd each way)", 100 * s.rest->major, 100 * s.rest->minor));
  if (s.pace.n > 1 && s.pace.mean > 0)
    item("pace", fmt::format("{:.2f} m/s, spread {:.1f} %", s.pace.mean, 100 * s.pace.sd / s.pace.mean));
  if (s.direction.n > 1) item("direction", fmt::format("spread {:.2f}°", degrees(s.direction.sd)));
  if (s.white_placed > 0)
    item("white put down", fmt::format("half within {:.1f} mm of the mark", 1000 * s.white_placed));
  if (s.next_of > 0) item("next ball", fmt::format("{} of {} potted", s.next_potted, s.next_of));
  return out.empty() ? out : "<dl>\n" + out + "</dl>\n";
}

std::string routes_table(const practice::GroupSummary& s) {
  if (s.routes.size() < 2) return {};
  HtmlTable t;
  t.caption = "Cushions the white took";
  t.heads = {"in order", "how often"};
  for (const auto& [cushions, count] : s.routes) {
    std::string words;
    for (const std::string& c : cushions) words += (words.empty() ? "" : ", ") + post_name(c);
    t.rows.push_back({words.empty() ? "none" : escape_xml(words), fmt::format("{}", count)});
  }
  return t.html();
}

// How far from the mark, attempt by attempt; page.js draws it. Numbers alone, nothing to escape.
std::string distance_chart(const PageInput& in, const practice::GroupSummary& s) {
  if (!s.mark) return {};
  std::string rows;
  int n = 0;
  for (const practice::Attempt& a : in.session.attempts) {
    const auto rest = practice::rest_of(a);
    if (a.group != s.group || !rest) continue;
    rows += fmt::format("{}[{},{:.1f},{}]", rows.empty() ? "" : ",", a.number, 100 * (rest->place.at - *s.mark).norm(),
                        practice::is_hit(a).value_or(false) ? 1 : 0);
    ++n;
  }
  constexpr int kFewest = 3;
  if (n < kFewest) return {};
  return fmt::format(
      "<figure class=\"distance\"><figcaption>How far from the mark the white stopped</figcaption>\n"
      "<div class=\"chart\"><canvas role=\"img\" aria-label=\"Chart of the distance from the mark in centimetres, "
      "attempt by attempt; the table of attempts holds its numbers.\"></canvas></div>\n"
      "<script type=\"application/json\">{{\"median\":{:.1f},\"rows\":[{}]}}</script></figure>\n",
      100 * s.rest->median_from_mark, rows);
}

std::string attempts_table(const PageInput& in, int group) {
  HtmlTable t;
  t.caption = "Attempts";
  t.heads = {"no.", "what came of it", "stopped", "m/s", "white off its mark, mm", "next ball"};
  constexpr std::ptrdiff_t kStopped = 2, kPace = 3;  // their columns
  bool next = false, points = false, zone = false, pace = false;
  for (const practice::Attempt& a : in.session.attempts) {
    next = next || (a.group == group && a.follow_on && a.follow_on->next_potted);
    points = points || (a.group == group && a.score);
    pace = pace || (a.group == group && a.strike && a.strike->speed_told());
    const practice::Setup* setup = a.group == group ? in.setup_for(a) : nullptr;
    zone = zone || (setup && setup->goal && setup->goal->zone);
  }
  if (!next) t.heads.pop_back();
  if (!pace) t.heads.erase(t.heads.begin() + kPace);
  if (!zone) t.heads.erase(t.heads.begin() + kStopped);
  if (points) t.heads.insert(t.heads.begin() + kStopped, "points");
  for (const practice::Attempt& a : in.session.attempts) {
    if (a.group != group) continue;
    WordsOptions options{in.ball_radius, in.setup_for(a)};
    std::string stopped = "–";
    if (const auto stop = options.setup ? practice::stop_beside(a, *options.setup) : std::nullopt)
      stopped = practice::stop_words(*stop);
    else if (const auto rest = practice::rest_of(a);
             rest && options.setup && options.setup->goal && options.setup->goal->zone)
      stopped = fmt::format("{:.0f} cm off", 100 * (rest->place.at - options.setup->goal->zone->middle()).norm());
    const auto mark = a.off_group.find("white");
    std::vector<std::string> row{fmt::format("<a href=\"#attempt-{0}\">{0}</a>", a.number),
                                 escape_xml(words_of(a, in.table, options).verdict), stopped,
                                 a.strike && a.strike->speed_told() ? pace_number(*a.strike) : "–",
                                 mark == a.off_group.end() ? "–" : fmt::format("{:.1f}", 1000 * mark->second.norm())};
    if (next)
      row.emplace_back(!a.follow_on || !a.follow_on->next_potted ? "–"
                       : *a.follow_on->next_potted               ? "potted"
                                                                 : "missed");
    if (!pace) row.erase(row.begin() + kPace);
    if (!zone) row.erase(row.begin() + kStopped);
    if (points)
      row.insert(row.begin() + kStopped, a.score ? fmt::format("{:g} of {:g}", a.score->points, a.score->of) : "–");
    t.rows.push_back(std::move(row));
  }
  return t.html();
}

std::string marks_words(const practice::Group& g) {
  std::string out;
  constexpr double kWorthSaying = 0.003;  // m: placing is good to 1-3 mm (common practice)
  for (const auto& [ball, off] : g.off_setup)
    if (off.norm() > kWorthSaying)
      out += fmt::format("{}{} {:.0f} mm", out.empty() ? "" : ", ", ball_name(ball), 1000 * off.norm());
  return out.empty() ? out : "The session's marks lie off the setup's: " + out + ".";
}

}  // namespace

std::string group_section(const PageInput& in, const practice::GroupSummary& s, bool several) {
  const practice::Group* group = in.session.group(s.group);
  const auto k = static_cast<std::size_t>(s.group) - 1;
  const practice::Setup* setup = in.setup_of_group.empty()      ? in.setup
                                 : k < in.setup_of_group.size() ? in.setup_of_group[k]
                                                                : nullptr;
  const GroupWords words = group_words(s);
  std::string out;
  if (several) {
    const std::string title = setup ? setup->title : group && group->setup ? group->setup->second : "No setup known";
    out += fmt::format(
        "<section class=\"group\" aria-labelledby=\"group-{0}\">\n<p class=\"over\">{1}</p>\n"
        "<h2 id=\"group-{0}\">{2}</h2>\n<p>{3}</p>\n",
        s.group, escape_xml(title), escape_xml(words.verdict), escape_xml(words.lead));
  }
  Plan plan = session_plan(in.session, in.table, setup, s.group);
  plan.standalone = false;
  plan.table_by_reference = true;
  out += "<div class=\"pair\"><figure class=\"plan\">" + plan_svg(plan) + "</figure>\n<div>";
  if (!words.advice.empty()) out += "<p class=\"try\">One thing to try: " + escape_xml(words.advice) + "</p>\n";
  if (s.boxes) out += four_boxes(*s.boxes);
  out += attempts_table(in, s.group) + distance_chart(in, s) + spread_list(s) + routes_table(s);
  if (group) {
    if (!group->note.empty()) out += "<p>" + escape_xml(capital(group->note)) + ".</p>\n";
    const std::string marks = marks_words(*group);
    if (!marks.empty()) out += "<p>" + escape_xml(marks) + "</p>\n";
  }
  out += "</div></div>\n";
  return several ? out + "</section>\n" : out;
}

}  // namespace baizetrace::report
