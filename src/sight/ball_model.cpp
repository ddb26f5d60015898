#include "sight/ball_model.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::sight {

namespace {

// The blur's kernel: 15/16 (1 - u^2)^2 over |u| < 1, as wide as a normal one of the same standard deviation. Its sum is
// a polynomial, so that the compiler does several pixels at once.
constexpr float kKernelReach = 2.6457513F;  // standard deviations: sqrt(7)

// What of the ball's place every sample needs.
struct Shape {
  float s00, s01, s11, b00, b01, b10, b11, per_blur, grown;

  Shape(const Geometry& g, float blur, float grown_by)
      : s00(static_cast<float>(g.ellipse.shape(0, 0))),
        s01(static_cast<float>(g.ellipse.shape(0, 1))),
        s11(static_cast<float>(g.ellipse.shape(1, 1))),
        b00(static_cast<float>(g.bed_from_px(0, 0) / g.radius_m)),
        b01(static_cast<float>(g.bed_from_px(0, 1) / g.radius_m)),
        b10(static_cast<float>(g.bed_from_px(1, 0) / g.radius_m)),
        b11(static_cast<float>(g.bed_from_px(1, 1) / g.radius_m)),
        per_blur(1.0F / (blur * kKernelReach)),
        grown(grown_by) {}
};

// Everything of one sample that the model is made of.
struct Terms {
  float cover, out, density, X, Y, Z, z2, mirror, hidden, wx, wy, across, skew, nx, ny;
};

[[gnu::always_inline]] inline Terms terms_at(const Shape& s, float dx, float dy, float vx, float vy) {
  Terms t;
  const float ux = s.s00 * dx + s.s01 * dy, uy = s.s01 * dx + s.s11 * dy;
  const float gx = s.s00 * ux + s.s01 * uy, gy = s.s01 * ux + s.s11 * uy;  // gradient of r, times r
  const float r = std::sqrt(ux * ux + uy * uy) + 1e-6F, g = std::sqrt(gx * gx + gy * gy) + 1e-9F;
  t.wx = s.b00 * vx + s.b01 * vy;  // radii on the bed from the contact point
  t.wy = s.b10 * vx + s.b11 * vy;
  const float q = 1.0F + t.wx * t.wx + t.wy * t.wy;
  const float all = 1.0F / (r * g * q);  // one division for three
  const float per = all * g * q, per_g = all * r * q, h = all * r * g;
  const float flat = r * per_g;
  float u = ((r - 1.0F) * flat - s.grown) * s.per_blur;
  u = u < -1.0F ? -1.0F : u;
  u = u > 1.0F ? 1.0F : u;
  const float u2 = u * u, w = 1.0F - u2;
  t.density = 0.9375F * w * w * s.per_blur;
  t.out = 0.5F + 0.9375F * u * (1.0F - u2 * (0.66666667F - 0.2F * u2));
  t.cover = 1.0F - t.out;
  const float inward = per < 1.0F ? per : 1.0F;
  t.X = ux * inward;
  t.Y = uy * inward;
  t.z2 = 1.0F - t.X * t.X - t.Y * t.Y;
  t.z2 = t.z2 > 0.0F ? t.z2 : 0.0F;
  t.Z = std::sqrt(t.z2);
  const float f = 1.0F - t.Z, f2 = f * f;
  t.mirror = f2 * f2 * f;                      // a polished surface mirrors its surroundings at grazing angles
  t.hidden = h * std::sqrt(h);                 // share of an even sky that the ball hides: a sphere's form factor
  t.across = h * (t.wx * t.wx - t.wy * t.wy);  // lamps in a row throw shadows to either side
  t.skew = h * t.wx * t.wy;
  t.nx = gx * per_g * t.density;
  t.ny = gy * per_g * t.density;
  return t;
}

// Coded share of the ball's level where it covers the share `a` of a pixel's light: gamma 2, near enough to what
// cameras use (2.2) and a square root.
struct Mixing {
  float b2 = 0, d2 = 0, b = 0, per = 0;

  explicit Mixing(const Plane& p) {
    if (p.ball_level <= 0) return;
    b = p.cloth_level;
    b2 = b * b;
    d2 = p.ball_level * p.ball_level - b2;
    per = 1 / (p.ball_level - b);
  }
  [[nodiscard]] bool any() const { return per != 0; }
};

float time_of(int i, int times) {
  return times > 1 ? (static_cast<float>(i) + 0.5F) / static_cast<float>(times) - 0.5F : 0.0F;
}

}  // namespace

