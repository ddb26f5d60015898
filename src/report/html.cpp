#include "report/html.hpp"

#include <fmt/format.h>

#include <cmath>

#include "report/plan.hpp"

namespace baizetrace::report {

std::string HtmlTable::html() const {
  if (rows.empty()) return {};
  std::string out = fmt::format("<div class=\"scroll\" role=\"region\" tabindex=\"0\" aria-label=\"{}\"><table>\n",
                                escape_xml(caption));
  out += fmt::format("<caption>{}</caption>\n<thead><tr>", escape_xml(caption));
  for (const std::string& h : heads) out += "<th scope=\"col\">" + h + "</th>";
  out += "</tr></thead>\n<tbody>\n";
  for (const auto& row : rows) {
    out += "<tr>";
    for (std::size_t k = 0; k < row.size(); ++k)
      out += k == 0 ? "<th scope=\"row\">" + row[k] + "</th>" : "<td>" + row[k] + "</td>";
    out += "</tr>\n";
  }
  return out + "</tbody></table></div>\n";
}

std::string with_u(double value, double u, int decimals) {
  if (!(u > 0)) return fmt::format("{:.{}f}", value, decimals);
  // What rounds to nothing is not nothing.
  const double least = 0.5 * std::pow(10.0, -decimals);
  if (u < least)
    return fmt::format("{:.{}f} <span class=\"u\">±&nbsp;&lt;{:.{}f}</span>", value, decimals, 2 * least, decimals);
  return fmt::format("{:.{}f} <span class=\"u\">±&nbsp;{:.{}f}</span>", value, decimals, u, decimals);
}

std::string base64(std::span<const std::uint8_t> bytes) {
  static constexpr std::string_view kLetters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  out.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const std::size_t n = std::min<std::size_t>(3, bytes.size() - i);
    std::uint32_t bits = static_cast<std::uint32_t>(bytes[i]) << 16U;
    if (n > 1) bits |= static_cast<std::uint32_t>(bytes[i + 1]) << 8U;
    if (n > 2) bits |= bytes[i + 2];
    for (std::size_t k = 0; k < 4; ++k) out += k <= n ? kLetters[(bits >> (18 - 6 * k)) & 63U] : '=';
  }
  return out;
}

}  // namespace baizetrace::report
