// The table from above, drawn with a Pen: on a page to print, and in the corner of a film.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/path.hpp"
#include "report/pen.hpp"
#include "table/table.hpp"

namespace baizetrace::report {

// From the table's metres to the pen's units (pixels or millimetres). Upright: the baulk end at the bottom. Lying: the
// baulk end at the left.
struct FlatView {
  Vec2 corner = Vec2::Zero();  // top left of the box that the plan fills
  double scale = 1;            // pen's units per metre
  double half_width = 0, half_length = 0;
  bool lying = false;

  // Rail and pockets drawn beyond the noses, m.
  static constexpr double kMargin = 0.15;

  // The largest plan that fits into a box, in its middle.
  static FlatView fit(const table::Table& table, const Vec2& corner, const Vec2& size, bool lying);

  [[nodiscard]] Vec2 size() const;
  [[nodiscard]] Vec2 operator()(const Vec2& at) const;
};

struct FlatColours {
  Rgb rail, bed, hole, nose, mark, rim;
};
inline constexpr FlatColours kOnPaper{{221, 216, 203}, {228, 237, 229}, {85, 91, 86},
                                      {43, 51, 46},    {141, 154, 144}, {27, 33, 30}};
inline constexpr FlatColours kOnScreen{{44, 46, 42},    {30, 58, 46},    {6, 8, 7},
                                       {170, 181, 173}, {112, 132, 120}, {236, 238, 233}};

// What both drawings of the table are made of, m: the bed's edge with its jaws and pocket mouths as one polygon, and
// each cushion's nose with the jaws at its two ends.
struct BedLines {
  std::vector<Vec2> outline;
  std::vector<std::vector<Vec2>> rubber;
};
[[nodiscard]] BedLines bed_lines(const table::Table& table);
// The D as a line from end to end, m; empty: the table has none.
[[nodiscard]] std::vector<Vec2> d_line(const table::Table& table);

// Rails, bed, noses with their jaws, pockets, line, D and spots.
void draw_flat_table(Pen& pen, const FlatView& view, const table::Table& table, const FlatColours& colours);

// A ball in its colour with a rim.
void draw_flat_ball(Pen& pen, const FlatView& view, const std::string& name, const Vec2& at, double radius,
                    const FlatColours& colours);

// The places of a computed path every 10 ms, for drawing.
[[nodiscard]] std::vector<Vec2> places_along(const BallPath& path);

// A zone's outline, m: a circle's is sampled.
[[nodiscard]] std::vector<Vec2> ring(const Vec2& centre, double radius);

}  // namespace baizetrace::report
