#include "report/svg.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>

#include "report/plan.hpp"

namespace baizetrace::report {
namespace {

// Share of a letter's size that it is wide, over common system sans-serif fonts.
constexpr double kLetterWidth = 0.56;

std::string join(const std::vector<Vec2>& points) {
  std::string s;
  for (const Vec2& p : points) fmt::format_to(std::back_inserter(s), "{:.1f},{:.1f} ", p.x(), p.y());
  if (!s.empty()) s.pop_back();
  return s;
}

std::string tail(double width, std::string_view look) {
  std::string s;
  if (width > 0) s += fmt::format(" stroke-width=\"{:.1f}\"", width);
  if (!look.empty()) s += fmt::format(" {}", look);
  return s + "/>\n";
}

// Length of the UTF-8 sequence at s[i] if it is well-formed and a character XML 1.0 allows, else 0.
std::size_t sequence_length(std::string_view s, std::size_t i) {
  const auto byte = [&](std::size_t k) { return k < s.size() ? static_cast<unsigned char>(s[k]) : 0U; };
  const unsigned a = byte(i);
  const auto follows = [&](std::size_t k) { return (byte(i + k) & 0xC0U) == 0x80U; };
  if (a < 0x80) return 1;
  if (a >= 0xC2 && a <= 0xDF) return follows(1) ? 2 : 0;
  if (a >= 0xE0 && a <= 0xEF) {
    if (!follows(1) || !follows(2)) return 0;
    const unsigned code = ((a & 0x0FU) << 12U) | ((byte(i + 1) & 0x3FU) << 6U) | (byte(i + 2) & 0x3FU);
    const bool bad = code < 0x800 || (code >= 0xD800 && code <= 0xDFFF) || code >= 0xFFFE;
    return bad ? 0 : 3;
  }
  if (a >= 0xF0 && a <= 0xF4) {
    if (!follows(1) || !follows(2) || !follows(3)) return 0;
    if ((a == 0xF0 && byte(i + 1) < 0x90) || (a == 0xF4 && byte(i + 1) > 0x8F)) return 0;
    return 4;
  }
  return 0;
}

}  // namespace

std::string escape_xml(std::string_view text) {
  std::string s;
  s.reserve(text.size());
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t n = sequence_length(text, i);
    if (n == 0) {
      s += "\xEF\xBF\xBD";  // the replacement character
      ++i;
      continue;
    }
    if (n > 1) {
      s += text.substr(i, n);
    } else {
      switch (text[i]) {
        case '&':
          s += "&amp;";
          break;
        case '<':
          s += "&lt;";
          break;
        case '>':
          s += "&gt;";
          break;
        case '"':
          s += "&quot;";
          break;
        case '\'':
          s += "&#39;";
          break;
        default:
          s += static_cast<unsigned char>(text[i]) < 0x20 || text[i] == 0x7F ? ' ' : text[i];
      }
    }
    i += n;
  }
  return s;
}

void Svg::open_group(std::string_view classes) { out_ += fmt::format("<g class=\"{}\">\n", classes); }

void Svg::line(const Vec2& a, const Vec2& b, std::string_view classes, double width, std::string_view look) {
  out_ += fmt::format("<line class=\"{}\" x1=\"{:.1f}\" y1=\"{:.1f}\" x2=\"{:.1f}\" y2=\"{:.1f}\"{}", classes, a.x(),
                      a.y(), b.x(), b.y(), tail(width, look));
}

void Svg::polyline(const std::vector<Vec2>& points, std::string_view classes, double width, std::string_view look) {
  if (points.size() < 2) return;
  out_ += fmt::format("<polyline class=\"{}\" points=\"{}\"{}", classes, join(points), tail(width, look));
}

void Svg::polygon(const std::vector<Vec2>& points, std::string_view classes, double width, std::string_view look) {
  if (points.size() < 3) return;
  out_ += fmt::format("<polygon class=\"{}\" points=\"{}\"{}", classes, join(points), tail(width, look));
}

