// The strike window: which place of the tip takes which route, as a chart with axes in ball radii and the miscue's
// limit as a curve. Told apart by letters first, by shade second; strikes that reach the goal are framed.
#pragma once

#include <string>
#include <utility>
#include <vector>

namespace baizetrace::report {

struct StrikeWindow {
  struct Cell {
    double right = 0, height = 0;  // ball radii
    std::string letter;            // of its route; "": none
    bool goal = false;
    int route = -1;
  };
  std::string title;
  double radius = 0.02625;                                  // m, for the second scale in millimetres
  double miscue = 0.5;                                      // ball radii (common practice)
  std::vector<Cell> cells;                                  // on a regular grid
  std::vector<std::pair<std::string, std::string>> legend;  // letter, words
};

// A file of its own. All text is escaped.
[[nodiscard]] std::string strike_window_svg(const StrikeWindow& chart);

}  // namespace baizetrace::report
