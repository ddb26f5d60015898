// The slips at a cushion as power series: of the impulse, or of the impulse divided by a slip that passes near zero.
//
// Coulomb's friction turns with its slip, so the slips are analytic only up to where one comes to zero, in the complex
// plane too: a slip that passes zero at a small distance lets a series of the impulse reach about that far. Over the
// integral of dp / |slip| every such pass looks alike, and a step may double or halve the slip.
#pragma once

#include <array>

#include "motion/cushion_law.hpp"

namespace baizetrace::motion {

// A slip: follows friction's law along itself; is zero and held; is zero and goes on the way that friction leaves it.
enum class SlipKind { kSlips, kHeld, kLeaves };

class CushionSeries {
 public:
  static constexpr int kOrder = 12;
  enum Lane { kNose, kCloth, kNone };

  // About s, in p, or, with `over` given, in the integral of dp over the size of that slip, which is not zero.
  // Requires: kinds that fit: what is held or leaves is zero, and not both leave.
  void expand(const CushionLaw& law, const Slips& s, const Ways& ways, SlipKind nose, SlipKind cloth, Lane over);

  [[nodiscard]] Slips at(double h) const;
  // Of that alone: the speed into the cushion, m/s, and the work, m2/s2.
  [[nodiscard]] double into(double h) const;
  [[nodiscard]] double work(double h) const;
  // How far the last terms stay below `error`, m/s (the work's: over `scale`, m/s). Not finite: there is no series.
  [[nodiscard]] double reach(double error, double scale) const;
  // A slip's size with a sign, which changes where a straight slip passes zero. Requires: that slip is of kSlips.
  [[nodiscard]] double size(Lane lane, double h) const;
  // 1 less the square of what holds a slip, as a share of friction's most. Requires: that slip is held.
  [[nodiscard]] double hold(Lane lane, double h) const;
  // How hard the nose presses the ball into the cloth, over its normal force; changes sign where the ball would lift.
  [[nodiscard]] double press(double h) const;

 private:
  using Pair = Eigen::Array2d;  // at the nose, at the cloth
  template <class T>
  using Terms = std::array<T, kOrder>;
  struct Order;
  [[nodiscard]] Order order(int k, const Vec2& f, const Vec2& g, const Vec2& middle) const;
  void start(const Ways& ways, Pair& rate_x, Pair& rate_y);
  void keep(std::size_t k, const Order& o, Pair& rate_x, Pair& rate_y);
  struct Newest {
    Pair x, y;
  };
  Newest direct(std::size_t k, Pair x, Pair y);
  void leave(int k, const Vec2& middle, Vec2& f, Vec2& g);

  const CushionLaw* law_ = nullptr;
  SlipKind nose_ = SlipKind::kSlips, cloth_ = SlipKind::kSlips;
  double press_slope_ = 0;               // of the cloth's limit over f_y, as a share of friction: zero if lifted
  std::array<Pair, kOrder + 1> x_, y_;   // the slips
  std::array<double, kOrder + 1> work_;  // and the work
  Terms<Pair> u_x_, u_y_;                // those slips that give friction's ways
  Terms<Pair> n_, f_x_, f_y_;            // their sizes, and friction's ways
  Pair slips_;                           // 1 where a slip is of kSlips, or 0
  Pair over_, turned_y_, turned_x_;      // 1 / n_[0]; the same times the ways of order 0, turned a quarter
  Terms<Pair> g_, acts_;                 // x and y: friction's way at the cloth; what acts there, over the normal force
  Terms<double> limit_;                  // the cloth's friction over the normal force, at most
  std::array<double, kOrder + 1> leaving_{};  // the size of a slip that leaves zero
  Vec2 turned_ = Vec2::Zero();                // by how much its rate falls as its way turns
};

}  // namespace baizetrace::motion