void Svg::circle(const Vec2& centre, double radius, std::string_view classes, double width, std::string_view look) {
  out_ += fmt::format("<circle class=\"{}\" cx=\"{:.1f}\" cy=\"{:.1f}\" r=\"{:.1f}\"{}", classes, centre.x(),
                      centre.y(), radius, tail(width, look));
}

void Svg::ellipse(const Vec2& centre, const Vec2& half, std::string_view classes, double width) {
  out_ += fmt::format("<ellipse class=\"{}\" cx=\"{:.1f}\" cy=\"{:.1f}\" rx=\"{:.1f}\" ry=\"{:.1f}\"{}", classes,
                      centre.x(), centre.y(), half.x(), half.y(), tail(width, {}));
}

void Svg::rect(const Vec2& corner, const Vec2& size, double round, std::string_view classes) {
  out_ +=
      fmt::format("<rect class=\"{}\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\" rx=\"{:.1f}\"/>\n",
                  classes, corner.x(), corner.y(), size.x(), size.y(), round);
}

void Svg::text(const Vec2& at, std::string_view words, double size, std::string_view classes, std::string_view anchor,
               double turn, std::string_view look) {
  std::string more;
  if (turn != 0) more = fmt::format(" transform=\"rotate({:.0f} {:.1f} {:.1f})\"", turn, at.x(), at.y());
  if (!look.empty()) more += fmt::format(" {}", look);
  out_ +=
      fmt::format("<text class=\"{}\" x=\"{:.1f}\" y=\"{:.1f}\" font-size=\"{:.1f}\" text-anchor=\"{}\"{}>{}</text>\n",
                  classes, at.x(), at.y(), size, anchor, more, escape_xml(words));
}

double words_width(std::string_view words, double size) {
  const auto letters = std::count_if(words.begin(), words.end(), [](char c) {
    return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U;  // not the later bytes of a UTF-8 letter
  });
  return static_cast<double>(letters) * kLetterWidth * size;
}

std::vector<std::string> wrap_words(std::string_view words, double width, double size) {
  std::vector<std::string> lines;
  std::string line;
  std::size_t i = 0;
  while (i < words.size()) {
    const std::size_t end = std::min(words.find(' ', i), words.size());
    const std::string_view word = words.substr(i, end - i);
    i = end + 1;
    if (word.empty()) continue;
    if (!line.empty() && words_width(line, size) + words_width(word, size) + kLetterWidth * size > width) {
      lines.push_back(std::move(line));
      line.clear();
    }
    if (!line.empty()) line += ' ';
    line += word;
  }
  if (!line.empty()) lines.push_back(std::move(line));
  return lines;
}

std::vector<Vec2> thin_line(const std::vector<PathRow>& rows, double tolerance) {
  if (rows.size() < 3) {
    std::vector<Vec2> all;
    for (const PathRow& r : rows) all.push_back(r.at);
    return all;
  }
  std::vector<char> keep(rows.size(), 0);
  keep.front() = keep.back() = 1;
  std::vector<std::pair<std::size_t, std::size_t>> spans{{0, rows.size() - 1}};
  while (!spans.empty()) {
    const auto [a, b] = spans.back();
    spans.pop_back();
    const Vec2 d = rows[b].at - rows[a].at;
    const double length = d.norm();
    double worst = tolerance;
    std::size_t at = a;
    for (std::size_t k = a + 1; k < b; ++k) {
      const Vec2 e = rows[k].at - rows[a].at;
      // From the piece of line between the ends, not from the endless line: a path can come back on itself.
      double off = e.norm();
      if (length > 0) {
        const double along = std::clamp(e.dot(d) / length, 0.0, length);
        off = (e - d * (along / length)).norm();
      }
      if (off > worst) {
        worst = off;
        at = k;
      }
    }
    if (at != a) {
      keep[at] = 1;
      spans.emplace_back(a, at);
      spans.emplace_back(at, b);
    }
  }
  std::vector<Vec2> thin;
  for (std::size_t k = 0; k < rows.size(); ++k)
    if (keep[k]) thin.push_back(rows[k].at);
  return thin;
}

}  // namespace baizetrace::report
