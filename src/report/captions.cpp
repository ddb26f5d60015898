#include "report/captions.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "report/names.hpp"

namespace baizetrace::report {
namespace {

constexpr double kTogether = 0.9;    // s: things that follow sooner share one caption: nobody reads faster
constexpr double kStays = 3.0;       // s a caption stays when nothing follows
constexpr double kCloseGap = 0.105;  // m, two balls' widths: a gap nobody asked for is told when narrower

struct Said {
  double time = 0;
  std::string text;
};

bool is_named(const practice::GatePassed& g, const practice::Setup* setup) {
  if (!setup || !setup->goal) return false;
  return std::any_of(setup->goal->gates.begin(), setup->goal->gates.end(), [&](const auto& n) {
    return (n.first == g.a && n.second == g.b) || (n.first == g.b && n.second == g.a);
  });
}

std::vector<Said> happened(const practice::Attempt& a, const WordsOptions& o) {
  std::vector<Said> out;
  std::string struck = "Struck";
  if (a.strike && a.strike->speed_told())
    struck = fmt::format("Struck at {} pace, {:.1f} m/s", pace_words(a.strike->speed), a.strike->speed);
  out.push_back({a.strike_time, struck});
  const auto white = a.balls.find("white");
  if (white != a.balls.end()) {
    const auto full = first_fullness(a, o.ball_radius);
    bool first = true;
    for (const Contact& c : white->second.contacts) {
      if (c.kind == ContactKind::pocket) continue;
      std::string text = touched(c);
      if (c.kind == ContactKind::ball && first) {
        first = false;
        if (full) text = fullness_words(full->cut) + " on the " + text;
      }
      if (c.inferred) text += " (out of sight)";
      out.push_back({c.time, text});
    }
  }
  for (const practice::GatePassed& g : a.gates)
    if (is_named(g, o.setup) || g.clearance < kCloseGap)
      out.push_back({g.time, fmt::format("between {} and {}, {} to spare", post_name(g.a), post_name(g.b),
                                         ball_widths(g.clearance, o.ball_radius))});
  for (const practice::Potted& p : a.potted)
    out.push_back({p.time, fmt::format("{} in the {}", ball_name(p.ball), table::trade_name_of_pocket(p.pocket))});
  if (a.in_off)
    out.push_back(
        {a.in_off->time, fmt::format("in-off: white in the {}", table::trade_name_of_pocket(a.in_off->pocket))});
  std::stable_sort(out.begin(), out.end(), [](const Said& x, const Said& y) { return x.time < y.time; });
  return out;
}

std::string clock(double t, bool always_hours) {
  const auto ms = static_cast<long long>(std::llround(std::max(0.0, t) * 1000));
  const long long h = ms / 3600000, m = ms / 60000 % 60, s = ms / 1000 % 60;
  if (always_hours) return fmt::format("{:02}:{:02}:{:02}.{:03}", h, m, s, ms % 1000);
  return h > 0 ? fmt::format("{}:{:02}:{:02}", h, m, s) : fmt::format("{:02}:{:02}", m, s);
}

// WebVTT cue text: "&", "<" and ">" are written as references (which also keeps "-->" out), no line may be empty.
std::string escaped(const std::string& text) {
  std::string s;
  for (const char c : text) {
    if (c == '&')
      s += "&amp;";
    else if (c == '<')
      s += "&lt;";
    else if (c == '>')
      s += "&gt;";
    else
      s += c == '\n' || c == '\r' ? ' ' : c;
  }
  return s;
}

const practice::Setup* setup_of(const practice::Attempt& a, const std::vector<const practice::Setup*>& setups) {
  const auto k = static_cast<std::size_t>(a.group) - 1;
  return k < setups.size() ? setups[k] : nullptr;
}

}  // namespace

std::string score_words(const practice::Attempt& a) {
  return a.score && a.score->of > 0 ? fmt::format("{:g} of {:g}", a.score->points, a.score->of) : std::string();
}

std::vector<Cue> captions(const practice::Attempt& a, const table::Table& table, const WordsOptions& o,
                          const CaptionSpan& span) {
  std::vector<Cue> cues;
  const auto film = [&](double t) { return t - span.from + span.shift; };
  const double end = film(span.to);
  std::string title = fmt::format("Attempt {}", a.number);
  if (o.setup && !o.setup->title.empty()) title += ": " + o.setup->title;
  cues.push_back({0, end, title});
  for (const Said& s : happened(a, o)) {
    const double at = film(s.time);
    if (at < 0 || at >= end) continue;
    if (cues.size() > 1 && at - cues.back().from < kTogether)
      cues.back().text += ", " + s.text;
    else
      cues.push_back({at, end, capital(s.text)});
  }
  for (std::size_t k = 1; k < cues.size(); ++k) cues[k].text += ".";
  const AttemptWords words = words_of(a, table, o);
  std::string last = words.verdict;
  if (!words.stop.empty()) last += " " + words.stop;
  if (const std::string score = score_words(a); !score.empty()) last += " " + score + ".";
  double over = a.strike_time;
  for (const auto& [name, path] : a.balls)
    if (!path.rows.empty()) over = std::max(over, path.rows.back().time);
  // It has to be read too: it may begin before the white has quite stopped, never before the last thing told.
  const double at = std::max(std::min(film(over), end - kStays), cues.back().from + kTogether);
  if (at < end) cues.push_back({at, end, last});
  for (std::size_t k = 0; k + 1 < cues.size(); ++k)
    cues[k].to = k == 0 ? cues[1].from : std::min(cues[k + 1].from, cues[k].from + kStays);
  return cues;
}

std::string webvtt(const std::vector<Cue>& cues) {
  std::string out = "WEBVTT\n";
  int number = 0;
  for (const Cue& c : cues) {
    if (c.text.empty() || clock(c.from, true) >= clock(c.to, true)) continue;
    out += fmt::format("\n{}\n{} --> {}\n{}\n", ++number, clock(c.from, true), clock(c.to, true), escaped(c.text));
  }
  return out;
}

std::vector<Chapter> chapters(const practice::Session& session, const table::Table& table,
                              const std::vector<const practice::Setup*>& setups, double lead) {
  std::vector<double> begins{0};
  begins.push_back(session.clip.duration);
  for (const practice::ClipInfo& c : session.more_clips) begins.push_back(begins.back() + c.duration);
  std::vector<Chapter> out;
  for (const practice::Attempt& a : session.attempts) {
    const auto clip = static_cast<std::size_t>(a.clip);
    const double begin = clip < begins.size() ? begins[clip] : 0;
    std::string title =
        fmt::format("Attempt {}: {}", a.number, words_of(a, table, {.setup = setup_of(a, setups)}).verdict);
    if (title.ends_with('.')) title.pop_back();
    if (const std::string score = score_words(a); !score.empty()) title += ", " + score;
    out.push_back({begin + std::max(0.0, a.strike_time - lead), title});
  }
  std::stable_sort(out.begin(), out.end(), [](const Chapter& x, const Chapter& y) { return x.at < y.at; });
  // Chapters are told in whole seconds; the first stands at 0.
  if (out.empty() || out.front().at >= 1) out.insert(out.begin(), {0, "Start"});
  out.front().at = 0;
  return out;
}

std::string chapter_list(const std::vector<Chapter>& chapters) {
  std::string out;
  for (const Chapter& c : chapters) {
    std::string title = c.title;
    std::replace(title.begin(), title.end(), '\n', ' ');
    out += clock(std::floor(c.at), false) + " " + title + "\n";
  }
  return out;
}

}  // namespace baizetrace::report
