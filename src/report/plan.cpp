#include "report/plan.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>

#include "report/flat_plan.hpp"
#include "report/names.hpp"
#include "report/palette.hpp"
#include "report/placing.hpp"
#include "report/stretches.hpp"
#include "report/svg.hpp"

namespace baizetrace::report {
namespace {

constexpr double kMargin = 0.15;       // m of rail and pockets drawn beyond the noses
constexpr double kThin = 0.001;        // m: rows nearer than this to the drawn line are left out of it
constexpr double kPhoneWidth = 390;    // px: a phone held upright
constexpr double kLetterOnPhone = 12;  // px there: the smallest letter that is still easy to read
constexpr double kSigmas = 2;          // the ellipse of a resting place holds 2 standard uncertainties
constexpr double kScaleBar = 0.5;      // m
constexpr double kHiddenWidth = 0.7;   // of a path's width where it was out of sight: dots
constexpr double kFreeStep = 0.02;     // m between the places of a path that labels keep clear of

// How a path is drawn. `dash` in letters' sizes.
struct Stroke {
  const char* line;            // class of the line
  const char* ink;             // class of its text
  const char* tag;             // class of the disc behind a number
  double width;                // share of a letter's size
  std::array<double, 4> dash;  // 0: unbroken
  char letter;                 // at its end; 0: none
};
constexpr Stroke kMeasured{"bz-real", "bz-real-ink", "bz-real-tag", 0.22, {0, 0, 0, 0}, 0};
constexpr Stroke kPredicted{"bz-guess", "bz-guess-ink", "bz-guess-tag", 0.17, {0.75, 0.5, 0.75, 0.5}, 0};
constexpr std::array<Stroke, 3> kWhatIf{{
    {"bz-if-a", "bz-if-a-ink", "bz-paper", 0.14, {0.06, 0.36, 0.06, 0.36}, 'A'},
    {"bz-if-b", "bz-if-b-ink", "bz-paper", 0.14, {0.9, 0.3, 0.06, 0.3}, 'B'},
    {"bz-if-c", "bz-if-c-ink", "bz-paper", 0.14, {1.5, 0.4, 1.5, 0.4}, 'C'},
}};

Stroke stroke_of(PathStyle style, int what_ifs_before) {
  if (style == PathStyle::measured) return kMeasured;
  if (style == PathStyle::predicted) return kPredicted;
  Stroke s = kWhatIf[static_cast<std::size_t>(what_ifs_before) % kWhatIf.size()];
  s.letter = static_cast<char>('A' + what_ifs_before % 26);
  return s;
}

// The drawing's frame: millimetres, y down.
struct View {
  double half_width, half_length;
  bool landscape;

  [[nodiscard]] Vec2 size() const {
    const Vec2 upright(2000 * (half_width + kMargin), 2000 * (half_length + kMargin));
    return landscape ? Vec2(upright.y(), upright.x()) : upright;
  }
  [[nodiscard]] Vec2 operator()(const Vec2& p) const {
    if (landscape) return {1000 * (p.y() + half_length + kMargin), 1000 * (p.x() + half_width + kMargin)};
    return {1000 * (p.x() + half_width + kMargin), 1000 * (half_length + kMargin - p.y())};
  }
};

class Drawing {
 public:
  explicit Drawing(const Plan& plan)
      : plan_(plan),
        table_(*plan.table),
        view_{table_.half_width(), table_.half_length(), plan.landscape},
        letter_(view_.size().x() / kPhoneWidth * kLetterOnPhone),
        labels_(Vec2(0, 0), view_.size()) {}

  std::string symbol() {
    table();
    return fmt::format(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"0\" height=\"0\" aria-hidden=\"true\">"
        "<symbol id=\"{}\" overflow=\"visible\">\n{}</symbol></svg>\n",
        table_id(), svg_.take());
  }