void Plane::keep(const std::vector<char>& which) {
  Eigen::Index n = 0;
  for (Eigen::Index i = 0; i < count(); ++i)
    if (which[static_cast<std::size_t>(i)]) {
      x[n] = x[i], y[n] = y[i], value[n] = value[i], bare[n] = bare[i];
      ++n;
    }
  for (Eigen::ArrayXf* a : {&x, &y, &value, &bare}) a->conservativeResize(n);
  weight = Eigen::ArrayXf::Ones(n);
  residual = Eigen::ArrayXf::Zero(n);
}

std::optional<Geometry> geometry_at(const camera::Camera& camera, const Vec2& at, double radius) {
  Geometry g;
  const auto e = ball_ellipse(camera, at, radius);
  const auto c = camera.project({at.x(), at.y(), radius});
  const auto k = camera.project({at.x(), at.y(), 0});
  if (!e || !c || !k) return std::nullopt;
  g.ellipse = *e;
  g.centre = *c;
  g.contact = *k;
  const Mat2 j = camera.plane_jacobian({at.x(), at.y(), 0});
  if (std::abs(j.determinant()) < 1e-9) return std::nullopt;
  g.bed_from_px = j.inverse();
  g.radius_m = radius;
  return g;
}

int sub_times(const Vec2& smear, double blur) {
  constexpr double kStep = 1.5;  // blurs between two places of a smear
  return std::max(1, static_cast<int>(std::ceil(smear.norm() / (kStep * blur))));
}

// Fused multiplications where the machine has them: these functions are where a ball's fit spends its time.
#define BAIZETRACE_WIDE __attribute__((target_clones("arch=x86-64-v3", "default"), optimize("fp-contract=fast")))

namespace {

constexpr int kBlock = Columns::kBlock, kLanes = Columns::kLanes;

// A block's samples, the last one repeated up to whole lanes.
struct Samples {
  alignas(32) float x[kBlock], y[kBlock], bare[kBlock];
  int count, filled;

  Samples(const Plane& p, int from) : count(std::min(kBlock, static_cast<int>(p.count()) - from)) {
    filled = Columns::whole_lanes(count);
    for (int j = 0; j < filled; ++j) {
      const Eigen::Index i = from + std::min(j, count - 1);
      x[j] = p.x[i], y[j] = p.y[i], bare[j] = p.bare[i];
    }
  }
};

using Vec2f = Eigen::Vector2f;

// What one place of a smear, `t` of it from its middle, adds to a block's basis, by its share `one`; the first one
// sets it.
template <bool kFirst>
[[gnu::always_inline]] inline void add_basis(const Shape& s, const Samples& in, const Vec2f& ball, const Vec2f& contact,
                                             float t, float one, float (&c)[kColumns][kBlock]) {
  const float ex = ball.x(), ey = ball.y(), kx = contact.x(), ky = contact.y();
#pragma GCC ivdep
  for (int j = 0; j < in.filled; ++j) {
    const auto add = [&](int k, float value) { c[k][j] = kFirst ? value : c[k][j] + value; };
    const Terms e = terms_at(s, in.x[j] - ex, in.y[j] - ey, in.x[j] - kx, in.y[j] - ky);
    const float a = e.cover * one;
    add(0, a);
    add(1, a * e.X);
    add(2, a * e.Y);
    add(3, a * e.Z);
    add(4, a * (e.X * e.X - e.Y * e.Y));
    add(5, a * e.X * e.Y);
    add(6, a * e.X * e.Z);
    add(7, a * e.Y * e.Z);
    add(8, a * e.z2);
    add(9, a * e.mirror);
    const float o = e.out * one * in.bare[j], oh = o * e.hidden;
    add(10, o);
    add(11, oh);
    add(12, oh * e.wx);
    add(13, oh * e.wy);
    add(14, oh * e.hidden);
    add(15, oh * e.across);
    add(16, oh * e.skew);
    add(kEdge, e.nx * one);
    add(kEdge + 1, e.ny * one);
    add(kEdge + 2, t * e.nx * one);
    add(kEdge + 3, t * e.ny * one);
    add(kEdge + 4, e.density * one);
    add(kValue, a);
  }
}

}  // namespace

