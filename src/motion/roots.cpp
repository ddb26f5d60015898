#include "motion/roots.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace baizetrace::motion {

namespace {
struct Poly {  // up to quartic, evaluated with its derivative
  const double* c;
  int degree;
  double value(double t) const {
    double v = c[degree];
    for (int k = degree - 1; k >= 0; --k) v = v * t + c[k];
    return v;
  }
  void with_slope(double t, double& v, double& s) const {
    v = c[degree];
    s = 0;
    for (int k = degree - 1; k >= 0; --k) {
      s = s * t + v;
      v = v * t + c[k];
    }
  }
};

// The root of a polynomial that is monotone on [a, b] with values of different sign at the ends: Newton, kept inside
// the bracket by bisection.
double monotone_root(const Poly& f, double a, double b, double fa, double fb) {
  constexpr int kMost = 80;                   // bisection alone needs 52
  double t = a + (b - a) * (fa / (fa - fb));  // secant
  const double still = 0.5 * std::numeric_limits<double>::epsilon() * (std::abs(a) + std::abs(b));
  const bool falling = fa > fb;
  for (int i = 0; i < kMost; ++i) {
    if (!(t > a && t < b)) t = 0.5 * (a + b);
    double v, s;
    f.with_slope(t, v, s);
    if (v == 0) return t;
    if ((v > 0) == falling)
      a = t;
    else
      b = t;
    const double step = s != 0 ? -v / s : 0.0;
    double next = t + step;
    if (s == 0 || !(next > a && next < b)) next = 0.5 * (a + b);
    if (std::abs(next - t) <= still || b - a <= still) return next;
    t = next;
  }
  return t;
}

// Real roots of c0 + c1 t + c2 t^2 inside (0, span), in order; number of them.
int quadratic_roots_inside(double c0, double c1, double c2, double span, double out[2]) {
  double r[2];
  int n = 0;
  if (c2 == 0) {
    if (c1 != 0) r[n++] = -c0 / c1;
  } else {
    const double disc = c1 * c1 - 4 * c2 * c0;
    if (disc >= 0) {
      const double q = -0.5 * (c1 + std::copysign(std::sqrt(disc), c1));
      r[n++] = q / c2;
      if (q != 0) r[n++] = c0 / q;
    }
  }
  int m = 0;
  for (int i = 0; i < n; ++i)
    if (r[i] > 0 && r[i] < span) out[m++] = r[i];
  if (m == 2 && out[0] > out[1]) std::swap(out[0], out[1]);
  return m;
}

// Whether a polynomial with these Bernstein coefficients is above zero throughout, as far as they and those of its
// halves tell: they bound it from below. Settles most pairs.
bool stays_above(const std::array<double, 5>& b, int halvings) {
  if (b[0] > 0 && b[1] > 0 && b[2] > 0 && b[3] > 0 && b[4] > 0) return true;
  if (halvings == 0 || b[0] <= 0 || b[4] <= 0) return false;
  std::array<double, 5> left = b, right = b;  // de Casteljau
  for (std::size_t k = 1; k < 5; ++k) {
    for (std::size_t i = 0; i + k < 5; ++i) right[i] = 0.5 * (right[i] + right[i + 1]);
    left[k] = right[0];
  }
  return stays_above(left, halvings - 1) && stays_above(right, halvings - 1);
}
}  // namespace

double first_touch(const Quartic& f, double span) {
  if (!(span >= 0)) return kNever;
  const double s1 = f[1] * span, s2 = f[2] * span * span, s3 = f[3] * span * span * span,
               s4 = f[4] * span * span * span * span;
  const double b0 = f[0], b1 = b0 + s1 / 4, b2 = b0 + s1 / 2 + s2 / 6, b3 = b0 + 0.75 * s1 + s2 / 2 + s3 / 4,
               b4 = b0 + s1 + s2 + s3 + s4;
  constexpr int kHalvings = 2;
  if (stays_above({b0, b1, b2, b3, b4}, kHalvings)) return kNever;

  const double d[4] = {f[1], 2 * f[2], 3 * f[3], 4 * f[4]};
  const Poly value{f.data(), 4}, slope{d, 3};
  double turns[4];  // ends of the pieces on which f' is monotone
  int n = quadratic_roots_inside(d[1], 2 * d[2], 3 * d[3], span, turns);
  turns[n++] = span;
  double from = 0, f_from = f[0];  // start of the current piece on which f is monotone
  double slope_from = d[0], piece_from = 0;
  const auto try_piece = [&](double to, double& touch) {
    const double f_to = value.value(to);
    bool found = false;
    if (f_to < f_from) {
      if (f_from <= 0) {
        touch = from;
        found = true;
      } else if (f_to <= 0) {
        touch = monotone_root(value, from, to, f_from, f_to);
        found = true;
      }
    }
    from = to;
    f_from = f_to;
    return found;
  };
  double touch = kNever;
  for (int i = 0; i < n; ++i) {
    const double to = turns[i], slope_to = slope.value(to);
    if ((slope_from < 0) != (slope_to < 0) && slope_from != 0 && slope_to != 0) {
      const double turn = monotone_root(slope, piece_from, to, slope_from, slope_to);
      if (try_piece(turn, touch)) return touch;
    }
    if (try_piece(to, touch)) return touch;
    piece_from = to;
    slope_from = slope_to;
  }
  return kNever;
}

double first_touch(double c0, double c1, double c2, double span) {
  if (!(span >= 0)) return kNever;
  if (c0 <= 0) {
    if (c1 < 0 || (c1 == 0 && c2 < 0)) return 0.0;
    if (c2 >= 0) return kNever;
    // Opening now, closing later: it touches where it comes back to zero, or where it turns if it never opened.
    const double turn = -c1 / (2 * c2);
    const double disc = c1 * c1 - 4 * c2 * c0;
    const double t = disc > 0 ? (-c1 - std::sqrt(disc)) / (2 * c2) : turn;
    return t <= span ? t : kNever;
  }
  const double disc = c1 * c1 - 4 * c2 * c0;
  if (disc < 0) return kNever;
  const double root = std::sqrt(disc);
  // The smaller positive root, without cancellation.
  double t;
  if (c1 <= 0) {
    const double q = -c1 + root;
    if (q == 0) return kNever;
    t = 2 * c0 / q;
  } else {
    if (c2 >= 0) return kNever;
    t = -(c1 + root) / (2 * c2);
  }
  return t >= 0 && t <= span ? t : kNever;
}

}  // namespace baizetrace::motion