  std::string draw() {
    if (plan_.table_by_reference)
      svg_.raw(fmt::format("<use href=\"#{}\"/>\n", table_id()));
    else
      table();
    zone();
    spread();
    gates();
    keep_clear();
    for (const PlanBall& b : plan_.balls) ball(b.at, b.radius, b.name, b.hollow);
    int what_ifs = 0;
    for (const PlanPath& p : plan_.paths) {
      strokes_.push_back(stroke_of(p.style, what_ifs));
      if (p.style == PathStyle::what_if) ++what_ifs;
    }
    // Measured last, on top of what was only computed.
    for (std::size_t k = 0; k < plan_.paths.size(); ++k)
      if (plan_.paths[k].style != PathStyle::measured) path(plan_.paths[k], strokes_[k]);
    for (std::size_t k = 0; k < plan_.paths.size(); ++k)
      if (plan_.paths[k].style == PathStyle::measured) path(plan_.paths[k], strokes_[k]);
    for (std::size_t k = 0; k < plan_.paths.size(); ++k) contacts(plan_.paths[k], strokes_[k]);
    for (std::size_t k = 0; k < plan_.paths.size(); ++k) rest(plan_.paths[k], strokes_[k]);
    ball_labels();
    for (const PlanLetter& l : plan_.letters)
      svg_.text(view_(l.at) + Vec2(0, 0.34 * letter_), l.letter, letter_, "bz-ink", "middle");
    ends();
    double bottom = scale_bar(view_.size().y());
    if (plan_.legend) bottom = legend(bottom);
    return frame(bottom);
  }

 private:
  [[nodiscard]] const char* table_id() const { return plan_.landscape ? "bz-table-landscape" : "bz-table"; }

  void table() {
    const Vec2 size = view_.size();
    svg_.rect(Vec2(0.02, 0.02) * 1000, size - Vec2(40, 40), 60, "bz-rail");
    const BedLines lines = bed_lines(table_);
    svg_.polygon(viewed(lines.outline), "bz-bed");
    for (const table::Pocket& p : table_.pockets()) svg_.circle(view_(p.fall_centre), 1000 * p.fall_radius, "bz-hole");
    for (const auto& line : lines.rubber) svg_.polyline(viewed(line), "bz-nose", 9);
    if (table_.spec().baulk_line) {
      const double y = table_.baulk_line_y();
      svg_.line(view_({-table_.half_width(), y}), view_({table_.half_width(), y}), "bz-mark", 5);
      svg_.polyline(viewed(d_line(table_)), "bz-mark", 5);
    }
    for (const auto& [name, at] : table_.spots()) svg_.circle(view_(at), 11, "bz-spot");
  }

  [[nodiscard]] std::vector<Vec2> viewed(std::vector<Vec2> places) const {
    for (Vec2& q : places) q = view_(q);
    return places;
  }

  void spread() {
    if (!plan_.spread) return;
    const PlanSpread& s = *plan_.spread;
    const Vec2 along = along_heading(s.heading), across = left_of(along);
    constexpr int kCorners = 48;
    for (const double sigmas : {1.0, 2.0}) {
      std::vector<Vec2> outline;
      for (int k = 0; k < kCorners; ++k) {
        const double a = 2 * kPi * k / kCorners;
        outline.push_back(view_(s.mean + sigmas * (s.major * std::cos(a) * along + s.minor * std::sin(a) * across)));
      }
      svg_.polygon(outline, "bz-spread", sigmas < 1.5 ? 0.1 * letter_ : 0.05 * letter_);
    }
    const Vec2 at = view_(s.mean);
    const double arm = 0.3 * letter_;
    svg_.line(at - Vec2(arm, 0), at + Vec2(arm, 0), "bz-spread", 0.08 * letter_);
    svg_.line(at - Vec2(0, arm), at + Vec2(0, arm), "bz-spread", 0.08 * letter_);
  }

  void zone() {
    if (!plan_.zone) return;
    const std::string dash = fmt::format("stroke-dasharray=\"{:.0f} {:.0f}\"", 0.2 * letter_, 0.3 * letter_);
    if (plan_.zone->circle) {
      const auto& [centre, radius] = *plan_.zone->circle;
      svg_.circle(view_(centre), 1000 * radius, "bz-zone", 0.12 * letter_, dash);
    }
    std::vector<Vec2> corners;
    for (const Vec2& c : plan_.zone->corners) corners.push_back(view_(c));
    svg_.polygon(corners, "bz-zone", 0.12 * letter_, dash);
  }

