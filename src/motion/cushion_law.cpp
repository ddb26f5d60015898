#include "motion/cushion_law.hpp"

#include <algorithm>

namespace baizetrace::motion {

namespace {
// What moves a slip over p but for its own friction, and what the whole of that friction takes off along x and y.
struct Push {
  Vec2 free;
  double kx, ky;
};

Push on_nose(const CushionLaw& c, const Ways& ways) {
  const double limit = c.cloth_friction * std::max(0.0, c.press(c.nose_friction * ways.nose.y()));
  const double pressed = limit > 0 ? c.b * c.cloth_friction * ways.cloth.y() : 0;
  return {Vec2(c.a * limit * ways.cloth.x(), c.sine * c.cosine - c.sine * pressed), 3.5 * c.nose_friction,
          c.nose_friction * (c.d + c.cosine * pressed)};
}

Push on_cloth(const CushionLaw& c, const Ways& ways) {
  const Vec2 f = c.nose_friction * ways.nose;
  const double limit = 3.5 * c.cloth_friction * std::max(0.0, c.press(f.y()));
  return {Vec2(c.a * f.x(), -c.cosine - c.b * f.y()), limit, limit};
}

// Friction's way against a slip that was `from`, a stretch p of the impulse later: along it, or what holds it at zero.
Vec2 way(const Vec2& from, double p, const Push& push) {
  const Vec2 free = from / p + push.free;
  const double size = free.norm();
  if (!(size > 0)) return Vec2::Zero();
  if (push.kx == push.ky) return free / std::max(size, push.kx);
  // It goes so that free - k way = left way.
  const Vec2 square = free.cwiseAbs2();
  double left = std::max(0.0, size - (push.kx * square.x() + push.ky * square.y()) / (size * size));
  constexpr int kNewton = 8;  // 1 / |n| is all but straight in what is left
  constexpr double kClose = 1e-14;
  for (int i = 0;; ++i) {
    const double ix = 1 / (left + push.kx), iy = 1 / (left + push.ky);
    const Vec2 n(free.x() * ix, free.y() * iy);
    const double length_square = n.squaredNorm();
    if (length_square <= 1 && left <= 0) return n;  // held
    const double length = std::sqrt(length_square);
    if (i == kNewton || std::abs(length_square - 1) < kClose) return n / length;
    const double slope = n.x() * n.x() * ix + n.y() * n.y() * iy;
    left = std::max(0.0, left + length_square / slope * (length - 1));
  }
}
}  // namespace

CushionLaw::CushionLaw(double sine_of_nose, double at_nose, double at_cloth)
    : sine(sine_of_nose),
      cosine(std::sqrt(1 - sine * sine)),
      nose_friction(at_nose),
      cloth_friction(at_cloth),
      a(2.5 * sine - 1),
      b(2.5 - sine),
      d(2.5 + sine * sine),
      share(1 / (1 + sine)) {}

Ways CushionLaw::rate(const Ways& ways) const {
  const Vec2 f = nose_friction * ways.nose;
  return rate(f, cloth_friction * std::max(0.0, press(f.y())) * ways.cloth);
}

Ways CushionLaw::at_once(const Slips& s) const {
  const double nose_size = s.nose.norm(), cloth_size = s.cloth.norm();
  Ways ways{Vec2(0, 1), Vec2(0, -1)};
  if (nose_size > 0) ways.nose = s.nose / nose_size;
  if (cloth_size > 0) ways.cloth = s.cloth / cloth_size;
  // The nose's own friction changes how hard the cloth is pressed, and with it what moves the nose's slip.
  constexpr int kRounds = 60;
  constexpr double kSettled = 1e-15;
  for (int round = 0; round < kRounds && !(nose_size > 0 && cloth_size > 0); ++round) {
    const Ways last = ways;
    if (!(nose_size > 0)) ways.nose = way(Vec2::Zero(), 1, on_nose(*this, ways));
    if (!(cloth_size > 0)) ways.cloth = way(Vec2::Zero(), 1, on_cloth(*this, ways));
    if (nose_size > 0 || (ways.nose - last.nose).norm() + (ways.cloth - last.cloth).norm() < kSettled) break;
  }
  return ways;
}

// The singly diagonally implicit method of fourth order of Hairer and Wanner (Solving Ordinary Differential Equations
// II, table 6.5; coefficients from memory).
Slips CushionLaw::implicit_step(const Slips& s, Ways ways, double p) const {
  constexpr int kStages = 5, kRounds = 40;
  constexpr double kDiagonal = 1.0 / 4, kSettled = 1e-9;
  static constexpr double kWeights[kStages][kStages] = {{},
                                                        {1.0 / 2},
                                                        {17.0 / 50, -1.0 / 25},
                                                        {371.0 / 1360, -137.0 / 2720, 15.0 / 544},
                                                        {25.0 / 24, -49.0 / 48, 125.0 / 16, -85.0 / 12}};
  const auto rate_of = [&](const Ways& w, const Slips& at) {
    const Ways r = rate(w);
    return Slips{r.nose, r.cloth, cosine * into(at)};
  };
  const auto add = [](Slips to, double h, const Slips& k) {
    to.nose += h * k.nose;
    to.cloth += h * k.cloth;
    to.work += h * k.work;
    return to;
  };
  Slips k[kStages], from = s;
  for (int stage = 0; stage < kStages; ++stage) {
    from = s;
    for (int i = 0; i < stage; ++i) from = add(from, p * kWeights[stage][i], k[i]);
    const double h = kDiagonal * p;
    for (int round = 0; round < kRounds; ++round) {
      const Ways last = ways;
      ways.nose = way(from.nose, h, on_nose(*this, ways));
      ways.cloth = way(from.cloth, h, on_cloth(*this, ways));
      if ((ways.nose - last.nose).norm() + (ways.cloth - last.cloth).norm() < kSettled) break;
    }
    k[stage] = rate_of(ways, from);
    k[stage] = rate_of(ways, add(from, h, k[stage]));
  }
  return add(from, kDiagonal * p, k[kStages - 1]);
}

}  // namespace baizetrace::motion
