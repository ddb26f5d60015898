#include "camera/profile.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::camera {

namespace {
constexpr double kBlack = 16;   // level of no light
constexpr double kDimmest = 8;  // levels over black: a reference below it would blow up noise
}  // namespace

double light_of(double level, double reference, double gamma) {
  if (gamma == kAsStored) return level;
  const double r = std::max(kDimmest, reference - kBlack);
  return r / gamma * std::pow(std::max(0.0, level - kBlack) / r, gamma);
}

Profile Profile::light(double reference, double gamma) const {
  Profile out = *this;
  for (double& v : out.value) v = light_of(v, reference, gamma);
  return out;
}

double Profile::at(double out) const {
  const double i = (out - from) / step;
  if (i <= 0) return value.front();
  const auto k = static_cast<std::size_t>(i);
  if (k + 1 >= value.size()) return value.back();
  const double a = i - static_cast<double>(k);
  return (1 - a) * value[k] + a * value[k + 1];
}

double Profile::mean(double low, double high) const {
  const auto clamp = [&](double d) {
    return static_cast<std::size_t>(
        std::clamp(std::round((d - from) / step), 0.0, static_cast<double>(value.size() - 1)));
  };
  const std::size_t a = clamp(low), b = clamp(high);
  double sum = 0;
  for (std::size_t i = a; i <= b; ++i) sum += value[i];
  return sum / static_cast<double>(b - a + 1);
}

}  // namespace baizetrace::camera