  void gates() {
    for (const PlanGate& g : plan_.gates) {
      svg_.line(view_(g.a), view_(g.b), "bz-rule", 0.07 * letter_,
                fmt::format("stroke-dasharray=\"{:.0f} {:.0f}\"", 0.12 * letter_, 0.22 * letter_));
      if (!g.at) continue;
      const Vec2 c = view_(*g.at);
      const Vec2 along = (view_(g.b) - view_(g.a)).normalized() * 0.28 * letter_;
      const Vec2 tip = left_of(along);
      svg_.line(c - along - tip, c - along + tip, "bz-rule", 0.1 * letter_);
      svg_.line(c + along - tip, c + along + tip, "bz-rule", 0.1 * letter_);
    }
  }

  void keep_clear() {
    for (const PlanPath& p : plan_.paths) {
      Vec2 last(1e9, 1e9);
      for (const PathRow& r : p.rows) {
        if ((r.at - last).norm() < kFreeStep) continue;
        labels_.keep_free(view_(r.at));
        last = r.at;
      }
      if (p.rest) labels_.take(view_(p.rest->at), Vec2(26, 26));
    }
    for (const PlanGate& g : plan_.gates) keep_line_free(g.a, g.b);
    if (table_.spec().baulk_line) {
      const double y = table_.baulk_line_y();
      keep_line_free({-table_.half_width(), y}, {table_.half_width(), y});
    }
    for (const auto& [name, at] : table_.spots()) labels_.keep_free(view_(at));
    if (table_.spec().baulk_line)
      for (const Vec2& at : d_line(table_)) labels_.keep_free(view_(at));
    for (const PlanBall& b : plan_.balls) labels_.take(view_(b.at), Vec2::Constant(1000 * b.radius));
  }

  void keep_line_free(const Vec2& a, const Vec2& b) {
    const int n = static_cast<int>((b - a).norm() / kFreeStep) + 1;
    for (int k = 0; k <= n; ++k) labels_.keep_free(view_(a + (b - a) * (static_cast<double>(k) / n)));
  }

  void ball(const Vec2& at, double radius, const std::string& name, bool hollow) {
    if (hollow) {
      svg_.circle(view_(at), 1000 * radius, "bz-rim", 6, "stroke-dasharray=\"16 12\"");
      return;
    }
    const Rgb c = ball_colour(name);
    svg_.circle(view_(at), 1000 * radius, "bz-ball", 6, fmt::format("fill=\"#{:02x}{:02x}{:02x}\"", c.r, c.g, c.b));
  }

  void path(const PlanPath& p, const Stroke& s) {
    if (!partly_hidden(p)) {
      svg_.polyline(viewed(thin_line(p.rows, kThin)), s.line, line_width(p, s), dashes(p, s));
      return;
    }
    for (const Stretch& part : stretches_of(p.rows))
      svg_.polyline(viewed(thin_line(part.rows, kThin)), s.line, (part.seen ? 1 : kHiddenWidth) * line_width(p, s),
                    part.seen ? dashes(p, s) : hidden_dash());
  }

  [[nodiscard]] static bool partly_hidden(const PlanPath& p) {
    if (p.one_of_many || p.style != PathStyle::measured) return false;
    const auto parts = stretches_of(p.rows);
    return std::any_of(parts.begin(), parts.end(), [](const Stretch& s) { return !s.seen; });
  }

  [[nodiscard]] std::string hidden_dash() const { return fmt::format("stroke-dasharray=\"0 {:.1f}\"", 0.36 * letter_); }

  [[nodiscard]] std::string dashes(const PlanPath& p, const Stroke& s) const {
    if (p.missed) return fmt::format("stroke-dasharray=\"{:.1f} {:.1f}\"", 0.3 * letter_, 0.32 * letter_);
    if (s.dash[0] <= 0) return {};
    return fmt::format("stroke-dasharray=\"{:.1f} {:.1f} {:.1f} {:.1f}\"", s.dash[0] * letter_, s.dash[1] * letter_,
                       s.dash[2] * letter_, s.dash[3] * letter_);
  }

  // The cue ball's path is the one that counts: other balls' are drawn at less than half its width.
  [[nodiscard]] double line_width(const PlanPath& p, const Stroke& s) const {
    if (p.one_of_many) return (p.missed ? 0.5 : 0.36) * s.width * letter_;
    return (p.ball == "white" ? s.width : 0.45 * s.width) * letter_;
  }

