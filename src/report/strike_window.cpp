#include "report/strike_window.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "report/plan.hpp"

namespace baizetrace::report {

std::string strike_window_svg(const StrikeWindow& w) {
  constexpr double kLeft = 70, kTop = 60, kSide = 420, kEnd = 0.6;  // drawing units; ball radii at the axes' ends
  const auto x = [&](double right) { return kLeft + kSide * (right + kEnd) / (2 * kEnd); };
  const auto y = [&](double height) { return kTop + kSide * (kEnd - height) / (2 * kEnd); };
  double step = 2 * kEnd;
  for (const StrikeWindow::Cell& a : w.cells)
    for (const StrikeWindow::Cell& b : w.cells)
      if (b.right > a.right + 1e-9) step = std::min(step, b.right - a.right);
  const double size = kSide * step / (2 * kEnd);
  // Shades that differ in lightness too, for those who do not tell hues apart and for print.
  constexpr std::array<const char*, 8> kShades{"#f2d492", "#a9c7e8", "#d9a58f", "#b5d6a7",
                                               "#cdb7dd", "#e8e2a0", "#9fd3cf", "#d6d0c8"};
  const double bottom = kTop + kSide;
  const double tall = bottom + 70 + 20 * static_cast<double>(w.legend.size() + 1);
  constexpr double kWide = 780;
  std::string out = fmt::format(
      "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {0:.0f} "
      "{1:.0f}\" width=\"{0:.0f}\" height=\"{1:.0f}\" role=\"img\" font-family=\"sans-serif\" fill=\"#1c1c1c\">\n"
      "<title>{2}</title>\n<rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n"
      "<text x=\"{3:.0f}\" y=\"30\" font-size=\"15\">{2}</text>\n",
      kWide, tall, escape_xml(w.title), kLeft);
  for (const StrikeWindow::Cell& c : w.cells) {
    out += fmt::format(
        "<rect x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\" fill=\"{}\" stroke=\"{}\" "
        "stroke-width=\"{}\"/>\n",
        x(c.right) - size / 2 + 0.5, y(c.height) - size / 2 + 0.5, size - 1, size - 1,
        c.route < 0 ? "#f4f4f4" : kShades[static_cast<std::size_t>(c.route) % kShades.size()],
        c.goal ? "#1c1c1c" : "none", c.goal ? "1.5" : "0");
    if (!c.letter.empty())
      out += fmt::format("<text x=\"{:.1f}\" y=\"{:.1f}\" font-size=\"{:.1f}\" text-anchor=\"middle\">{}</text>\n",
                         x(c.right), y(c.height) + 0.25 * size, 0.7 * size, escape_xml(c.letter));
  }
  out += fmt::format(
      "<circle cx=\"{:.1f}\" cy=\"{:.1f}\" r=\"{:.1f}\" fill=\"none\" stroke=\"#9b1c1c\" stroke-width=\"2\" "
      "stroke-dasharray=\"6 4\"/>\n",
      x(0), y(0), kSide * w.miscue / (2 * kEnd));
  out += fmt::format("<path d=\"M{0:.0f} {1:.0f}V{2:.0f}H{3:.0f}\" fill=\"none\" stroke=\"#1c1c1c\"/>\n", kLeft, kTop,
                     bottom, kLeft + kSide);
  for (int k = -5; k <= 5; k += 1) {
    const double v = 0.1 * k;
    out += fmt::format(
        "<path d=\"M{0:.1f} {1:.1f}v5M{2:.1f} {3:.1f}h-5\" stroke=\"#1c1c1c\"/>\n<text x=\"{0:.1f}\" y=\"{4:.1f}\" "
        "font-size=\"12\" text-anchor=\"middle\">{5:.1f}</text>\n<text x=\"{6:.1f}\" y=\"{7:.1f}\" font-size=\"12\" "
        "text-anchor=\"end\">{5:.1f}</text>\n",
        x(v), bottom, kLeft, y(v), bottom + 19, v, kLeft - 9, y(v) + 4);
  }
  out += fmt::format(
      "<text x=\"{:.1f}\" y=\"{:.1f}\" font-size=\"13\" text-anchor=\"middle\">tip to the left (-) or right, ball "
      "radii; 0.1 is {:.1f} mm</text>\n<text transform=\"translate({:.0f} {:.1f}) rotate(-90)\" font-size=\"13\" "
      "text-anchor=\"middle\">tip below (-) or above the centre, ball radii</text>\n",
      x(0), bottom + 40, 100 * w.radius, kLeft - 42, y(0));
  double at = bottom + 68;
  for (const auto& [letter, words] : w.legend) {
    out += fmt::format("<text x=\"{:.0f}\" y=\"{:.0f}\" font-size=\"13\">{}  {}</text>\n", kLeft, at,
                       escape_xml(letter), escape_xml(words));
    at += 20;
  }
  out += fmt::format(
      "<text x=\"{:.0f}\" y=\"{:.0f}\" font-size=\"13\">framed: the whole goal is reached; broken curve: beyond it the "
      "tip may slip off (common practice)</text>\n</svg>\n",
      kLeft, at);
  return out;
}

}  // namespace baizetrace::report
