// Random numbers that are the same everywhere: only the generator is the library's, the distributions are ours.
#pragma once

#include <algorithm>
#include <cmath>
#include <random>

#include "base/units.hpp"

namespace baizetrace::drawn {

class Dice {
 public:
  explicit Dice(unsigned seed) : random_(seed * 2654435761U + 12345U) {
    for (int i = 0; i < 8; ++i) random_();
  }
  double between(double a, double b) { return a + (b - a) * (static_cast<double>(random_()) / 4294967296.0); }
  double normal(double sd) {  // Box and Muller: the same on every library
    const double a = between(1e-12, 1), b = between(0, 2 * kPi);
    return sd * std::sqrt(-2 * std::log(a)) * std::cos(b);
  }
  bool chance(double p) { return between(0, 1) < p; }
  int one_of(int n) { return std::min(n - 1, static_cast<int>(between(0, n))); }

 private:
  std::mt19937 random_;
};

}  // namespace baizetrace::drawn