  [[nodiscard]] bool numbered(const PlanPath& p) const {
    if (p.style == PathStyle::what_if || p.one_of_many) return false;
    const bool any_measured = std::any_of(plan_.paths.begin(), plan_.paths.end(), [](const PlanPath& q) {
      return q.style == PathStyle::measured && q.ball == "white";
    });
    return p.ball == "white" && (p.style == PathStyle::measured || !any_measured);
  }

  void contacts(const PlanPath& p, const Stroke& s) {
    if (p.one_of_many) return;
    int number = 0;
    for (const Contact& c : p.contacts) {
      ++number;
      const Vec2 at = view_(c.at);
      // Where the ball stood as it touched: its outline, broken when that was out of sight.
      svg_.circle(at, 26, s.line, 0.07 * letter_, c.inferred ? "stroke-dasharray=\"12 10\"" : "");
      if (!numbered(p)) continue;
      const Vec2 half = Vec2::Constant(0.62 * letter_);
      const Vec2 label = labels_.place(at, 26, half);
      svg_.line(at + (label - at).normalized() * 26, label, s.line, 0.06 * letter_);
      svg_.circle(label, 0.6 * letter_, s.tag, 0.09 * letter_);
      svg_.text(label + Vec2(0, 0.34 * letter_), fmt::format("{}", number), 0.95 * letter_, s.ink, "middle", 0,
                "font-weight=\"700\"");
    }
  }

  void rest(const PlanPath& p, const Stroke& s) {
    if (!p.rest) {
      if (s.letter != 0 && !p.rows.empty()) end_letter(view_(p.rows.back().at), s);
      return;
    }
    const Vec2 at = view_(p.rest->at);
    if (p.one_of_many) {
      if (p.missed) {
        svg_.line(at - Vec2(24, 24), at + Vec2(24, 24), s.line, 0.12 * letter_);
        svg_.line(at - Vec2(24, -24), at + Vec2(24, -24), s.line, 0.12 * letter_);
      } else {
        svg_.circle(at, 26, s.line, 0.1 * letter_);
      }
      if (p.mark.empty()) return;
      const double size = 0.82 * letter_;
      const Vec2 label = labels_.place(at, 26, Vec2(0.5 * words_width(p.mark, size), 0.45 * size));
      svg_.text(label + Vec2(0, 0.34 * size), p.mark, size, s.ink, "middle");
      return;
    }
    if (p.hollow_rest || p.style != PathStyle::measured) {
      svg_.circle(at, 26, s.line, 0.1 * letter_, p.hollow_rest ? "stroke-dasharray=\"14 10\"" : "");
    } else {
      ball(p.rest->at, 0.02625, p.ball, false);
      svg_.circle(at, 26, s.line, 0.1 * letter_);
    }
    const double arm = 0.35 * letter_;
    svg_.line(at - Vec2(arm, 0), at + Vec2(arm, 0), s.line, 0.05 * letter_);
    svg_.line(at - Vec2(0, arm), at + Vec2(0, arm), s.line, 0.05 * letter_);
    if (p.rest->u.norm() > 0) {
      Vec2 half = 1000 * kSigmas * p.rest->u;
      if (plan_.landscape) half = Vec2(half.y(), half.x());
      svg_.ellipse(at, half, s.line, 0.04 * letter_);
    }
    if (s.letter != 0) end_letter(at, s);
  }

  void end_letter(const Vec2& at, const Stroke& s) {
    const Vec2 label = labels_.place(at, 26, Vec2::Constant(0.55 * letter_));
    svg_.text(label + Vec2(0, 0.36 * letter_), std::string(1, s.letter), letter_, s.ink, "middle", 0,
              "font-weight=\"700\"");
  }

  void ball_labels() {
    const double size = 0.82 * letter_;
    for (const PlanBall& b : plan_.balls) {
      const std::string words = ball_name(b.name);
      const Vec2 half(0.5 * words_width(words, size), 0.5 * size);
      const Vec2 at = labels_.place(view_(b.at), 1000 * b.radius + 8, half);
      svg_.text(at + Vec2(0, 0.34 * size), words, size, "bz-ink", "middle");
    }
  }

