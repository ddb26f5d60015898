// The plan: a drawing of the table from above, as SVG text, with balls, paths, contacts, a zone and gates.
//
// A plain struct in, text out. Portrait has the baulk end at the bottom; landscape has it on the left. The drawing
// is 390 px wide or more on a phone with letters that can still be read, and prints on A4.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "base/path.hpp"
#include "table/table.hpp"

namespace baizetrace::report {

// What a path is. Told apart by more than colour: a measured path is a thick unbroken line, a predicted one dashed,
// what-ifs are dotted and dash-dotted in turn and carry a letter at their end.
enum class PathStyle { measured, predicted, what_if };

struct PlanBall {
  std::string name;  // "white", "red-1": sets the colour and the label
  Vec2 at = Vec2::Zero();
  double radius = 0.02625;
  bool hollow = false;  // not seen at rest there: extrapolated
};

struct PlanPath {
  PathStyle style = PathStyle::measured;
  std::string words;              // in the legend: "measured", "predicted (cloth assumed)", "same strike without side"
  std::string ball = "white";     // whose path
  std::vector<PathRow> rows;      // in time's order; of one measured path, what was out of sight is dotted
  std::vector<Contact> contacts;  // numbered 1, 2, ... on the drawing and named in the legend (measured and the first
                                  // predicted path only; on others marked without a number)
  std::optional<Place> rest;      // with u > 0 its ellipse of 2 standard uncertainties is drawn
  bool hollow_rest = false;       // extrapolated: drawn hollow
  // One of many attempts on one plan: thin, its contacts unmarked; `mark` stands at its resting place; broken and
  // ending in a cross when the shot did not come off. Empty words leave it out of the legend.
  bool one_of_many = false;
  bool missed = false;
  std::string mark{};
};

struct PlanZone {
  std::string words = "zone";                     // in the legend
  std::optional<std::pair<Vec2, double>> circle;  // centre, radius
  std::vector<Vec2> corners;                      // or a polygon
};

// Where many resting places spread: an ellipse about their mean.
struct PlanSpread {
  Vec2 mean = Vec2::Zero();
  double major = 0, minor = 0;  // m, semi-axes of one standard deviation; two are drawn as well
  double heading = 0;           // rad, of the major axis
  std::string words;            // in the legend
};

// The line between two posts that was, or is to be, crossed.
struct PlanGate {
  Vec2 a = Vec2::Zero(), b = Vec2::Zero();
  std::optional<Vec2> at;  // where the path crossed it
  std::string words;       // in the legend: "gate brown - yellow, 79 mm to spare"
};

// A letter that stands at a place of the bed; what it means is said once, in the legend.
struct PlanLetter {
  Vec2 at = Vec2::Zero();
  std::string letter;
};

struct Plan {
  std::string title;        // one line above the drawing, and what a screen reader says first; "" leaves it out
  std::string description;  // for those who cannot see it; "" makes one from the paths
  std::optional<table::Table> table;  // required
  std::vector<PlanBall> balls;        // at rest, as before the strike
  std::vector<PlanPath> paths;
  std::optional<PlanZone> zone;
  std::optional<PlanSpread> spread{};
  std::vector<PlanGate> gates;
  std::vector<PlanLetter> letters{};
  std::vector<std::pair<std::string, std::string>> letter_words{};  // letter and its meaning, in order
  bool landscape = false;
  bool legend = true;
  // True: a file of its own (XML header, its own style sheet, a background). False: a piece of an HTML page whose
  // style sheet holds plan_style().
  bool standalone = true;
  // The bare table is not drawn but referred to: the page holds plan_table_symbol() once. For pages of many plans.
  bool table_by_reference = false;
};

// The drawing. Requires: plan.table. All text is escaped; the output is well-formed XML.
[[nodiscard]] std::string plan_svg(const Plan& plan);

// The bare table as an SVG symbol for plans with table_by_reference: a piece of an HTML page, not shown by itself.
[[nodiscard]] std::string plan_table_symbol(const table::Table& table, bool landscape = false);

// The style sheet of the drawing (light, and dark where the reader prefers it; print is always light).
[[nodiscard]] std::string plan_style();

// Text made safe for XML and HTML, in elements and in quoted attributes. Control characters become spaces.
[[nodiscard]] std::string escape_xml(std::string_view text);

// Rows thinned so that no dropped row is further than `tolerance` m from the line drawn (Ramer 1972, Douglas &
// Peucker 1973). Keeps the first and the last.
[[nodiscard]] std::vector<Vec2> thin_line(const std::vector<PathRow>& rows, double tolerance);

}  // namespace baizetrace::report
