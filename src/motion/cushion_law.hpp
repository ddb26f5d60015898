// What happens to a ball's two slips while a cushion presses it: Coulomb's law at the nose and at the cloth.
//
// All is over the normal impulse at the nose, per mass: p, m/s. Vectors lie in a frame along the cushion (x) and, at
// the nose, down its face, at the cloth, into the cushion (y).
#pragma once

#include <cmath>

#include "motion/phase.hpp"

namespace baizetrace::motion {

// Velocities, m/s: the slip at the nose, the slip at the cloth. These decide everything; the ball's velocity and spin
// are put together from them afterwards. Then the integral of the nose's normal velocity over p, m2/s2.
struct Slips {
  Vec2 nose = Vec2::Zero(), cloth = Vec2::Zero();
  double work = 0;
};

// Which way friction acts against the two slips: unit vectors along them, or shorter where friction holds a slip that
// is zero. As a rate: how they change over p.
struct Ways {
  Vec2 nose = Vec2::Zero(), cloth = Vec2::Zero();
};

class CushionLaw {
 public:
  // `sine`: of the height angle of the nose seen from the ball's centre.
  CushionLaw(double sine, double nose_friction, double cloth_friction);

  // Speed into the cushion, m/s.
  [[nodiscard]] double into(const Slips& s) const { return (s.cloth.y() - s.nose.y()) * share; }
  // The cloth's friction over the normal force, at most, where the nose's friction over it is f along y: the nose
  // presses the ball into the cloth. Before it is cut off at zero.
  [[nodiscard]] double press(double f_y) const { return sine + cosine * f_y; }
  // What slips change by over p, friction's forces over the normal force being f at the nose and g at the cloth.
  [[nodiscard]] Ways rate(const Vec2& f, const Vec2& g) const {
    return {Vec2(a * g.x() - 3.5 * f.x(), sine * cosine - d * f.y() - b * g.y()),
            Vec2(a * f.x() - 3.5 * g.x(), -cosine - b * f.y() - 3.5 * g.y())};
  }
  [[nodiscard]] Ways rate(const Ways& ways) const;
  // Friction's ways at once: along slips that are not zero, what holds one that is, or the way on which it goes.
  [[nodiscard]] Ways at_once(const Slips& s) const;
  // A step of p that follows slips which friction turns fast to where they end. `ways`: at its start.
  [[nodiscard]] Slips implicit_step(const Slips& s, Ways ways, double p) const;

  double sine, cosine, nose_friction, cloth_friction;
  double a, b, d;  // how one slip's friction moves the other, and the nose's its own across
  double share;    // of the difference of the slips across that is speed into the cushion
};

}  // namespace baizetrace::motion
