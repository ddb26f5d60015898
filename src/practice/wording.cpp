#include "practice/wording.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "base/units.hpp"
#include "table/table.hpp"

namespace baizetrace::practice {

std::string ball_name(std::string_view ball) {
  std::string name(ball);
  std::replace(name.begin(), name.end(), '-', ' ');
  return name;
}

std::string post_name(std::string_view post) {
  const std::string pocket = table::trade_name_of_pocket(post);
  if (pocket != post) return pocket;
  const std::string cushion = table::trade_name_of_cushion(post);
  if (cushion != post) return cushion;
  return ball_name(post);
}

std::string ball_widths(double gap, double ball_radius) {
  static constexpr std::array<const char*, 10> kCount{"no",   "one", "two",   "three", "four",
                                                      "five", "six", "seven", "eight", "nine"};
  const double balls = gap / (2 * ball_radius);
  if (balls < 0.125) return "next to nothing";
  if (balls < 0.375) return "a quarter of a ball";
  if (balls < 0.625) return "half a ball";
  if (balls < 0.875) return "three quarters of a ball";
  if (balls < 1.25) return "a ball";
  const bool half = balls < 3.25 && std::lround(2 * balls) % 2 == 1;
  const auto whole = static_cast<std::size_t>(half ? std::floor(balls) : std::lround(balls));
  if (half) return whole == 1 ? "a ball and a half" : fmt::format("{} balls and a half", kCount[whole]);
  return whole < kCount.size() ? fmt::format("{} balls", kCount[whole]) : fmt::format("{} balls", whole);
}

std::string fullness_words(double cut) {
  const double fullness = 1 - std::sin(std::clamp(cut, 0.0, kPi / 2));
  if (fullness > 0.95) return "full";
  if (fullness > 0.875) return "nearly full";
  if (fullness > 0.625) return "three-quarter ball";
  if (fullness > 0.375) return "half-ball";
  if (fullness > 0.1875) return "quarter-ball";
  return "thin";
}

}  // namespace baizetrace::practice
