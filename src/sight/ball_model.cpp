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
  const float r = std::sqrt(ux * ux + uy * uy) + 1e-6F;
  const float per = 1.0F / r;
  const float gx = (s.s00 * ux + s.s01 * uy) * per, gy = (s.s01 * ux + s.s11 * uy) * per;  // gradient of r
  const float flat = 1.0F / std::sqrt(gx * gx + gy * gy);
  float u = ((r - 1.0F) * flat - s.grown) * s.per_blur;
  u = u < -1.0F ? -1.0F : u;
  u = u > 1.0F ? 1.0F : u;
  const float q = u * u, w = 1.0F - q;
  t.density = 0.9375F * w * w * s.per_blur;
  t.out = 0.5F + 0.9375F * u * (1.0F - q * (0.66666667F - 0.2F * q));
  t.cover = 1.0F - t.out;
  const float inward = per < 1.0F ? per : 1.0F;
  t.X = ux * inward;
  t.Y = uy * inward;
  t.z2 = 1.0F - t.X * t.X - t.Y * t.Y;
  t.z2 = t.z2 > 0.0F ? t.z2 : 0.0F;
  t.Z = std::sqrt(t.z2);
  const float f = 1.0F - t.Z, f2 = f * f;
  t.mirror = f2 * f2 * f;          // a polished surface mirrors its surroundings at grazing angles
  t.wx = s.b00 * vx + s.b01 * vy;  // radii on the bed from the contact point
  t.wy = s.b10 * vx + s.b11 * vy;
  const float h = 1.0F / (1.0F + t.wx * t.wx + t.wy * t.wy);
  t.hidden = h * std::sqrt(h);                 // share of an even sky that the ball hides: a sphere's form factor
  t.across = h * (t.wx * t.wx - t.wy * t.wy);  // lamps in a row throw shadows to either side
  t.skew = h * t.wx * t.wy;
  t.nx = gx * flat * t.density;
  t.ny = gy * flat * t.density;
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

