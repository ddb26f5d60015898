#include "practice/steadiness.hpp"
#include "base/median.hpp"

#include <algorithm>
#include <vector>

namespace baizetrace::practice {
namespace {

constexpr double kSamePlace = 0.12;  // m: farther off it was played, not displaced by the camera
constexpr double kAlike = 0.006;     // m: a turned camera displaces balls a little differently over the table
constexpr double kNearlyAll = 0.75;

}  // namespace

std::optional<Vec2> common_shift(const std::map<std::string, Place>& then, const std::map<std::string, Place>& now) {
  std::vector<Vec2> shifts;
  for (const auto& [ball, place] : then)
    if (const auto it = now.find(ball); it != now.end())
      if (const Vec2 d = it->second.at - place.at; d.norm() < kSamePlace) shifts.push_back(d);
  if (static_cast<int>(shifts.size()) < kFewestBalls) return std::nullopt;
  std::vector<double> x, y;
  for (const Vec2& d : shifts) x.push_back(d.x()), y.push_back(d.y());
  const Vec2 shift(upper_median(x), upper_median(y));
  const auto alike =
      std::count_if(shifts.begin(), shifts.end(), [&](const Vec2& d) { return (d - shift).norm() < kAlike; });
  if (shift.norm() < kLeastShift || static_cast<double>(alike) < kNearlyAll * static_cast<double>(shifts.size()))
    return std::nullopt;
  return shift;
}

}  // namespace baizetrace::practice
