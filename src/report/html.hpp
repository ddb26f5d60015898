// Small pieces of HTML: tables, figures, base 64.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace baizetrace::report {

// A table in a box that scrolls by itself when it is wider than the page. Cells and heads are HTML already.
struct HtmlTable {
  std::string caption;
  std::vector<std::string> heads;
  std::vector<std::vector<std::string>> rows;  // the first cell of a row is its head
  [[nodiscard]] std::string html() const;
};

// A value and its standard uncertainty: "42.1 ± 0.3" with as many decimals as given; u <= 0: the value alone.
[[nodiscard]] std::string with_u(double value, double u, int decimals);

// RFC 4648, section 4, with filling.
[[nodiscard]] std::string base64(std::span<const std::uint8_t> bytes);

}  // namespace baizetrace::report