__attribute__((target_clones("avx2", "default"))) void fill_basis(const Geometry& g, const Plane& p, float blur,
                                                                  float grown, const Vec2& smear, Eigen::MatrixXf& A) {
  const auto n = static_cast<int>(p.count());
  const int times = sub_times(smear, static_cast<double>(blur));
  A.resize(n, kColumns);
  A.leftCols(kWhole).setZero();
  const Shape s(g, blur, grown);
  const float one = 1.0F / static_cast<float>(times);
  const float* __restrict px = p.x.data();
  const float* __restrict py = p.y.data();
  const float* __restrict bare = p.bare.data();
  float* __restrict c[kColumns];
  for (int k = 0; k < kColumns; ++k) c[k] = A.col(k).data();
  for (int i = 0; i < times; ++i) {
    const float t = time_of(i, times);
    const float mx = t * static_cast<float>(smear.x()), my = t * static_cast<float>(smear.y());
    const float ex = static_cast<float>(g.ellipse.centre.x()) + mx, ey = static_cast<float>(g.ellipse.centre.y()) + my;
    const float kx = static_cast<float>(g.contact.x()) + mx, ky = static_cast<float>(g.contact.y()) + my;
#pragma GCC ivdep
    for (int j = 0; j < n; ++j) {
      const Terms e = terms_at(s, px[j] - ex, py[j] - ey, px[j] - kx, py[j] - ky);
      const float a = e.cover * one;
      c[0][j] += a;
      c[1][j] += a * e.X;
      c[2][j] += a * e.Y;
      c[3][j] += a * e.Z;
      c[4][j] += a * (e.X * e.X - e.Y * e.Y);
      c[5][j] += a * e.X * e.Y;
      c[6][j] += a * e.X * e.Z;
      c[7][j] += a * e.Y * e.Z;
      c[8][j] += a * e.z2;
      c[9][j] += a * e.mirror;
      const float b = e.out * one * bare[j], bh = b * e.hidden;
      c[10][j] += b;
      c[11][j] += bh;
      c[12][j] += bh * e.wx;
      c[13][j] += bh * e.wy;
      c[14][j] += bh * e.hidden;
      c[15][j] += bh * e.across;
      c[16][j] += bh * e.skew;
      c[kEdge][j] += e.nx * one;
      c[kEdge + 1][j] += e.ny * one;
      c[kEdge + 2][j] += t * e.nx * one;
      c[kEdge + 3][j] += t * e.ny * one;
      c[kEdge + 4][j] += e.density * one;
      c[kValue][j] += a;
    }
  }
  const Mixing m(p);
  if (!m.any()) return;
#pragma GCC ivdep
  for (int j = 0; j < n; ++j) {
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

__attribute__((target_clones("avx2", "default"))) void fill_model(const Geometry& g, const Plane& p, float blur,
                                                                  float grown, const Vec2& smear, const Vec2& moved,
                                                                  Eigen::ArrayXf& model) {
  const auto n = static_cast<int>(p.count());
  const int times = sub_times(smear, static_cast<double>(blur));
  model.setZero(n);
  Eigen::ArrayXf cloth_part = Eigen::ArrayXf::Zero(n), cover = Eigen::ArrayXf::Zero(n);
  const Shape s(g, blur, grown);
  const float one = 1.0F / static_cast<float>(times);
  const float* __restrict px = p.x.data();
  const float* __restrict py = p.y.data();
  const float* __restrict bare = p.bare.data();
  float* __restrict to = model.data();
  float* __restrict under = cloth_part.data();
  float* __restrict share = cover.data();
  std::array<float, kLinear> w;
  for (int k = 0; k < kLinear; ++k) w[static_cast<std::size_t>(k)] = one * p.solution[k];
  for (int i = 0; i < times; ++i) {
    const float t = time_of(i, times);
    const float mx = t * static_cast<float>(smear.x()) + static_cast<float>(moved.x());
    const float my = t * static_cast<float>(smear.y()) + static_cast<float>(moved.y());
    const float ex = static_cast<float>(g.ellipse.centre.x()) + mx, ey = static_cast<float>(g.ellipse.centre.y()) + my;
    const float kx = static_cast<float>(g.contact.x()) + mx, ky = static_cast<float>(g.contact.y()) + my;
#pragma GCC ivdep
    for (int j = 0; j < n; ++j) {
      const Terms e = terms_at(s, px[j] - ex, py[j] - ey, px[j] - kx, py[j] - ky);
      const float ball = w[0] + w[1] * e.X + w[2] * e.Y + w[3] * e.Z + w[4] * (e.X * e.X - e.Y * e.Y) +
                         w[5] * e.X * e.Y + w[6] * e.X * e.Z + w[7] * e.Y * e.Z + w[8] * e.z2 + w[9] * e.mirror;
      const float cloth = w[10] + e.hidden * (w[11] + w[12] * e.wx + w[13] * e.wy + w[14] * e.hidden +
                                              w[15] * e.across + w[16] * e.skew);
      to[j] += e.cover * ball;
      under[j] += e.out * bare[j] * cloth;
      share[j] += e.cover * one;
    }
  }
  const Mixing m(p);
  if (!m.any()) {
    model += cloth_part;
    return;
  }
#pragma GCC ivdep
  for (int j = 0; j < n; ++j) {
    const float a = share[j], coded = (std::sqrt(m.b2 + a * m.d2) - m.b) * m.per;
    to[j] = to[j] * (coded + 1e-6F) / (a + 1e-6F) + under[j] * (1.0F - coded + 1e-6F) / (1.0F - a + 1e-6F);
  }
}

namespace {

using Eight = float __attribute__((vector_size(32)));

float sum_of(const float* v) { return ((v[0] + v[4]) + (v[1] + v[5])) + ((v[2] + v[6]) + (v[3] + v[7])); }

}  // namespace

// Rows in blocks that stay in the nearest cache; eight rows of three by two columns at a time, which is what the
// registers hold.
__attribute__((target_clones("avx2", "default"))) void normal_matrix(const Eigen::MatrixXf& A, int columns,
                                                                     Eigen::MatrixXf& N) {
  constexpr Eigen::Index kBlock = 96;
  const Eigen::Index n = A.rows();
  N.setZero(columns, columns);
  for (Eigen::Index from = 0; from < n; from += kBlock) {
    const Eigen::Index count = std::min(kBlock, n - from), whole = count / 8 * 8;
    for (int i = 0; i < columns; i += 3)
      for (int j = i; j < columns; j += 2) {
        const auto at = [&](int k) { return A.data() + std::min(k, columns - 1) * n + from; };
        const float* __restrict a[3] = {at(i), at(i + 1), at(i + 2)};
        const float* __restrict b[2] = {at(j), at(j + 1)};
        Eight sums[6] = {};
        Eight s00{}, s01{}, s10{}, s11{}, s20{}, s21{}, a0, a1, a2, b0, b1;
        for (Eigen::Index r = 0; r < whole; r += 8) {
          __builtin_memcpy(&b0, b[0] + r, sizeof b0);
          __builtin_memcpy(&b1, b[1] + r, sizeof b1);
          __builtin_memcpy(&a0, a[0] + r, sizeof a0);
          __builtin_memcpy(&a1, a[1] + r, sizeof a1);
          __builtin_memcpy(&a2, a[2] + r, sizeof a2);
          s00 += a0 * b0, s01 += a0 * b1;
          s10 += a1 * b0, s11 += a1 * b1;
          s20 += a2 * b0, s21 += a2 * b1;
        }
        sums[0] = s00, sums[1] = s01, sums[2] = s10, sums[3] = s11, sums[4] = s20, sums[5] = s21;
        float lanes[6][8];
        __builtin_memcpy(lanes, sums, sizeof sums);
        for (int k = 0; k < 3 && i + k < columns; ++k)
          for (int m = 0; m < 2 && j + m < columns; ++m) {
            if (j + m < i + k) continue;
            float rest = 0;
            for (Eigen::Index r = whole; r < count; ++r) rest += a[k][r] * b[m][r];
            N(i + k, j + m) += sum_of(lanes[2 * k + m]) + rest;
          }
      }
  }
  N.triangularView<Eigen::StrictlyLower>() = N.transpose();
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