BAIZETRACE_WIDE void fill_basis(const Geometry& g, const Plane& p, float blur, float grown, const Vec2& smear,
                                Columns& A) {
  const int times = sub_times(smear, static_cast<double>(blur));
  A.resize(static_cast<int>(p.count()));
  const Shape s(g, blur, grown);
  const Mixing m(p);
  const float one = 1.0F / static_cast<float>(times);
  const auto sx = static_cast<float>(smear.x()), sy = static_cast<float>(smear.y());
  const auto cx = static_cast<float>(g.ellipse.centre.x()), cy = static_cast<float>(g.ellipse.centre.y());
  const auto fx = static_cast<float>(g.contact.x()), fy = static_cast<float>(g.contact.y());
  for (std::size_t b = 0; b < A.blocks.size(); ++b) {
    const Samples in(p, static_cast<int>(b) * kBlock);
    auto& c = A.blocks[b].column;
    for (int i = 0; i < times; ++i) {
      const float t = time_of(i, times), mx = t * sx, my = t * sy;
      const Vec2f ball(cx + mx, cy + my), contact(fx + mx, fy + my);
      if (i == 0)
        add_basis<true>(s, in, ball, contact, t, one, c);
      else
        add_basis<false>(s, in, ball, contact, t, one, c);
    }
    if (m.any()) {
#pragma GCC ivdep
      for (int j = 0; j < in.filled; ++j) {
        const float a = c[kValue][j];
        const float level = std::sqrt(m.b2 + a * m.d2);
        const float coded = (level - m.b) * m.per, slope = 0.5F * m.d2 * m.per / level;
        const float ball = (coded + 1e-6F) / (a + 1e-6F), cloth = (1.0F - coded + 1e-6F) / (1.0F - a + 1e-6F);
        for (int k = 0; k < kInside; ++k) c[k][j] *= ball;
        for (int k = kInside; k < kLinear; ++k) c[k][j] *= cloth;
        for (int k = kEdge; k < kEdge + kPlace; ++k) c[k][j] *= slope;
        c[kValue][j] = coded;
      }
    }
    for (int k = 0; k < kWhole; ++k) std::fill(c[k] + in.count, c[k] + in.filled, 0.0F);
  }
}

BAIZETRACE_WIDE void fill_model(const Geometry& g, const Plane& p, float blur, float grown, const Vec2& smear,
                                const Vec2& moved, Eigen::ArrayXf& model) {
  const int times = sub_times(smear, static_cast<double>(blur));
  model.resize(p.count());
  const Shape s(g, blur, grown);
  const Mixing m(p);
  const float one = 1.0F / static_cast<float>(times);
  float w[kLinear];
  for (int k = 0; k < kLinear; ++k) w[k] = one * p.solution[k];
  for (int from = 0; from < static_cast<int>(p.count()); from += kBlock) {
    const Samples in(p, from);
    alignas(32) float to[kBlock] = {}, under[kBlock] = {}, share[kBlock] = {};
    for (int i = 0; i < times; ++i) {
      const float t = time_of(i, times);
      const float mx = t * static_cast<float>(smear.x()) + static_cast<float>(moved.x());
      const float my = t * static_cast<float>(smear.y()) + static_cast<float>(moved.y());
      const float ex = static_cast<float>(g.ellipse.centre.x()) + mx,
                  ey = static_cast<float>(g.ellipse.centre.y()) + my;
      const float kx = static_cast<float>(g.contact.x()) + mx, ky = static_cast<float>(g.contact.y()) + my;
#pragma GCC ivdep
      for (int j = 0; j < in.filled; ++j) {
        const Terms e = terms_at(s, in.x[j] - ex, in.y[j] - ey, in.x[j] - kx, in.y[j] - ky);
        const float ball = w[0] + w[1] * e.X + w[2] * e.Y + w[3] * e.Z + w[4] * (e.X * e.X - e.Y * e.Y) +
                           w[5] * e.X * e.Y + w[6] * e.X * e.Z + w[7] * e.Y * e.Z + w[8] * e.z2 + w[9] * e.mirror;
        const float cloth = w[10] + e.hidden * (w[11] + w[12] * e.wx + w[13] * e.wy + w[14] * e.hidden +
                                                w[15] * e.across + w[16] * e.skew);
        to[j] += e.cover * ball;
        under[j] += e.out * in.bare[j] * cloth;
        share[j] += e.cover * one;
      }
    }
    if (!m.any()) {
      for (int j = 0; j < in.filled; ++j) to[j] += under[j];
    } else {
#pragma GCC ivdep
      for (int j = 0; j < in.filled; ++j) {
        const float a = share[j], coded = (std::sqrt(m.b2 + a * m.d2) - m.b) * m.per;
        to[j] = to[j] * (coded + 1e-6F) / (a + 1e-6F) + under[j] * (1.0F - coded + 1e-6F) / (1.0F - a + 1e-6F);
      }
    }
    std::copy_n(to, in.count, model.data() + from);
  }
}

