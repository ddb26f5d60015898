// When a polynomial distance first closes. No time stepping: events are roots of quadratics and quartics.
#pragma once

#include <array>
#include <limits>

namespace baizetrace::motion {

inline constexpr double kNever = std::numeric_limits<double>::infinity();

// f(t) = c[0] + c[1] t + ... + c[4] t^4.
using Quartic = std::array<double, 5>;

// The first t in [0, span] at which f is at or below zero and falling; kNever if there is none.
//
// Laws: 1. A gap that is closed but opening (f(0) <= 0, f rising) is no touch. 2. Found by splitting [0, span] where f
// turns (roots of f', found between roots of f''), so no touch is skipped whatever the roots' multiplicity.
// Error: a simple root is good to kRootError * span; at a graze the root is as uncertain as f's own rounding makes it.
[[nodiscard]] double first_touch(const Quartic& f, double span);

// The same for c0 + c1 t + c2 t^2.
[[nodiscard]] double first_touch(double c0, double c1, double c2, double span);

// Relative to the span searched: a few units in the last place, the bound that the tests hold first_touch to.
inline constexpr double kRootError = 1e-14;

}  // namespace baizetrace::motion