  // The words that say which way round the table is.
  void ends() {
    const double size = 0.78 * letter_;
    const Vec2 s = view_.size();
    const double edge = 75 + 0.33 * size;
    if (plan_.landscape) {
      svg_.text({edge, 0.72 * s.y()}, "baulk end", size, "bz-faint", "middle", -90);
      svg_.text({s.x() - 75 + 0.33 * size, 0.72 * s.y()}, "top", size, "bz-faint", "middle", -90);
      svg_.text({s.x() / 4, edge}, "green side", size, "bz-faint", "middle");
      svg_.text({s.x() / 4, s.y() - 75 + 0.33 * size}, "yellow side", size, "bz-faint", "middle");
      return;
    }
    svg_.text({s.x() / 2, s.y() - 75 + 0.33 * size}, "baulk end", size, "bz-faint", "middle");
    svg_.text({s.x() / 2, edge}, "top", size, "bz-faint", "middle");
    svg_.text({edge, 0.72 * s.y()}, "green side", size, "bz-faint", "middle", -90);
    svg_.text({s.x() - 75 + 0.33 * size, 0.72 * s.y()}, "yellow side", size, "bz-faint", "middle", -90);
  }

  double scale_bar(double y) {
    const double size = 0.82 * letter_;
    const double left = 60, at = y + 0.5 * letter_, tick = 0.28 * letter_;
    svg_.line({left, at}, {left + 1000 * kScaleBar, at}, "bz-rule", 0.1 * letter_);
    for (int k = 0; k <= 5; ++k) {
      const double x = left + 200 * kScaleBar * k;
      svg_.line({x, at - (k % 5 == 0 ? tick : 0.5 * tick)}, {x, at}, "bz-rule", 0.07 * letter_);
    }
    svg_.text({left + 1000 * kScaleBar + 0.5 * size, at + 0.25 * size}, fmt::format("{:.0f} cm", 100 * kScaleBar), size,
              "bz-ink");
    return at + 0.5 * letter_;
  }

  double legend(double y) {
    const double size = letter_, step = 1.32 * size, left = 60, indent = left + 2.6 * size;
    const double width = view_.size().x() - indent - 40;
    const auto entry = [&](const std::string& words, auto&& sample) {
      if (words.empty()) return;
      y += step;
      sample(Vec2(left, y - 0.33 * size), Vec2(left + 2.0 * size, y - 0.33 * size));
      bool first = true;
      for (const std::string& line : wrap_words(words, width, size)) {
        if (!first) y += 1.12 * size;
        first = false;
        svg_.text({indent, y}, line, size, "bz-ink");
      }
    };
    const auto hidden = std::find_if(plan_.paths.begin(), plan_.paths.end(), partly_hidden);
    if (hidden != plan_.paths.end())
      entry("out of sight, reconstructed", [&](const Vec2& a, const Vec2& b) {
        const Stroke& s = strokes_[static_cast<std::size_t>(hidden - plan_.paths.begin())];
        svg_.line(a, b, s.line, kHiddenWidth * line_width(*hidden, s), hidden_dash());
      });
    for (std::size_t k = 0; k < plan_.paths.size(); ++k) {
      const PlanPath& p = plan_.paths[k];
      const Stroke& s = strokes_[k];
      entry((s.letter != 0 ? std::string(1, s.letter) + ": " : "") + p.words,
            [&](const Vec2& a, const Vec2& b) { svg_.line(a, b, s.line, line_width(p, s), dashes(p, s)); });
      if (!numbered(p) || p.contacts.empty()) continue;
      std::string list;
      int number = 0;
      for (const Contact& c : p.contacts)
        list += fmt::format("{}{}\u00A0{}{}", list.empty() ? "" : ", ", ++number, touched(c),
                            c.inferred ? " (out of sight)" : "");
      entry(list, [&](const Vec2& a, const Vec2& b) { svg_.circle(0.5 * (a + b), 26, s.line, 0.07 * letter_); });
    }
    for (const PlanPath& p : plan_.paths) {
      if (p.style != PathStyle::measured || p.one_of_many || !p.rest || p.rest->u.norm() <= 0) continue;
      entry(fmt::format("{} at rest{}, good to {:.1f} mm (2 standard uncertainties)", ball_name(p.ball),
                        p.hollow_rest ? " (extrapolated)" : "", 1000 * kSigmas * p.rest->u.maxCoeff()),
            [&](const Vec2& a, const Vec2& b) {
              const Vec2 c = 0.5 * (a + b);
              svg_.circle(c, 26, "bz-real", 0.1 * letter_);
              svg_.line(c - Vec2(0.35 * letter_, 0), c + Vec2(0.35 * letter_, 0), "bz-real", 0.05 * letter_);
              svg_.line(c - Vec2(0, 0.35 * letter_), c + Vec2(0, 0.35 * letter_), "bz-real", 0.05 * letter_);
            });
    }
    if (plan_.zone)
      entry(plan_.zone->words, [&](const Vec2& a, const Vec2& b) {
        svg_.circle(0.5 * (a + b), 0.45 * letter_, "bz-zone", 0.12 * letter_,
                    fmt::format("stroke-dasharray=\"{:.0f} {:.0f}\"", 0.2 * letter_, 0.3 * letter_));
      });
    if (plan_.spread)
      entry(plan_.spread->words, [&](const Vec2& a, const Vec2& b) {
        svg_.ellipse(0.5 * (a + b), Vec2(0.9, 0.45) * letter_, "bz-spread", 0.1 * letter_);
      });
    for (const auto& [letter, words] : plan_.letter_words)
      entry(words, [&](const Vec2& a, const Vec2& b) {
        svg_.text(0.5 * (a + b) + Vec2(0, 0.34 * size), letter, size, "bz-ink", "middle");
      });
    for (const PlanGate& g : plan_.gates)
      entry(g.words, [&](const Vec2& a, const Vec2& b) {
        svg_.line(a, b, "bz-rule", 0.07 * letter_,
                  fmt::format("stroke-dasharray=\"{:.0f} {:.0f}\"", 0.12 * letter_, 0.22 * letter_));
      });
    return y + 0.7 * size;
  }

