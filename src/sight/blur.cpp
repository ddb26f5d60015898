#include "sight/blur.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::sight {

double likeliest_blur(std::span<const double> blurs, std::span<const double> costs) {
  constexpr double kUsual = 0.85, kFactor = 0.75;  // px, and one standard deviation of its logarithm
  double best = 1e30, best_blur = kUsual;
  for (std::size_t i = 0; i < blurs.size(); ++i) {
    const double before = costs[i == 0 ? i : i - 1], after = costs[std::min(i + 1, costs.size() - 1)];
    const double odd = std::log(blurs[i] / kUsual) / kFactor;
    const double cost = 0.25 * before + 0.5 * costs[i] + 0.25 * after + 0.5 * odd * odd;
    if (cost < best) best = cost, best_blur = blurs[i];
  }
  return best_blur;
}

}  // namespace baizetrace::sight