BAIZETRACE_WIDE void weigh_columns(const Plane& p, const std::array<Eigen::ArrayXf, 2>* moved, float step, Columns& A) {
  const int columns = moved ? kColumns : kWhole;
  float w[kLinear];
  for (int k = 0; k < kLinear; ++k) w[k] = p.solution[k];
  for (std::size_t b = 0; b < A.blocks.size(); ++b) {
    const int from = static_cast<int>(b) * kBlock, count = std::min(kBlock, A.samples - from);
    auto& c = A.blocks[b].column;
    alignas(32) float inside[kBlock] = {}, outside[kBlock] = {}, root[kBlock];
    for (int k = 0; k < kInside; ++k)
      for (int j = 0; j < count; ++j) inside[j] += w[k] * c[k][j];
    for (int k = kInside; k < kLinear; ++k)
      for (int j = 0; j < count; ++j) outside[j] += w[k] * c[k][j];
    for (int j = 0; j < count; ++j) {
      const float cover = c[kValue][j];
      const float own = inside[j] / std::max(cover, 1e-3F) - outside[j] / std::max(1.0F - cover, 1e-3F);
      root[j] = cover > 1e-3F && cover < 0.999F ? own : 0.0F;
    }
    for (int k = kEdge; k < kEdge + kPlace; ++k)
      for (int j = 0; j < count; ++j) c[k][j] *= root[j];
    for (int axis = 0; moved && axis < 2; ++axis) {
      const float* is = (*moved)[static_cast<std::size_t>(axis)].data() + from;
      for (int j = 0; j < count; ++j) c[kWhole + axis][j] = (is[j] - inside[j] - outside[j]) / step;
      std::fill(c[kWhole + axis] + count, c[kWhole + axis] + Columns::whole_lanes(count), 0.0F);
    }
    const float *value = p.value.data() + from, *weight = p.weight.data() + from;
    for (int j = 0; j < count; ++j) c[kValue][j] = value[j], root[j] = std::sqrt(weight[j]);
    for (int k = 0; k < columns; ++k)
      for (int j = 0; j < count; ++j) c[k][j] *= root[j];
  }
}

BAIZETRACE_WIDE void take_residuals(const Columns& A, Plane& p) {
  for (std::size_t b = 0; b < A.blocks.size(); ++b) {
    const int from = static_cast<int>(b) * kBlock, count = std::min(kBlock, A.samples - from);
    const auto& c = A.blocks[b].column;
    alignas(32) float off[kBlock];
    std::copy_n(c[kValue], count, off);
    for (int k = 0; k < kLinear; ++k) {
      const float w = p.solution[k];
      for (int j = 0; j < count; ++j) off[j] -= w * c[k][j];
    }
    const float* weight = p.weight.data() + from;
    float* residual = p.residual.data() + from;
    for (int j = 0; j < count; ++j) residual[j] = weight[j] > 1e-3F ? off[j] / std::sqrt(weight[j]) : residual[j];
  }
}

namespace {

using Eight = float __attribute__((vector_size(32)));

float sum_of(const Eight& v) { return ((v[0] + v[4]) + (v[1] + v[5])) + ((v[2] + v[6]) + (v[3] + v[7])); }

}  // namespace

