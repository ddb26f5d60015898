#include "report/placing.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace baizetrace::report {
namespace {

// Costs of hiding things, in "places of a line hidden": weights of taste, found by looking.
constexpr double kCostOfLabel = 60;     // over another label
constexpr double kCostOfOutside = 200;  // out of the drawing
constexpr double kCostOfDistance = 3;   // for each step further away
constexpr int kDirections = 16;
constexpr int kDistances = 3;

}  // namespace

Vec2 LabelPlacer::place(const Vec2& at, double gap, const Vec2& half) {
  Vec2 best = at;
  double least = std::numeric_limits<double>::infinity();
  for (int far = 0; far < kDistances; ++far) {
    for (int k = 0; k < kDirections; ++k) {
      const double a = 2 * kPi * k / kDirections;
      const Vec2 dir(std::cos(a), std::sin(a));
      // From the centre to the box's own rim along this direction.
      const double rim = std::min(std::abs(dir.x()) > 1e-9 ? half.x() / std::abs(dir.x()) : 1e9,
                                  std::abs(dir.y()) > 1e-9 ? half.y() / std::abs(dir.y()) : 1e9);
      const Vec2 c = at + dir * (gap + rim + far * half.y() * 1.5);
      double cost = far * kCostOfDistance;
      if (((c - half).array() < low_.array()).any() || ((c + half).array() > high_.array()).any())
        cost += kCostOfOutside;
      for (const Box& b : taken_)
        if (((c - b.centre).cwiseAbs().array() < (half + b.half).array()).all()) cost += kCostOfLabel;
      for (const Vec2& p : free_)
        if (((c - p).cwiseAbs().array() < half.array()).all()) cost += 1;
      if (cost < least) {
        least = cost;
        best = c;
      }
    }
  }
  take(best, half);
  return best;
}

}  // namespace baizetrace::report
