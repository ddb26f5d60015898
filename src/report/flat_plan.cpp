#include "report/flat_plan.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::report {
namespace {

constexpr double kRailInset = 0.02;  // m from the plan's edge to the rail's
constexpr double kNoseLine = 0.009;  // m, widths of lines as they are drawn
constexpr double kMarkLine = 0.006;  // m
constexpr double kSpot = 0.011;      // m, radius
constexpr double kStep = 0.01;       // s between places of a computed path
constexpr double kSamePlace = 1e-6;  // m: a jaw begins exactly where its nose ends

// The arc of the jaw that begins at the end of a nose, from there outwards.
std::vector<Vec2> jaw_from(const table::Table& table, const Vec2& start) {
  for (const table::Jaw& j : table.jaws()) {
    if ((j.start - start).norm() > kSamePlace) continue;
    const Vec2 out = j.start - j.centre;
    const double from = std::atan2(out.y(), out.x());
    const double sweep = 2 * wrap_angle(std::atan2(j.middle_of_arc.y(), j.middle_of_arc.x()) - from);
    std::vector<Vec2> arc;
    constexpr int kSteps = 8;
    for (int i = 0; i <= kSteps; ++i) {
      const double a = from + sweep * i / kSteps;
      arc.push_back(j.centre + j.radius * Vec2(std::cos(a), std::sin(a)));
    }
    return arc;
  }
  return {start};
}

std::vector<Vec2> seen(const FlatView& view, std::vector<Vec2> places) {
  for (Vec2& p : places) p = view(p);
  return places;
}

}  // namespace

FlatView FlatView::fit(const table::Table& table, const Vec2& corner, const Vec2& size, bool lying) {
  FlatView v;
  v.half_width = table.half_width();
  v.half_length = table.half_length();
  v.lying = lying;
  v.scale = 1;
  const Vec2 one = v.size();
  v.scale = std::min(size.x() / one.x(), size.y() / one.y());
  v.corner = corner + 0.5 * (size - v.size());
  return v;
}

Vec2 FlatView::size() const {
  const Vec2 upright = 2 * scale * Vec2(half_width + kMargin, half_length + kMargin);
  return lying ? Vec2(upright.y(), upright.x()) : upright;
}

Vec2 FlatView::operator()(const Vec2& p) const {
  if (lying) return corner + scale * Vec2(p.y() + half_length + kMargin, p.x() + half_width + kMargin);
  return corner + scale * Vec2(p.x() + half_width + kMargin, half_length + kMargin - p.y());
}

BedLines bed_lines(const table::Table& table) {
  BedLines lines;
  const auto& noses = table.noses();
  for (std::size_t k = 0; k < noses.size(); ++k) {
    const std::vector<Vec2> out = jaw_from(table, noses[k].b);
    std::vector<Vec2> in = jaw_from(table, noses[(k + 1) % noses.size()].a);
    std::reverse(in.begin(), in.end());
    lines.outline.push_back(noses[k].a);
    lines.outline.insert(lines.outline.end(), out.begin(), out.end());
    lines.outline.insert(lines.outline.end(), in.begin(), in.end());
    std::vector<Vec2> line = jaw_from(table, noses[k].a);
    std::reverse(line.begin(), line.end());
    line.insert(line.end(), out.begin(), out.end());
    lines.rubber.push_back(std::move(line));
  }
  return lines;
}

std::vector<Vec2> d_line(const table::Table& table) {
  std::vector<Vec2> d;
  if (!table.spec().baulk_line || !table.spec().d_radius) return d;
  constexpr int kSteps = 48;
  for (int i = 0; i <= kSteps; ++i) {
    const double a = kPi + kPi * i / kSteps;
    d.push_back(Vec2(0, table.baulk_line_y()) + *table.spec().d_radius * Vec2(std::cos(a), std::sin(a)));
  }
  return d;
}

void draw_flat_table(Pen& pen, const FlatView& view, const table::Table& table, const FlatColours& colours) {
  const double w = table.half_width() + FlatView::kMargin - kRailInset;
  const double l = table.half_length() + FlatView::kMargin - kRailInset;
  pen.area(seen(view, {{-w, -l}, {w, -l}, {w, l}, {-w, l}}), {colours.rail});
  const BedLines lines = bed_lines(table);
  pen.area(seen(view, lines.outline), {colours.bed});
  for (const table::Pocket& p : table.pockets())
    pen.disc(view(p.fall_centre), view.scale * p.fall_radius, {colours.hole});
  for (const auto& line : lines.rubber) pen.line(seen(view, line), {colours.nose}, view.scale * kNoseLine);
  const double mark = view.scale * kMarkLine;
  if (table.spec().baulk_line) {
    const double y = table.baulk_line_y();
    pen.line(seen(view, {{-table.half_width(), y}, {table.half_width(), y}}), {colours.mark}, mark);
    pen.line(seen(view, d_line(table)), {colours.mark}, mark);
  }
  for (const auto& [name, at] : table.spots()) pen.disc(view(at), view.scale * kSpot, {colours.mark});
}

void draw_flat_ball(Pen& pen, const FlatView& view, const std::string& name, const Vec2& at, double radius,
                    const FlatColours& colours) {
  const double rim = view.scale * kMarkLine;
  pen.disc(view(at), view.scale * radius, {ball_colour(name)});
  pen.circle(view(at), view.scale * radius, {colours.rim}, rim);
}

std::vector<Vec2> places_along(const BallPath& path) {
  std::vector<Vec2> places;
  for (const Piece& p : path.pieces) {
    if (p.phase == Piece::Phase::rest) continue;
    const int n = std::max(1, static_cast<int>(std::ceil((p.to - p.from) / kStep)));
    for (int k = places.empty() ? 0 : 1; k <= n; ++k) places.push_back(p.at(p.from + (p.to - p.from) * k / n));
  }
  return places;
}

std::vector<Vec2> ring(const Vec2& centre, double radius) {
  std::vector<Vec2> out;
  constexpr int kSteps = 64;
  for (int i = 0; i <= kSteps; ++i) {
    const double a = 2 * kPi * i / kSteps;
    out.push_back(centre + radius * Vec2(std::cos(a), std::sin(a)));
  }
  return out;
}

}  // namespace baizetrace::report