// Four by three columns at a time, eight samples each: what the registers hold.
BAIZETRACE_WIDE void normal_matrix(const Columns& A, std::span<const int> which, NormalMatrix& N) {
  constexpr int kRows = 4, kAcross = 3, kMost = (kColumns + kRows - 1) / kRows * ((kColumns + kAcross - 1) / kAcross);
  const int columns = static_cast<int>(which.size());
  Eight sums[kMost][kRows * kAcross];
  for (std::size_t b = 0; b < A.blocks.size(); ++b) {
    const auto& c = A.blocks[b].column;
    const int filled = Columns::whole_lanes(std::min(kBlock, A.samples - static_cast<int>(b) * kBlock));
    const auto at = [&](int k) { return c[which[static_cast<std::size_t>(std::min(k, columns - 1))]]; };
    int tile = 0;
    for (int i = 0; i < columns; i += kRows)
      for (int j = i / kAcross * kAcross; j < columns; j += kAcross, ++tile) {
        const float *a0 = at(i), *a1 = at(i + 1), *a2 = at(i + 2), *a3 = at(i + 3);
        const float *b0 = at(j), *b1 = at(j + 1), *b2 = at(j + 2);
        Eight s[kRows * kAcross] = {};
        if (b > 0) std::copy_n(sums[tile], kRows * kAcross, s);
        for (int r = 0; r < filled; r += kLanes) {
          Eight x, y0, y1, y2;
          __builtin_memcpy(&y0, b0 + r, sizeof y0);
          __builtin_memcpy(&y1, b1 + r, sizeof y1);
          __builtin_memcpy(&y2, b2 + r, sizeof y2);
          __builtin_memcpy(&x, a0 + r, sizeof x);
          s[0] += x * y0, s[1] += x * y1, s[2] += x * y2;
          __builtin_memcpy(&x, a1 + r, sizeof x);
          s[3] += x * y0, s[4] += x * y1, s[5] += x * y2;
          __builtin_memcpy(&x, a2 + r, sizeof x);
          s[6] += x * y0, s[7] += x * y1, s[8] += x * y2;
          __builtin_memcpy(&x, a3 + r, sizeof x);
          s[9] += x * y0, s[10] += x * y1, s[11] += x * y2;
        }
        std::copy_n(s, kRows * kAcross, sums[tile]);
      }
  }
  N.setZero();
  if (A.blocks.empty()) return;
  int tile = 0;
  for (int i = 0; i < columns; i += kRows)
    for (int j = i / kAcross * kAcross; j < columns; j += kAcross, ++tile)
      for (int k = 0; k < kRows * kAcross; ++k) {
        const int row = i + k / kAcross, column = j + k % kAcross;
        if (row >= columns || column >= columns) continue;
        const int to = which[static_cast<std::size_t>(row)], by = which[static_cast<std::size_t>(column)];
        N(to, by) = N(by, to) = static_cast<double>(sum_of(sums[tile][k]));
      }
}

BAIZETRACE_WIDE void eliminate(NormalMatrix& N, int pivots) {
  double* n = N.data();
  for (int k = 0; k < pivots; ++k) {
    const double* pivot = n + k * kColumns;
    const double per = 1 / pivot[k];
    for (int j = k + 1; j < kColumns; ++j) {
      double* to = n + j * kColumns;
      const double share = pivot[j] * per;
      for (int i = k + 1; i < kColumns; ++i) to[i] -= share * pivot[i];
    }
  }
}

void set_levels(Plane& plane) {
  // Averaged around the outline: the basis functions' means there.
  constexpr float kHiddenThere = 0.354F, kSquareThere = 0.125F;  // 2^-1.5, 2^-3: a radius from the contact point
  // The camera's curve is linear near black and a power of about 0.45 of the light above (ITU-R BT.709-6, item 1.2;
  // IEC 61966-2-1): in all nearly the root of the light, less this.
  constexpr float kToe = 0.08F, kWhite = 219, kTooAlike = 0.02F;
  const float shade = plane.solution[kGainTerm] + kHiddenThere * plane.solution[kGainTerm + 1] +
                      kSquareThere * plane.solution[kGainTerm + 4];
  plane.cloth_level = std::clamp(plane.bare.mean() * shade / kWhite, 0.0F, 1.0F) + kToe;
  plane.ball_level = std::clamp(plane.solution[0] / kWhite, 0.0F, 1.0F) + kToe;
  if (std::abs(plane.ball_level - plane.cloth_level) < kTooAlike) plane.cloth_level = plane.ball_level = 0;
}

}  // namespace baizetrace::sight
