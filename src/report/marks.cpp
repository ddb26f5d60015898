#include "report/marks.hpp"

#include <fmt/format.h>

#include <cmath>
#include <limits>

#include "report/names.hpp"

namespace baizetrace::report {
namespace {
constexpr double kTouching = 0.001;  // m: marks are written to the millimetre
constexpr double kNoWay = 0.0005;    // m: less is printed as 0 mm
}  // namespace

std::vector<MarkDistances> mark_distances(const practice::Setup& setup, const table::Table& table,
                                          const table::BallSet& set) {
  const std::vector<motion::Ball> balls = practice::balls_of(setup, table, set);
  std::vector<MarkDistances> out;
  for (std::size_t k = 0; k < balls.size(); ++k) {
    const motion::Ball& b = balls[k];
    MarkDistances m;
    m.ball = b.name;
    m.at = b.place;
    m.radius = b.radius;
    for (const practice::Mark& mark : setup.balls)
      if (mark.ball == b.name) m.on_spot = mark.on_spot;
    m.side = b.place.x() < 0 ? "left" : "right";
    m.end = b.place.y() < 0 ? "baulk" : "top";
    m.from_side = table.half_width() - std::abs(b.place.x());
    m.from_end = table.half_length() - std::abs(b.place.y());
    const double touch = table.touch_distance(b.radius) + kTouching;
    m.touches_side = m.from_side <= touch;
    m.touches_end = m.from_end <= touch;
    double nearest = std::numeric_limits<double>::infinity();
    for (const auto& [name, at] : table.spots())
      if ((b.place - at).norm() < nearest) {
        nearest = (b.place - at).norm();
        m.spot = name;
        m.off_spot = b.place - at;
      }
    if (!m.spot.empty()) m.from_spot = nearest;
    m.ball_widths = m.from_spot / (2 * b.radius);
    for (std::size_t j = 0; j < balls.size(); ++j)
      if (j != k && (balls[j].place - b.place).norm() <= balls[j].radius + b.radius + kTouching)
        m.touching.push_back(balls[j].name);
    out.push_back(std::move(m));
  }
  return out;
}

std::string millimetres(double metres) {
  const double halves = std::round(2000 * metres);
  return std::fmod(halves, 2) == 0 ? fmt::format("{:.0f}", halves / 2) : fmt::format("{:.1f}", halves / 2);
}

std::pair<std::string, std::string> spot_words(const MarkDistances& m) {
  if (m.spot.empty()) return {"no spots on this table", ""};
  if (m.from_spot < kNoWay)
    return {m.on_spot && m.spot == m.ball ? "on its spot" : "on the " + ball_name(m.spot) + " spot", ""};
  std::string ways;
  if (std::abs(m.off_spot.y()) >= kNoWay)
    ways = fmt::format("{} mm towards {}", millimetres(std::abs(m.off_spot.y())),
                       m.off_spot.y() > 0 ? "the top" : "baulk");
  if (std::abs(m.off_spot.x()) >= kNoWay)
    ways += fmt::format("{}{} mm to the {} side", ways.empty() ? "" : ", ", millimetres(std::abs(m.off_spot.x())),
                        m.off_spot.x() > 0 ? "yellow" : "green");
  return {fmt::format("{} spot, {} mm ({:.1f} balls)", ball_name(m.spot), millimetres(m.from_spot), m.ball_widths),
          ways};
}

}  // namespace baizetrace::report
