// The files that pages are made of, built into the program: style sheets, our script, the chart library.
#pragma once

#include <string_view>

namespace baizetrace::report {

struct Asset {
  std::string_view text;
  std::string_view sha256;  // of the text, in base 64, as a content security policy wants it
};

[[nodiscard]] const Asset& plan_css();
[[nodiscard]] const Asset& page_css();
[[nodiscard]] const Asset& page_js();
[[nodiscard]] const Asset& chart_js();  // Chart.js, MIT licence, from Debian's libjs-chart.js

}  // namespace baizetrace::report