  std::string description() const {
    if (!plan_.description.empty()) return plan_.description;
    std::string d = "Plan of the table.";
    for (const PlanPath& p : plan_.paths) {
      d += fmt::format(" {} ({}):", ball_name(p.ball), p.words);
      for (const Contact& c : p.contacts) d += fmt::format(" {},", touched(c));
      if (d.back() == ',') d.back() = ';';
      if (p.rest)
        d += fmt::format(" rests {:.0f} cm from the baulk cushion and {:.0f} cm from the green-side cushion.",
                         100 * (p.rest->at.y() + table_.half_length()), 100 * (p.rest->at.x() + table_.half_width()));
    }
    return d;
  }

  std::string frame(double bottom) {
    double top = 0;
    Svg head;
    if (!plan_.title.empty()) {
      const auto lines = wrap_words(plan_.title, view_.size().x() - 120, 1.15 * letter_);
      top = -(static_cast<double>(lines.size()) * 1.4 * letter_ + 0.3 * letter_);
      double y = top + 1.2 * letter_;
      for (const std::string& line : lines) {
        head.text({60, y}, line, 1.15 * letter_, "bz-ink", "start", 0, "font-weight=\"700\"");
        y += 1.4 * letter_;
      }
    }
    std::string out;
    if (plan_.standalone) out += "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";
    out += fmt::format(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"bz-plan\" viewBox=\"0 {:.0f} {:.0f} {:.0f}\" "
        "role=\"img\">\n",
        top, view_.size().x(), bottom - top);
    out += fmt::format("<title>{}</title>\n<desc>{}</desc>\n",
                       escape_xml(plan_.title.empty() ? "Plan of the table" : plan_.title), escape_xml(description()));
    if (plan_.standalone) {
      out += "<style>\n" + plan_style() + "</style>\n";
      out += fmt::format("<rect class=\"bz-paper\" x=\"0\" y=\"{:.0f}\" width=\"{:.0f}\" height=\"{:.0f}\"/>\n", top,
                         view_.size().x(), bottom - top);
    }
    return out + head.take() + svg_.take() + "</svg>\n";
  }

  const Plan& plan_;
  const table::Table& table_;
  View view_;
  double letter_;  // size of a letter, drawing's unit
  LabelPlacer labels_;
  Svg svg_;
  std::vector<Stroke> strokes_;
};

}  // namespace

std::string plan_table_symbol(const table::Table& table, bool landscape) {
  Plan bare;
  bare.table = table;
  bare.landscape = landscape;
  return Drawing(bare).symbol();
}

std::string plan_svg(const Plan& plan) {
  assert(plan.table);
  return Drawing(plan).draw();
}

}  // namespace baizetrace::report
