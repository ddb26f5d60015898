#include "sight/ball_fit.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <vector>

namespace baizetrace::sight {

namespace {

constexpr int kSectors = 32;                       // of the outline, for what is visible of it
constexpr double kChromaSubsampling = 4.0 / 12.0;  // px^2, variance of averaging two luma pixels, either way
constexpr double kRadiusSlack = 0.08;              // px, how far an outline may seem larger or smaller than it is
constexpr double kGamma = 2.2;                     // light mixes at the edge before the camera's gamma bends it
constexpr int kMaskSectors = 72;         // of the surroundings, for lines, cues and hands that meet the outline
constexpr double kNoiseCorrelation = 4;  // compression smears noise over neighbouring pixels: fewer independent ones
constexpr double kShadingError = 0.3;    // px, how far shading and shadow, which are not modelled to the letter, pull a
                                         // place that is read off them as well
constexpr double kPlaceFloor = 0.03;     // px, what the model leaves at best, either way

constexpr int kInside = 10, kOutside = 5, kLinear = kInside + kOutside;
constexpr int kPlace = 5;  // du dv, smear x y, radius

// How strong the terms of shading and shadow can be: standard deviations about 0 (gain: about 1). Levels for a ball's
// shading, shares of the cloth for its shadow; order as in Basis.
constexpr std::array<double, kLinear> kLumaPrior{1e3, 40, 40, 60, 15, 15, 40, 40, 40, 60, 0.10, 0.6, 0.15, 0.15, 0.8};
constexpr std::array<double, kLinear> kChromaPrior{1e3, 6, 6, 12, 3, 3, 5, 5, 8, 12, 0.10, 0.4, 0.10, 0.10, 0.4};
constexpr int kGainTerm = kInside;

// First the whole picture of the ball leads to the place, shading and shadow as well; then the edge alone settles it.
constexpr int kWholePasses = 2, kEdgePasses = 5;

// The blur's kernel: 15/16 (1 - u^2)^2 over |u| < 1, as wide as a normal one of the same standard deviation. Its sum is
// a polynomial, so that the compiler does several pixels at once.
constexpr float kKernelReach = 2.6457513F;  // standard deviations: sqrt(7)

// Samples of one plane, column by column.
struct Plane {
  Eigen::ArrayXf x, y;         // px, luma's
  Eigen::ArrayXf value, bare;  // levels above black; chroma about grey
  Eigen::ArrayXf weight;       // robust share, 0..1
  Eigen::ArrayXf residual;
  double noise = 1;
  double blur = 0.7;
  bool chroma = false;
  double shift = 0;  // px, by which the gamma moves this plane's edge outwards
  Eigen::VectorXf solution = Eigen::VectorXf::Zero(kLinear);
  double scale = 1;  // robust scatter, levels

