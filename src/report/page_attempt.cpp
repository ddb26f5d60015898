#include "report/page_attempt.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "practice/pot.hpp"
#include "report/attempt_plan.hpp"
#include "report/html.hpp"
#include "report/miss_table.hpp"
#include "report/names.hpp"
#include "report/plan.hpp"
#include "report/speed.hpp"
#include "report/words.hpp"

namespace baizetrace::report {
namespace {

// Attempts beyond which each is shown with its picture alone and a coarser chart: what the plan would repeat is left
// out, so that the page stays below its limit.
constexpr std::size_t kLongPage = 60;

// Where a ball's centre is, as a tape measure would say it: from two noses, in mm.
std::string place_cell(const Vec2& at, const Vec2& u, const table::Table& table) {
  return with_u(1000 * (at.y() + table.half_length()), 1000 * u.y(), u.y() > 0 ? 1 : 0) + "<br>" +
         with_u(1000 * (at.x() + table.half_width()), 1000 * u.x(), u.x() > 0 ? 1 : 0);
}
constexpr const char* kPlaceHead = "mm from baulk <br>and green-side nose";

std::string mark_words(bool met) { return met ? "<b class=\"yes\">met</b>" : "<b class=\"no\">not met</b>"; }

std::string contacts_table(const std::string& ball, const BallPath& path, const practice::Attempt& a,
                           const table::Table& table) {
  if (!path.followed()) return {};
  HtmlTable t;
  t.caption = capital(ball_name(ball)) + ": what it touched";
  t.heads = {"touched", "s after the strike", "mm from baulk <br>and green side", "m/s before, after",
             "heading before, after"};
  int number = 0;
  for (const Contact& c : path.contacts) {
    const bool falls = c.kind == ContactKind::pocket, started = c.speed_in <= 0;
    t.rows.push_back(
        {fmt::format("{}&nbsp;{}{}", ++number, escape_xml(touched(c)), c.inferred ? " <i>(out of sight)</i>" : ""),
         with_u(c.time - a.strike_time, c.u_time, c.u_time > 0 ? 4 : 3), place_cell(c.at, c.u, table),
         (started ? std::string("at rest") : with_u(c.speed_in, c.u_speed_in, c.u_speed_in > 0 ? 3 : 2)) + "<br>" +
             (falls ? std::string("falls") : fmt::format("{:.2f}", c.speed_out)),
         (started ? std::string("–") : with_u(degrees(c.heading_in), degrees(c.u_heading_in), 1) + "°") + "<br>" +
             (falls ? std::string("–") : fmt::format("{:.1f}°", degrees(c.heading_out)))});
  }
  return t.html();
}

std::string balls_table(const practice::Attempt& a, const table::Table& table) {
  HtmlTable t;
  t.caption = "Where the balls lay";
  const bool marks = !a.placing_error.empty();
  t.heads = {"ball", std::string("before: ") + kPlaceHead, "after"};
  if (marks) t.heads.emplace_back("off its mark, mm");
  for (const auto& [name, place] : a.before) {
    const auto after = a.after.find(name);
    const auto fell = std::find_if(a.potted.begin(), a.potted.end(), [&](const auto& p) { return p.ball == name; });
    const bool moved = a.balls.contains(name) || practice::hit_unseen(a, name);
    std::string then;
    if (fell != a.potted.end())
      then = escape_xml(table::trade_name_of_pocket(fell->pocket));
    else if (name == "white" && a.in_off)
      then = "in-off, " + escape_xml(table::trade_name_of_pocket(a.in_off->pocket));
    else if (after == a.after.end())
      then = "not seen at rest";
    else
      then = moved ? place_cell(after->second.at, after->second.u, table) : "not moved";
    std::vector<std::string> row{escape_xml(ball_name(name)), place_cell(place.at, place.u, table), then};
    if (marks) {
      const auto e = a.placing_error.find(name);
      row.push_back(e == a.placing_error.end() ? "–" : fmt::format("{:.1f}", 1000 * e->second.norm()));
    }
    t.rows.push_back(std::move(row));
  }
  return t.html();
}

std::string gates_table(const practice::Attempt& a, double ball_radius) {
  HtmlTable t;
  t.caption = "Gates passed by the white";
  t.heads = {"between", "s after the strike", "to spare"};
  for (const practice::GatePassed& g : a.gates)
    t.rows.push_back({escape_xml(post_name(g.a) + " and " + post_name(g.b)),
                      fmt::format("{:.2f}", g.time - a.strike_time),
                      fmt::format("{:.0f} mm, {}", 1000 * g.clearance, ball_widths(g.clearance, ball_radius))});
  return t.html();
}

std::string pockets_table(const practice::Attempt& a, double ball_radius) {
  HtmlTable t;
  t.caption = "How near the white came to each pocket";
  t.heads = {"pocket", "centre to the fall", "in balls", "s after the strike"};
  std::vector<practice::PocketPassed> near = a.nearest_pockets;
  std::stable_sort(near.begin(), near.end(), [](const auto& x, const auto& y) { return x.distance < y.distance; });
  for (const practice::PocketPassed& p : near)
    t.rows.push_back({escape_xml(table::trade_name_of_pocket(p.pocket)),
                      p.distance <= 0 ? "falls" : fmt::format("{:.1f} cm", 100 * p.distance),
                      fmt::format("{:.1f}", p.distance / (2 * ball_radius)),
                      fmt::format("{:.2f}", p.time - a.strike_time)});
  return t.html();
}

std::string strike_list(const practice::Attempt& a, double ball_radius) {
  if (!a.strike) return {};
  const practice::Strike& s = *a.strike;
  const auto u = [&](const char* key) {
    const auto it = s.u.find(key);
    return it == s.u.end() ? 0.0 : it->second;
  };
  constexpr double kTip = 9.5;  // mm, one tip of side or height; common practice, no source
  std::string out = "<h3>The strike, from the motion alone</h3>\n<dl>\n";
  out += fmt::format("<div><dt>pace</dt><dd>{} m/s{}</dd></div>\n", with_u(s.speed, u("speed"), 2),
                     s.speed_told() ? ", " + pace_words(s.speed) : "");
  out += fmt::format("<div><dt>heading</dt><dd>{}°</dd></div>\n", with_u(degrees(s.heading), degrees(u("heading")), 2));
  const auto tip = [&](const char* name, const char* key, const std::optional<double>& r, const char* plus,
                       const char* minus) {
    out += fmt::format("<div><dt>{}</dt><dd>{}{}</dd></div>\n", name, tip_words(s, key, ball_radius, plus, minus),
                       r ? fmt::format(", {:.1f} tips", 1000 * ball_radius * std::abs(*r) / kTip) : "");
  };
  tip("side", "right", s.right, "right", "left");
  tip("height", "height", s.height, "above the middle", "below the middle");
  if (const std::string raised = raised_words(s); !raised.empty())
    out += fmt::format("<div><dt>cue raised</dt><dd>{}</dd></div>\n", raised);
  return out + "</dl>\n";
}

// Why it ended there; the path that the model gives the strike found only on request.
std::string why_list(const PageInput& in, const practice::Attempt& a) {
  if (!a.miss && !a.explained && a.not_explained.empty()) return {};
  std::string out = a.miss || !a.not_explained.empty() ? "<h3>Why it stopped there</h3>\n" : "";
  if (a.miss || !a.not_explained.empty())
    out += "<p>" +
           escape_xml(a.miss ? a.miss->sentence
                             : "Cannot tell" + (a.not_explained.empty() ? "" : ": " + a.not_explained) + ".") +
           "</p>\n";
  if (a.miss) {
    HtmlTable t;
    t.caption = "What each departure adds where the white stopped";
    t.heads = {"part", "at the resting place", "how well it is known"};
    for (const MissRow& r : miss_rows(a))
      t.rows.push_back({escape_xml(r.what), escape_xml(r.how_far), escape_xml(r.known)});
    out += t.html();
  }
  if (const std::string parting = parting_words(a); !parting.empty()) out += "<p>" + escape_xml(parting) + "</p>\n";
  if (a.explained && in.session.attempts.size() <= kLongPage) {
    Plan plan = explained_plan(a, in.table);
    plan.standalone = false;
    plan.table_by_reference = true;
    out += "<details><summary>The strike found, as the model plays it</summary><figure class=\"plan\">" +
           plan_svg(plan) + "</figure></details>\n";
  }
  return out;
}

std::string comparison_list(const practice::Attempt& a) {
  if (!a.prediction) return {};
  std::string out = "<h3>Beside the prediction</h3>\n<p>" + escape_xml(capital(prediction_words(a))) + ".</p>\n";
  if (!a.comparison) return out;
  out += "<dl>\n";
  if (a.comparison->first_contact_off)
    out += fmt::format("<div><dt>first contact</dt><dd>{:.0f} mm apart</dd></div>\n",
                       1000 * *a.comparison->first_contact_off);
  if (a.comparison->rest_off)
    out += fmt::format("<div><dt>resting place</dt><dd>{:.1f} cm apart</dd></div>\n",
                       100 * a.comparison->rest_off->norm());
  if (a.comparison->worst_off)
    out += fmt::format("<div><dt>on the way</dt><dd>{:.1f} cm apart at most, at the same time</dd></div>\n",
                       100 * *a.comparison->worst_off);
  return out + "</dl>\n";
}

std::string score_list(const practice::Attempt& a) {
  if (!a.score) return a.not_judged.empty() ? std::string() : "<p>Not judged: " + escape_xml(a.not_judged) + ".</p>\n";
  HtmlTable t;
  t.caption = fmt::format("Goal: {:.0f} of {:.0f} points", a.score->points, a.score->of);
  t.heads = {"part", "", "how"};
  for (const practice::ScorePart& p : a.score->parts)
    t.rows.push_back({escape_xml(p.what), mark_words(p.met), escape_xml(p.note)});
  return t.html();
}

std::string follow_on_words(const practice::Attempt& a) {
  if (!a.follow_on) return {};
  std::string fell;
  for (const practice::Potted& p : a.follow_on->potted) fell += (fell.empty() ? "" : ", ") + ball_name(p.ball);
  std::string words = "Played on from there";
  if (a.follow_on->next_potted)
    words += *a.follow_on->next_potted ? ": the next ball was potted" : ": the next ball was not potted";
  else
    words += !fell.empty()                 ? ": " + fell + " potted"
             : a.follow_on->unseen.empty() ? ": nothing potted"
                                           : ": nothing potted as far as was seen";
  return "<p>" + escape_xml(words) + ".</p>\n";
}

std::string numbers_of(const std::vector<SpeedPoint>& points, double from) {
  std::string s = "[";
  for (const SpeedPoint& p : points)
    s += fmt::format("{}[{:.3f},{:.3f}]", s.size() > 1 ? "," : "", p.time - from, p.speed);
  return s + "]";
}

// The chart's data stand in a script element that no browser runs; page.js draws the chart and its table from them.
// Numbers and our own words alone, so that nothing in it needs escaping.
std::string speed_figure(const practice::Attempt& a, std::size_t most) {
  const auto white = a.balls.find("white");
  if (white == a.balls.end()) return {};
  const std::vector<SpeedPoint> real = speeds_along(white->second, most);
  if (real.size() < 2) return {};
  std::string guess = "[]";
  if (a.prediction) {
    BallPath p;
    p.rows = a.prediction->path;
    p.contacts = a.prediction->contacts;
    guess = numbers_of(speeds_along(p, most), a.strike_time);
  }
  std::string contacts = "[";
  for (const Contact& c : white->second.contacts)
    contacts += fmt::format("{}[{:.3f},{:.3f}]", contacts.size() > 1 ? "," : "", c.time - a.strike_time, c.speed_in);
  return fmt::format(
      "<figure class=\"speed\" data-attempt=\"{0}\"><figcaption>Speed of the white along its path</figcaption>\n"
      "<div class=\"chart\"><canvas role=\"img\" aria-label=\"Chart of the white's speed in metres a second over the "
      "seconds after the strike; its numbers stand in the table below.\"></canvas></div>\n"
      "<script type=\"application/json\">{{\"real\":{1},\"guess\":{2},\"contacts\":{3}]}}</script>\n"
      "<details><summary>The chart's numbers</summary><div class=\"numbers\"></div></details></figure>\n",
      a.number, numbers_of(real, a.strike_time), guess, contacts);
}

}  // namespace

std::string picture_words(const practice::Attempt& a) {
  std::string s = fmt::format("Picture of the table, attempt {}: the white's measured path", a.number);
  if (a.prediction) s += " and the predicted one, dashed,";
  s += " drawn over it";
  if (const auto white = a.balls.find("white"); white != a.balls.end() && !white->second.contacts.empty()) {
    s += "; it touches";
    for (const Contact& c : white->second.contacts)
      s += (&c == &white->second.contacts.front() ? " " : ", ") + touched(c);
  }
  return s + ".";
}

std::string attempt_section(const PageInput& in, const practice::Attempt& a, const std::string& picture, bool alone) {
  WordsOptions options;
  options.ball_radius = in.ball_radius;
  options.setup = in.setup_for(a);
  const AttemptWords words = words_of(a, in.table, options);
  std::string out =
      fmt::format("<section class=\"attempt\" id=\"attempt-{0}\" aria-labelledby=\"title-{0}\">\n", a.number);
  if (alone) {
    out += fmt::format("<h2 id=\"title-{}\">In detail</h2>\n", a.number);
  } else {
    out += fmt::format("<h2 id=\"title-{0}\"><span class=\"number\">{0}</span> {1}</h2>\n<p>{2}</p>\n", a.number,
                       escape_xml(words.verdict), escape_xml(words.sentence));
    if (!picture.empty()) out += "<figure class=\"picture\">" + picture + "</figure>\n";
  }
  out += follow_on_words(a);
  if (!words.cannot_tell.empty()) {
    out += "<div class=\"cannot\"><h3>What cannot be told</h3><ul>\n";
    for (const std::string& c : words.cannot_tell) out += "<li>" + escape_xml(c) + "</li>\n";
    out += "</ul></div>\n";
  }
  std::string warned;
  const double until = a.rest_time.value_or(a.strike_time + 10);
  constexpr double kBefore = 2;  // s before the strike that a warning still concerns the attempt
  for (const practice::Warning& w : in.session.warnings)
    if (w.clip == a.clip && w.time >= a.strike_time - kBefore && w.time <= until)
      warned += fmt::format("<li>At {:.1f} s: {}</li>\n", w.time, escape_xml(w.what));
  if (!warned.empty()) out += "<div class=\"cannot\"><h3>Warnings</h3><ul>\n" + warned + "</ul></div>\n";

  const bool long_page = in.session.attempts.size() > kLongPage;
  out += "<div class=\"pair\">\n";
  if (!long_page || picture.empty()) {
    Plan plan = attempt_plan(a, in.table, in.setup_for(a));
    plan.standalone = false;
    plan.table_by_reference = true;
    out += "<figure class=\"plan\">" + plan_svg(plan) + "</figure>\n";
  }
  out += "<div>\n";
  const auto white = a.balls.find("white");
  const bool followed = white == a.balls.end() || white->second.followed();
  if (white != a.balls.end()) out += contacts_table("white", white->second, a, in.table);
  out += speed_figure(a, long_page ? 40 : 120) + score_list(a) + why_list(in, a) + strike_list(a, in.ball_radius) +
         comparison_list(a);
  out += "</div></div>\n";
  for (const auto& [name, path] : a.balls)
    if (name != "white") out += contacts_table(name, path, a, in.table);
  out += balls_table(a, in.table);
  if (followed) out += gates_table(a, in.ball_radius) + pockets_table(a, in.ball_radius);
  return out + "</section>\n";
}

}  // namespace baizetrace::report