  [[nodiscard]] Eigen::Index count() const { return x.size(); }
  void keep(const std::vector<char>& which) {
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
};

// Geometry of the ball at one place: outline and its contact point.
struct Geometry {
  Ellipse ellipse;
  Vec2 centre;       // px
  Vec2 contact;      // px, where it touches the cloth
  Mat2 bed_from_px;  // m/px on the bed
  double radius_m;
};

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

// Columns of the model's matrix: kLinear terms, then kPlace derivatives of the coverage by the place (u, v), the smear
// (x, y) and the radius, all averaged over the exposure; then the coverage itself.
enum Column { kEdge = kLinear, kCover = kLinear + kPlace, kColumns };

__attribute__((target_clones("avx2", "default"))) void fill_basis(const Geometry& g, const Plane& p, float blur,
                                                                  float grown, const Vec2& smear, int times,
                                                                  const Vec2& moved, Eigen::MatrixXf& A) {
  const auto n = static_cast<int>(p.count());
  A.setZero(n, kColumns);
  const Mat2& s = g.ellipse.shape;
  const auto s00 = static_cast<float>(s(0, 0)), s01 = static_cast<float>(s(0, 1)), s11 = static_cast<float>(s(1, 1));
  const auto per_r = static_cast<float>(1 / g.radius_m);
  const auto b00 = per_r * static_cast<float>(g.bed_from_px(0, 0)),
             b01 = per_r * static_cast<float>(g.bed_from_px(0, 1));
  const auto b10 = per_r * static_cast<float>(g.bed_from_px(1, 0)),
             b11 = per_r * static_cast<float>(g.bed_from_px(1, 1));
  const float one = 1.0F / static_cast<float>(times), per_blur = 1.0F / (blur * kKernelReach);
  const float* __restrict px = p.x.data();
  const float* __restrict py = p.y.data();
  const float* __restrict bare = p.bare.data();
  float* __restrict c[kColumns];
  for (int k = 0; k < kColumns; ++k) c[k] = A.col(k).data();
  for (int i = 0; i < times; ++i) {
    const float t = times > 1 ? (static_cast<float>(i) + 0.5F) * one - 0.5F : 0.0F;
    const float mx = t * static_cast<float>(smear.x()) + static_cast<float>(moved.x());
    const float my = t * static_cast<float>(smear.y()) + static_cast<float>(moved.y());
    const float ex = static_cast<float>(g.ellipse.centre.x()) + mx, ey = static_cast<float>(g.ellipse.centre.y()) + my;
    const float kx = static_cast<float>(g.contact.x()) + mx, ky = static_cast<float>(g.contact.y()) + my;
#pragma GCC ivdep
    for (int j = 0; j < n; ++j) {
      const float dx = px[j] - ex, dy = py[j] - ey;
      const float ux = s00 * dx + s01 * dy, uy = s01 * dx + s11 * dy;
      const float r = std::sqrt(ux * ux + uy * uy) + 1e-6F;
      const float per = 1.0F / r;
      const float gx = (s00 * ux + s01 * uy) * per, gy = (s01 * ux + s11 * uy) * per;  // gradient of r
      const float flat = 1.0F / std::sqrt(gx * gx + gy * gy);
      float u = ((r - 1.0F) * flat - grown) * per_blur;
      u = u < -1.0F ? -1.0F : u;
      u = u > 1.0F ? 1.0F : u;
      const float q = u * u, w = 1.0F - q;
      const float density = 0.9375F * w * w * per_blur;
      const float out = 0.5F + 0.9375F * u * (1.0F - q * (0.66666667F - 0.2F * q));
      const float a = (1.0F - out) * one;
      const float inward = per < 1.0F ? per : 1.0F;
      const float X = ux * inward, Y = uy * inward;
      float z2 = 1.0F - X * X - Y * Y;
      z2 = z2 > 0.0F ? z2 : 0.0F;
      const float Z = std::sqrt(z2), f = 1.0F - Z, f2 = f * f;
      c[0][j] += a;
      c[1][j] += a * X;
      c[2][j] += a * Y;
      c[3][j] += a * Z;
      c[4][j] += a * (X * X - Y * Y);
      c[5][j] += a * X * Y;
      c[6][j] += a * X * Z;
      c[7][j] += a * Y * Z;
      c[8][j] += a * z2;
      c[9][j] += a * f2 * f2 * f;  // a polished surface mirrors its surroundings at grazing angles
      const float vx = px[j] - kx, vy = py[j] - ky;
      const float wx = b00 * vx + b01 * vy, wy = b10 * vx + b11 * vy;  // radii on the bed from the contact point
      const float h = 1.0F / (1.0F + wx * wx + wy * wy);
      const float hidden = h * std::sqrt(h);  // share of an even sky that the ball hides: a sphere's form factor
      const float b = out * one * bare[j], bh = b * hidden;
      c[10][j] += b;
      c[11][j] += bh;
      c[12][j] += bh * wx;
      c[13][j] += bh * wy;
      c[14][j] += bh * hidden;
      const float nx = gx * flat * density * one, ny = gy * flat * density * one;
      c[15][j] += nx;
      c[16][j] += ny;
      c[17][j] += t * nx;
      c[18][j] += t * ny;
      c[19][j] += density * one;
      c[20][j] += a;
    }
  }
}

// N = A^T A (upper part), A's columns one after the other. Rows in blocks that stay in the nearest cache; eight at a
// time.
using Eight = float __attribute__((vector_size(32)));

__attribute__((target_clones("avx2", "default"))) void normal_matrix(const Eigen::MatrixXf& A, Eigen::MatrixXf& N) {
  constexpr Eigen::Index kBlock = 128;
  const Eigen::Index n = A.rows(), k = A.cols();
  N.setZero(k, k);
  for (Eigen::Index from = 0; from < n; from += kBlock) {
    const Eigen::Index count = std::min(kBlock, n - from), whole = count / 8 * 8;
    for (Eigen::Index i = 0; i < k; ++i) {
      const float* __restrict a = A.data() + i * n + from;
      for (Eigen::Index j = i; j < k; ++j) {
        const float* __restrict b = A.data() + j * n + from;
        Eight sum{};
        for (Eigen::Index r = 0; r < whole; r += 8) {
          Eight va, vb;
          __builtin_memcpy(&va, a + r, sizeof va);
          __builtin_memcpy(&vb, b + r, sizeof vb);
          sum += va * vb;
        }
        float rest = 0;
        for (Eigen::Index r = whole; r < count; ++r) rest += a[r] * b[r];
        N(i, j) += ((sum[0] + sum[4]) + (sum[1] + sum[5])) + ((sum[2] + sum[6]) + (sum[3] + sum[7])) + rest;
      }
    }
  }
}

int sub_times(const Vec2& smear, double blur) {
  constexpr double kStep = 1.5;  // blurs between two places of a smear
  return std::max(1, static_cast<int>(std::ceil(smear.norm() / (kStep * blur))));
}

float median_abs(std::vector<float>& v) {
  if (v.empty()) return 0;
  const auto middle = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
  std::nth_element(v.begin(), middle, v.end());
  return *middle;
}

void collect(const View& view, const Geometry& g, const Vec2& smear, const BallFitOptions& o, Plane& plane, int which) {
  const cv::Mat& img = which == 0 ? view.luma : which == 1 ? view.cb : view.cr;
  const cv::Mat& bare = which == 0 ? view.bare_luma : which == 1 ? view.bare_cb : view.bare_cr;
  const double per = which == 0 ? 1 : 2;
  const double reach = std::max(4.0, 0.65 * g.ellipse.radius) + o.search;
  const Vec2 box = g.ellipse.half_box() + 0.5 * smear.cwiseAbs() + Vec2::Constant(reach);
  const Vec2 low = (g.ellipse.centre - box) / per, high = (g.ellipse.centre + box) / per;
  const int x0 = std::max(0, static_cast<int>(low.x())), x1 = std::min(img.cols - 1, static_cast<int>(high.x()) + 1);
  const int y0 = std::max(0, static_cast<int>(low.y())), y1 = std::min(img.rows - 1, static_cast<int>(high.y()) + 1);
  const double deep = std::max(4.5, 0.55 * g.ellipse.radius) + o.search;
  const double length = smear.norm();
  std::vector<float> xs, ys, values, bares;
  for (int y = y0; y <= y1; ++y) {
    const auto* row = img.ptr<std::uint8_t>(y);
    const auto* bare_row = bare.ptr<float>(y);
    for (int x = x0; x <= x1; ++x) {
      const Vec2 p = which == 0 ? Vec2(x, y) : chroma_place(x, y, view.chroma_offset_x);
      double d = g.ellipse.distance(p);
      if (length > 1) {  // nearest to the swept ball
        const Vec2 along = smear / length;
        const double t = std::clamp((p - g.ellipse.centre).dot(along), -0.5 * length, 0.5 * length);
        d = g.ellipse.distance(p - t * along);
        if (d > reach) continue;
      } else if (d > reach || d < -deep) {
        continue;
      }
      bool free = true;
      for (const Ellipse& other : o.others)
        if ((p - other.centre).squaredNorm() < 4 * other.radius * other.radius && other.distance(p) < 1.5 * plane.blur)
          free = false;
      if (!free) continue;
      const float zero = which == 0 ? 16.0F : 128.0F;
      xs.push_back(static_cast<float>(p.x()));
      ys.push_back(static_cast<float>(p.y()));
      values.push_back(static_cast<float>(row[x]) - zero);
      bares.push_back((bare_row[x] - zero) * view.gain.at(p.x(), p.y()));
    }
  }
  const auto n = static_cast<Eigen::Index>(xs.size());
  plane.x = Eigen::Map<Eigen::ArrayXf>(xs.data(), n);
  plane.y = Eigen::Map<Eigen::ArrayXf>(ys.data(), n);
  plane.value = Eigen::Map<Eigen::ArrayXf>(values.data(), n);
  plane.bare = Eigen::Map<Eigen::ArrayXf>(bares.data(), n);
  plane.weight = Eigen::ArrayXf::Ones(n);
  plane.residual = Eigen::ArrayXf::Zero(n);
}

// Half coverage of the edge is not half way between the coded levels: how far outwards half way lies, px.
double gamma_shift(const Plane& plane, double blur) {
  // Levels either side at the outline, averaged around: the basis functions' means there.
  const double f = static_cast<double>(plane.solution[0]) / 219;
  const double bare = static_cast<double>(plane.bare.mean());
  constexpr double kHiddenThere = 0.354, kSquareThere = 0.125;  // 2^-1.5, 2^-3: a radius from the contact point
  const double shade = static_cast<double>(plane.solution[kGainTerm]) +
                       kHiddenThere * static_cast<double>(plane.solution[kGainTerm + 1]) +
                       kSquareThere * static_cast<double>(plane.solution[kGainTerm + 4]);
  const double b = std::clamp(bare * shade / 219, 0.01, 1.0), inside = std::clamp(f, 0.01, 1.0);
  if (std::abs(inside - b) < 0.02) return 0;
  const double middle = std::pow(0.5 * (inside + b), kGamma);
  const double share = (middle - std::pow(b, kGamma)) / (std::pow(inside, kGamma) - std::pow(b, kGamma));
  // Normal quantile near its middle: (share - 1/2) sqrt(2 pi), good to 3 % where it is needed.
  return std::clamp((0.5 - share) * std::sqrt(2 * kPi), -0.8, 0.8) * blur;
}

// What meets the outline from outside and is not the cloth (a line that the background does not know, a cue, a hand,
// another ball) is left out together with the outline it meets.
void mask_intruders(Plane& plane, const Geometry& g, const Vec2& smear) {
  std::array<std::vector<float>, kMaskSectors> off;
  std::vector<float> all;
  const double length2 = smear.squaredNorm();
  const auto nearest = [&](Eigen::Index i) {
    const Vec2 p(static_cast<double>(plane.x[i]), static_cast<double>(plane.y[i]));
    const double t = length2 > 1 ? std::clamp((p - g.ellipse.centre).dot(smear) / length2, -0.5, 0.5) : 0.0;
    return Vec2(p - t * smear);
  };
  const auto sector_of = [&](const Vec2& p) {
    const Vec2 v = p - g.ellipse.centre;
    return static_cast<std::size_t>((std::atan2(v.y(), v.x()) + kPi) / (2 * kPi) * kMaskSectors) % kMaskSectors;
  };
  const auto n = static_cast<std::size_t>(plane.count());
  std::vector<std::size_t> sectors(n);
  std::vector<double> distances(n);
  for (std::size_t i = 0; i < n; ++i) {
    const auto e = static_cast<Eigen::Index>(i);
    const Vec2 p = nearest(e);
    sectors[i] = sector_of(p);
    distances[i] = g.ellipse.distance(p);
    if (distances[i] < 2.0 + plane.blur) continue;
    const float d = plane.value[e] - plane.bare[e];
    off[sectors[i]].push_back(d);
    all.push_back(d);
  }
  if (all.size() < 20) return;
  const float usual = median_abs(all);
  for (float& v : all) v = std::abs(v - usual);
  const float limit = std::max(6.0F * static_cast<float>(plane.noise), 5.0F * 1.4826F * median_abs(all)) + 4.0F;
  std::array<bool, kMaskSectors> bad{};
  for (std::size_t i = 0; i < kMaskSectors; ++i) {
    int strange = 0;
    for (const float v : off[i]) strange += v - usual > limit || v - usual < -2.5F * limit ? 1 : 0;
    if (!off[i].empty() && 4 * strange > static_cast<int>(off[i].size())) bad[i] = true;
  }
  int count = 0;
  for (std::size_t i = 0; i < kMaskSectors; ++i) count += bad[i] ? 1 : 0;
  if (count > kMaskSectors * 3 / 4) return;
  std::vector<char> good(n, 1);
  for (std::size_t i = 0; i < n; ++i) {
    const std::size_t k = sectors[i];
    if (distances[i] > -2.0 && (bad[k] || bad[(k + 1) % kMaskSectors] || bad[(k + kMaskSectors - 1) % kMaskSectors]))
      good[i] = 0;
  }
  plane.keep(good);
}

}  // namespace

std::optional<BallFit> fit_ball(const View& view, const camera::Camera& camera, const Vec2& start, double radius,
                                const BallFitOptions& options) {
  auto geometry = geometry_at(camera, start, radius);
  if (!geometry) return std::nullopt;
  Geometry g = *geometry;
  Vec2 smear = options.smear;
  const double r_px = g.ellipse.radius;
  constexpr double kSmallest = 2.5, kLargest = 200;  // px: beyond the lens model's reach outlines are anything
  if (!(r_px > kSmallest && r_px < kLargest)) return std::nullopt;

  std::array<Plane, 3> planes;
  planes[0].noise = view.noise_luma;
  planes[0].blur = view.blur;
  for (int k = 1; k < 3; ++k) {
    planes[static_cast<std::size_t>(k)].noise = view.noise_chroma;
    planes[static_cast<std::size_t>(k)].chroma = true;
    planes[static_cast<std::size_t>(k)].blur = std::sqrt(view.blur * view.blur + kChromaSubsampling);
  }
  for (int k = 0; k < 3; ++k) {
    collect(view, g, smear, options, planes[static_cast<std::size_t>(k)], k);
    mask_intruders(planes[static_cast<std::size_t>(k)], g, smear);
  }
  if (planes[0].count() < 30) return std::nullopt;

  const bool with_smear = options.moving;
  // Wide blur first: a start several pixels off is still pulled in.
  std::vector<double> widths;
  if (options.search > 2.5) widths.push_back(2.5);
  if (options.search > 0.8) widths.push_back(1.2);
  for (int i = 0; i < kWholePasses + kEdgePasses; ++i) widths.push_back(0);

  Eigen::Matrix<double, kPlace, kPlace> H, D;
  Eigen::Matrix<double, kPlace, 1> rhs;
  Vec2 shift_total = Vec2::Zero(), anchor = Vec2::Zero();
  double radius_off = 0;
  std::vector<float> scratch;
  Eigen::MatrixXf A, shifted, N;
  for (std::size_t pass = 0; pass < widths.size(); ++pass) {
    const bool last_kind = widths[pass] == 0;
    const bool whole = pass + kEdgePasses < widths.size();
    if (pass + kEdgePasses == widths.size()) anchor = g.centre;
    // Two rounds at the first pass: the linear terms must be known before the edge's derivative is.
    const int rounds = pass == 0 ? 2 : 1;
    for (int round = 0; round < rounds; ++round) {
      H.setZero();
      D.setZero();
      rhs.setZero();
      const bool linear_only = pass == 0 && round == 0;
      for (Plane& plane : planes) {
        const Eigen::Index n = plane.count();
        if (n < 12) continue;
        const double blur = std::hypot(plane.blur, widths[pass]);
        const int times = sub_times(smear, blur);
        const auto grown = static_cast<float>(plane.shift + radius_off);
        fill_basis(g, plane, static_cast<float>(blur), grown, smear, times, Vec2::Zero(), A);
        const Eigen::ArrayXf inside = (A.leftCols(kInside) * plane.solution.head(kInside)).array();
        const Eigen::ArrayXf outside = (A.middleCols(kInside, kOutside) * plane.solution.tail(kOutside)).array();
        if (!linear_only) {
          const Eigen::ArrayXf cover = A.col(kCover).array();
          const Eigen::ArrayXf step =
              (cover > 1e-3F && cover < 0.999F)
                  .select(inside / cover.max(1e-3F) - outside / (1.0F - cover).max(1e-3F), 0.0F);
          for (int k = 0; k < kPlace; ++k) A.col(kEdge + k).array() *= step;
        }
        A.conservativeResize(n, kLinear + kPlace + 2);
        A.rightCols(2).setZero();
        if (!linear_only && whole) {
          // The model moved by h: everything of it but the cloth itself.
          constexpr double h = 0.2;
          for (int axis = 0; axis < 2; ++axis) {
            fill_basis(g, plane, static_cast<float>(blur), grown, smear, times, axis == 0 ? Vec2(h, 0) : Vec2(0, h),
                       shifted);
            A.col(kLinear + kPlace + axis) =
                (shifted.leftCols(kLinear) * plane.solution - (inside + outside).matrix()) / static_cast<float>(h);
          }
        }
        const Eigen::ArrayXf root = plane.weight.sqrt();
        A.array().colwise() *= root;
        const Eigen::VectorXf y = (root * plane.value).matrix();
        const double noise = std::max(plane.noise, plane.scale);
        // Normal equations; linear part with its prior.
        normal_matrix(A, N);
        N.triangularView<Eigen::StrictlyLower>() = N.transpose();
        const Eigen::VectorXf c = A.transpose() * y;
        Eigen::MatrixXd L = N.topLeftCorner(kLinear, kLinear).cast<double>();
        Eigen::VectorXd cl = c.head(kLinear).cast<double>();
        const double n2 = noise * noise;
        const auto& prior = plane.chroma ? kChromaPrior : kLumaPrior;
        for (int k = 0; k < kLinear; ++k)
          L(k, k) += n2 / (prior[static_cast<std::size_t>(k)] * prior[static_cast<std::size_t>(k)]) + 1e-6;
        cl[kGainTerm] += n2 / (prior[kGainTerm] * prior[kGainTerm]);
        const Eigen::LLT<Eigen::MatrixXd> llt(L);
        const Eigen::MatrixXd M = N.block(0, kLinear, kLinear, kPlace).cast<double>();
        const Eigen::MatrixXd K = llt.solve(M);
        const Eigen::MatrixXd S = N.block(kLinear, kLinear, kPlace, kPlace).cast<double>() - M.transpose() * K;
        Eigen::VectorXd r = c.segment(kLinear, kPlace).cast<double>() - M.transpose() * llt.solve(cl);
        Eigen::MatrixXd full = S;
        if (whole) {
          // Normal equations of the whole derivative for the place, the edge's own for the rest.
          const auto F = N.block(0, kLinear + kPlace, kLinear, 2).cast<double>();
          const Eigen::MatrixXd KF = llt.solve(F);
          full.topLeftCorner(2, 2) =
              N.block(kLinear + kPlace, kLinear + kPlace, 2, 2).cast<double>() - F.transpose() * KF;
          full.topRightCorner(2, kPlace - 2) = N.block(kLinear + kPlace, kLinear + 2, 2, kPlace - 2).cast<double>() -
                                               F.transpose() * K.rightCols(kPlace - 2);
          r.head(2) = c.tail(2).cast<double>() - F.transpose() * llt.solve(cl);
        }
        D += full / n2;
        plane.solution = llt.solve(cl).cast<float>();
        H += S / n2;
        rhs += r / n2;
        // Residuals and robust weights.
        const Eigen::ArrayXf fitted = (A.leftCols(kLinear) * plane.solution).array();
        plane.residual = (plane.weight > 1e-3F).select((y.array() - fitted) / root, plane.residual);
        scratch.assign(plane.residual.data(), plane.residual.data() + n);
        for (float& v : scratch) v = std::abs(v);
        plane.scale = 1.4826 * static_cast<double>(median_abs(scratch));
        if (!plane.chroma) plane.shift = gamma_shift(plane, blur);
        if (last_kind) {
          const auto cut = static_cast<float>(5.0 * std::max(plane.noise, plane.scale));
          const Eigen::ArrayXf q = (1.0F - (plane.residual / cut).square()).max(0.0F);
          plane.weight = q.square().max(1e-4F);
        }
      }
      if (linear_only) continue;
      // Priors of the place's own terms.
      Eigen::Matrix<double, kPlace, kPlace> P = D;
      Eigen::Matrix<double, kPlace, 1> q = rhs;
      if (!with_smear) {
        P(2, 2) += 1e9;
        P(3, 3) += 1e9;
      } else if (options.smear_sd > 0) {
        const double w = 1.0 / (options.smear_sd * options.smear_sd);
        for (int k = 0; k < 2; ++k) {
          P(2 + k, 2 + k) += w;
          q[2 + k] += w * (options.smear[k] - smear[k]);
        }
      }
      if (!whole)
        for (int k = 0; k < 2; ++k) {
          P(k, k) += 1.0 / (kShadingError * kShadingError);
          q[k] += (anchor[k] - g.centre[k]) / (kShadingError * kShadingError);
        }
      P(4, 4) += 1.0 / (kRadiusSlack * kRadiusSlack);
      q[4] -= radius_off / (kRadiusSlack * kRadiusSlack);
      P.diagonal().array() += 1e-9;
      Eigen::Matrix<double, kPlace, 1> step = P.partialPivLu().solve(q);
      const double limit = std::max(1.0, widths[pass]);
      Vec2 move = step.head<2>();
      if (!move.allFinite()) return std::nullopt;
      if (move.norm() > limit) move *= limit / move.norm();
      Vec2 smear_step = step.segment<2>(2);
      if (smear_step.norm() > 2 * limit) smear_step *= 2 * limit / smear_step.norm();
      g.centre += move;
      g.contact += move;
      g.ellipse.centre += move;
      shift_total += move;
      smear += smear_step;
      radius_off = std::clamp(radius_off + step[4], -1.0, 1.0);
      if (shift_total.norm() > options.search + 1.5) return std::nullopt;
    }
    if (pass + 1 < widths.size() && (pass == 0 || shift_total.norm() > 1.0)) {
      // The outline's shape and the samples follow the place.
      const auto at = camera.on_plane(g.centre, radius);
      if (!at) return std::nullopt;
      const auto moved = geometry_at(camera, *at, radius);
      if (!moved) return std::nullopt;
      g = *moved;
    }
  }

  BallFit fit;
  const auto at = camera.on_plane(g.centre, radius);
  if (!at) return std::nullopt;
  fit.at = *at;
  fit.pixel = g.centre;
  fit.smear = smear;
  fit.misfit = planes[0].scale;
  fit.misfit_chroma = std::hypot(planes[1].scale, planes[2].scale);
  fit.radius_off = radius_off;
  fit.ellipse = g.ellipse;

  // Covariance: residual scatter is in H by way of the noise; compression correlates neighbours.
  Eigen::Matrix<double, kPlace, kPlace> P = H / kNoiseCorrelation;
  if (!with_smear) {
    P(2, 2) += 1e9;
    P(3, 3) += 1e9;
  } else if (options.smear_sd > 0) {
    P(2, 2) += 1.0 / (options.smear_sd * options.smear_sd);
    P(3, 3) += 1.0 / (options.smear_sd * options.smear_sd);
  }
  P(4, 4) += 1.0 / (kRadiusSlack * kRadiusSlack);
  P.diagonal().array() += 1e-9;
  P(0, 0) += 1.0 / (kShadingError * kShadingError);
  P(1, 1) += 1.0 / (kShadingError * kShadingError);
  const Eigen::Matrix<double, kPlace, kPlace> C = P.inverse();
  const Mat2 metres = camera.plane_jacobian({at->x(), at->y(), radius}).inverse();
  fit.covariance =
      metres * (C.topLeftCorner<2, 2>() + kPlaceFloor * kPlaceFloor * Mat2::Identity()) * metres.transpose();
  fit.smear_covariance = C.block<2, 2>(2, 2);

  // What of the outline is there: per sector the step across the edge, as fitted, must be seen in the samples.
  std::array<double, kSectors> gain{}, energy{};
  for (const Plane& plane : planes) {
    const double noise = std::max(plane.noise, 0.5 * plane.scale);
    if (plane.count() < 12) continue;
    fill_basis(g, plane, static_cast<float>(plane.blur), static_cast<float>(plane.shift + radius_off), smear,
               sub_times(smear, plane.blur), Vec2::Zero(), A);
    const Eigen::VectorXf model = A.leftCols(kLinear) * plane.solution;
    const float cloth_gain = plane.solution[kGainTerm];
    for (Eigen::Index i = 0; i < plane.count(); ++i) {
      const Vec2 v = Vec2(static_cast<double>(plane.x[i]), static_cast<double>(plane.y[i])) - g.ellipse.centre;
      const double d = g.ellipse.distance(g.ellipse.centre + v);
      if (std::abs(d) > 0.25 * r_px + 1.5 + 0.5 * smear.norm()) continue;
      const auto sector = static_cast<std::size_t>((std::atan2(v.y(), v.x()) + kPi) / (2 * kPi) * kSectors) % kSectors;
      // Explained by the ball's presence: against the same cloth without it.
      const double ball = static_cast<double>(model[i] - plane.bare[i] * cloth_gain);
      const double seen = static_cast<double>(plane.value[i] - plane.bare[i] * cloth_gain);
      gain[sector] += ball * seen / (noise * noise);
      energy[sector] += ball * ball / (noise * noise);
    }
  }
  int good = 0;
  double contrast = 0;
  for (std::size_t i = 0; i < kSectors; ++i) {
    contrast += std::sqrt(energy[i]);
    if (energy[i] > 9 && gain[i] > 0.7 * energy[i] && gain[i] < 1.4 * energy[i]) ++good;
  }
  fit.contrast = contrast / kSectors;
  fit.visible = static_cast<double>(good) / kSectors;

  // The body's colour, highlights left out: medians over the inner disc.
  std::array<std::vector<float>, 3> body;
  const Vec2 box = g.ellipse.half_box();
  for (int k = 0; k < 3; ++k) {
    const cv::Mat& img = k == 0 ? view.luma : k == 1 ? view.cb : view.cr;
    const double per = k == 0 ? 1 : 2;
    const int x0 = std::max(0, static_cast<int>((g.ellipse.centre.x() - box.x()) / per));
    const int x1 = std::min(img.cols - 1, static_cast<int>((g.ellipse.centre.x() + box.x()) / per) + 1);
    const int y0 = std::max(0, static_cast<int>((g.ellipse.centre.y() - box.y()) / per));
    const int y1 = std::min(img.rows - 1, static_cast<int>((g.ellipse.centre.y() + box.y()) / per) + 1);
    for (int y = y0; y <= y1; ++y)
      for (int x = x0; x <= x1; ++x) {
        const Vec2 p = k == 0 ? Vec2(x, y) : chroma_place(x, y, view.chroma_offset_x);
        if (g.ellipse.share(p) > 0.72) continue;
        body[static_cast<std::size_t>(k)].push_back(static_cast<float>(img.at<std::uint8_t>(y, x)));
      }
  }
  for (int k = 0; k < 3; ++k) {
    auto& v = body[static_cast<std::size_t>(k)];
    if (v.empty()) return fit;
    fit.colour[k] = static_cast<double>(median_abs(v));
    if (k > 0) {
      for (float& f : v) f = std::abs(f - static_cast<float>(fit.colour[k]));
      fit.colour_scatter = std::max(fit.colour_scatter, static_cast<double>(median_abs(v)));
    }
  }
  return fit;
}

}  // namespace baizetrace::sight
