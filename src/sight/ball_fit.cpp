#include "sight/ball_fit.hpp"

#include <Eigen/Dense>
#include <algorithm>

namespace baizetrace::sight {

namespace {

constexpr int kSectors = 32;             // of the outline, for what is visible of it
constexpr double kChromaSubsampling = 4.0 / 12.0;  // px^2, variance of averaging two luma pixels, either way
constexpr double kRadiusSlack = 0.25;    // px, how far blur and gamma make an outline seem larger or smaller
constexpr double kShadingPrior = 60;     // levels: how strong a term of a ball's shading can be
constexpr double kShadowPrior = 0.5;     // how strong a term of its shadow can be, as a share of the cloth
constexpr double kNoiseCorrelation = 4;  // compression smears noise over neighbouring pixels: fewer independent ones
constexpr double kPlaceFloor = 0.03;     // px, what the model leaves at best, either way

constexpr int kInside = 9, kOutside = 5, kLinear = kInside + kOutside;
constexpr int kPlace = 5;  // du dv, smear x y, radius

// Standard normal distribution and density, tabled: the fits call them a million times a second.
struct Bell {
  static constexpr int kSteps = 512;
  static constexpr double kReach = 4;
  std::array<float, 2 * kSteps + 2> sum{}, density{};
  Bell() {
    for (int i = 0; i <= 2 * kSteps + 1; ++i) {
      const double x = (i - kSteps) * kReach / kSteps;
      sum[static_cast<std::size_t>(i)] = static_cast<float>(0.5 * std::erfc(-x / std::numbers::sqrt2));
      density[static_cast<std::size_t>(i)] = static_cast<float>(std::exp(-0.5 * x * x) / std::sqrt(2 * kPi));
    }
  }
  void at(float x, float& s, float& d) const {
    const float t = std::clamp((x + static_cast<float>(kReach)) * static_cast<float>(kSteps / kReach), 0.0F,
                               static_cast<float>(2 * kSteps));
    const auto i = static_cast<std::size_t>(t);
    const float f = t - static_cast<float>(i);
    s = sum[i] + f * (sum[i + 1] - sum[i]);
    d = density[i] + f * (density[i + 1] - density[i]);
  }
};
const Bell kBell;

struct Sample {
  float x, y;        // px, luma's
  float value, bare; // levels; chroma about 128
  float weight;      // robust share 0..1
  float residual;
};

struct Plane {
  std::vector<Sample> samples;
  double noise = 1;
  double blur = 0.7;
  bool chroma = false;
  Eigen::VectorXf solution;  // kLinear
  double scale = 1;          // robust scatter, levels
};

// Geometry of the ball at one place: outline and its contact point.
struct Geometry {
  Ellipse ellipse;
  Vec2 centre;      // px
  Vec2 contact;     // px, where it touches the cloth
  Mat2 bed_from_px; // m/px on the bed
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

// Basis functions of one sample, averaged over the exposure. `row`: kLinear linear terms; `edge`: per sub-time sums
// for the place: [sum n_x d, sum n_y d, sum t n_x d, sum t n_y d, sum d].
struct Basis {
  std::array<float, kLinear> row{};
  std::array<float, kPlace> edge{};
  float cover = 0;
};

void basis_at(const Geometry& g, float x, float y, float bare, float blur, const Vec2& smear, int times, Basis& b) {
  b = Basis{};
  const Mat2& s = g.ellipse.shape;
  const auto s00 = static_cast<float>(s(0, 0)), s01 = static_cast<float>(s(0, 1)), s11 = static_cast<float>(s(1, 1));
  const auto b00 = static_cast<float>(g.bed_from_px(0, 0)), b01 = static_cast<float>(g.bed_from_px(0, 1));
  const auto b10 = static_cast<float>(g.bed_from_px(1, 0)), b11 = static_cast<float>(g.bed_from_px(1, 1));
  const float per_r = 1.0F / static_cast<float>(g.radius_m);
  const float one = 1.0F / static_cast<float>(times);
  for (int i = 0; i < times; ++i) {
    const float t = times > 1 ? (static_cast<float>(i) + 0.5F) * one - 0.5F : 0.0F;
    const float mx = t * static_cast<float>(smear.x()), my = t * static_cast<float>(smear.y());
    const float px = x - static_cast<float>(g.ellipse.centre.x()) - mx;
    const float py = y - static_cast<float>(g.ellipse.centre.y()) - my;
    const float ux = s00 * px + s01 * py, uy = s01 * px + s11 * py;
    const float r = std::sqrt(ux * ux + uy * uy) + 1e-6F;
    const float gx = (s00 * ux + s01 * uy) / r, gy = (s01 * ux + s11 * uy) / r;  // gradient of r
    const float slope = std::sqrt(gx * gx + gy * gy);
    const float distance = (r - 1.0F) / slope;
    float out, density;
    kBell.at(distance / blur, out, density);
    const float in = 1.0F - out;
    density /= blur;
    if (in > 1e-4F) {
      const float k = std::min(1.0F, 1.0F / r);
      const float X = ux * k, Y = uy * k, Z = std::sqrt(std::max(0.0F, 1.0F - X * X - Y * Y));
      const float a = in * one;
      b.row[0] += a;
      b.row[1] += a * X;
      b.row[2] += a * Y;
      b.row[3] += a * Z;
      b.row[4] += a * (X * X - Y * Y);
      b.row[5] += a * X * Y;
      b.row[6] += a * X * Z;
      b.row[7] += a * Y * Z;
      b.row[8] += a * Z * Z;
      b.cover += a;
    }
    if (out > 1e-4F) {
      const float dx = x - mx - static_cast<float>(g.contact.x()), dy = y - my - static_cast<float>(g.contact.y());
      const float wx = (b00 * dx + b01 * dy) * per_r, wy = (b10 * dx + b11 * dy) * per_r;  // radii on the bed
      const float q = 1.0F / (1.0F + wx * wx + wy * wy);
      const float hidden = q * std::sqrt(q);  // share of an even sky that the ball hides: sphere's form factor
      const float a = out * one * bare;
      b.row[9] += a;
      b.row[10] += a * hidden;
      b.row[11] += a * hidden * wx;
      b.row[12] += a * hidden * wy;
      b.row[13] += a * hidden * hidden;
    }
    const float nx = gx / slope * density * one, ny = gy / slope * density * one;
    b.edge[0] += nx;
    b.edge[1] += ny;
    b.edge[2] += t * nx;
    b.edge[3] += t * ny;
    b.edge[4] += density * one;
  }
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
  plane.samples.clear();
  for (int y = y0; y <= y1; ++y) {
    const auto* row = img.ptr<std::uint8_t>(y);
    const auto* bare_row = bare.ptr<float>(y);
    for (int x = x0; x <= x1; ++x) {
      const Vec2 p = which == 0 ? Vec2(x, y) : chroma_place(x, y, o.chroma_offset_x);
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
      Sample s;
      s.x = static_cast<float>(p.x());
      s.y = static_cast<float>(p.y());
      const float zero = which == 0 ? 16.0F : 128.0F;
      s.value = static_cast<float>(row[x]) - zero;
      s.bare = (bare_row[x] - zero) * view.gain.at(p.x(), p.y());
      s.weight = 1;
      s.residual = 0;
      plane.samples.push_back(s);
    }
  }
}

}  // namespace

std::optional<BallFit> fit_ball(const View& view, const camera::Camera& camera, const Vec2& start, double radius,
                                const BallFitOptions& options) {
  auto geometry = geometry_at(camera, start, radius);
  if (!geometry) return std::nullopt;
  Geometry g = *geometry;
  Vec2 smear = options.smear;
  const double r_px = g.ellipse.radius;
  if (r_px < 2.5) return std::nullopt;

  std::array<Plane, 3> planes;
  planes[0].noise = view.noise_luma;
  planes[0].blur = view.blur;
  for (int k = 1; k < 3; ++k) {
    planes[static_cast<std::size_t>(k)].noise = view.noise_chroma;
    planes[static_cast<std::size_t>(k)].chroma = true;
    planes[static_cast<std::size_t>(k)].blur = std::sqrt(view.blur * view.blur + kChromaSubsampling);
  }
  for (int k = 0; k < 3; ++k) collect(view, g, smear, options, planes[static_cast<std::size_t>(k)], k);
  if (planes[0].samples.size() < 30) return std::nullopt;
  for (Plane& p : planes) p.solution = Eigen::VectorXf::Zero(kLinear);

  const bool with_smear = options.moving;
  // Wide blur first: a start several pixels off is still pulled in.
  std::vector<double> widths;
  if (options.search > 2.5) widths.push_back(2.5);
  if (options.search > 0.8) widths.push_back(1.2);
  for (int i = 0; i < 4; ++i) widths.push_back(0);

  Eigen::Matrix<double, kPlace, kPlace> H;
  Eigen::Matrix<double, kPlace, 1> rhs;
  Vec2 shift_total = Vec2::Zero();
  double radius_off = 0;
  std::vector<float> scratch;
  Basis b;
  for (std::size_t pass = 0; pass < widths.size(); ++pass) {
    const bool last_kind = widths[pass] == 0;
    // Two rounds at the first pass: the linear terms must be known before the edge's derivative is.
    const int rounds = pass == 0 ? 2 : 1;
    for (int round = 0; round < rounds; ++round) {
      H.setZero();
      rhs.setZero();
      const bool linear_only = pass == 0 && round == 0;
      for (Plane& plane : planes) {
        const auto n = static_cast<Eigen::Index>(plane.samples.size());
        if (n < 12) continue;
        const double blur = std::hypot(plane.blur, widths[pass]);
        const int times = std::max(1, static_cast<int>(std::ceil(smear.norm() / (1.3 * blur))));
        Eigen::MatrixXf A(n, kLinear + kPlace);
        Eigen::VectorXf y(n);
        Geometry inflated = g;
        inflated.ellipse.shape *= r_px / (r_px + radius_off);
        for (Eigen::Index i = 0; i < n; ++i) {
          const Sample& s = plane.samples[static_cast<std::size_t>(i)];
          basis_at(inflated, s.x, s.y, s.bare, static_cast<float>(blur), smear, times, b);
          const float w = std::sqrt(s.weight);
          float outside = 0, inside = 0;
          for (int k = 0; k < kLinear; ++k) {
            const float v = b.row[static_cast<std::size_t>(k)];
            A(i, k) = w * v;
            (k < kInside ? inside : outside) += v * plane.solution[k];
          }
          const float step = b.cover > 1e-3F && b.cover < 0.999F ? inside / b.cover - outside / (1 - b.cover) : 0.0F;
          for (int k = 0; k < kPlace; ++k) A(i, kLinear + k) = w * step * b.edge[static_cast<std::size_t>(k)];
          y[i] = w * s.value;
        }
        const double noise = std::max(plane.noise, plane.scale);
        // Normal equations; linear part with its prior.
        Eigen::MatrixXf N = A.transpose() * A;
        const Eigen::VectorXf c = A.transpose() * y;
        Eigen::MatrixXd L = N.topLeftCorner(kLinear, kLinear).cast<double>();
        Eigen::VectorXd cl = c.head(kLinear).cast<double>();
        const double n2 = noise * noise;
        for (int k = 0; k < kLinear; ++k) {
          const double sd = k == 0 || k == 9 ? 1e3 : k < kInside ? kShadingPrior : kShadowPrior;
          L(k, k) += n2 / (sd * sd) + 1e-6;
        }
        // The cloth far from the ball looks like the cloth: gain near 1.
        L(9, 9) += n2 / (0.15 * 0.15);
        cl[9] += n2 / (0.15 * 0.15);
        const Eigen::LLT<Eigen::MatrixXd> llt(L);
        const Eigen::MatrixXd M = N.topRightCorner(kLinear, kPlace).cast<double>();
        const Eigen::MatrixXd S =
            N.bottomRightCorner(kPlace, kPlace).cast<double>() - M.transpose() * llt.solve(M);
        const Eigen::VectorXd r = c.tail(kPlace).cast<double>() - M.transpose() * llt.solve(cl);
        plane.solution = llt.solve(cl).cast<float>();
        H += S / n2;
        rhs += r / n2;
        // Residuals and robust weights.
        scratch.clear();
        for (Eigen::Index i = 0; i < n; ++i) {
          Sample& s = plane.samples[static_cast<std::size_t>(i)];
          const float w = std::sqrt(s.weight);
          const float fitted = w > 1e-6F ? A.row(i).head(kLinear).dot(plane.solution) / w : 0.0F;
          s.residual = w > 1e-6F ? s.value - fitted : s.residual;
          scratch.push_back(std::abs(s.residual));
        }
        plane.scale = 1.4826 * static_cast<double>(median_abs(scratch));
        if (last_kind) {
          const auto cut = static_cast<float>(5.0 * std::max(plane.noise, plane.scale));
          for (Sample& s : plane.samples) {
            const float q = s.residual / cut;
            s.weight = std::max(1e-4F, q * q < 1 ? (1 - q * q) * (1 - q * q) : 0.0F);
          }
        }
      }
      if (linear_only) continue;
      // Priors of the place's own terms.
      Eigen::Matrix<double, kPlace, kPlace> P = H;
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
      P(4, 4) += 1.0 / (kRadiusSlack * kRadiusSlack);
      q[4] -= radius_off / (kRadiusSlack * kRadiusSlack);
      P.diagonal().array() += 1e-9;
      Eigen::Matrix<double, kPlace, 1> step = P.llt().solve(q);
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
  const Eigen::Matrix<double, kPlace, kPlace> C = P.inverse();
  const Mat2 metres = camera.plane_jacobian({at->x(), at->y(), radius}).inverse();
  fit.covariance = metres * (C.topLeftCorner<2, 2>() + kPlaceFloor * kPlaceFloor * Mat2::Identity()) *
                   metres.transpose();
  fit.smear_covariance = C.block<2, 2>(2, 2);

  // What of the outline is there: per sector the step across the edge, as fitted, must be seen in the samples.
  std::array<double, kSectors> gain{}, energy{};
  for (const Plane& plane : planes) {
    const double noise = std::max(plane.noise, 0.5 * plane.scale);
    const int times = std::max(1, static_cast<int>(std::ceil(smear.norm() / (1.3 * plane.blur))));
    for (const Sample& s : plane.samples) {
      basis_at(g, s.x, s.y, s.bare, static_cast<float>(plane.blur), smear, times, b);
      float inside = 0, outside = 0;
      for (int k = 0; k < kInside; ++k) inside += b.row[static_cast<std::size_t>(k)] * plane.solution[k];
      for (int k = kInside; k < kLinear; ++k) outside += b.row[static_cast<std::size_t>(k)] * plane.solution[k];
      const Vec2 v = Vec2(static_cast<double>(s.x), static_cast<double>(s.y)) - g.ellipse.centre;
      const double d = g.ellipse.distance(g.ellipse.centre + v);
      if (std::abs(d) > 0.25 * r_px + 1.5 + 0.5 * smear.norm()) continue;
      const auto sector = static_cast<std::size_t>((std::atan2(v.y(), v.x()) + kPi) / (2 * kPi) * kSectors) % kSectors;
      // Explained by the ball's presence: against the same cloth without it.
      const double ball = static_cast<double>(inside + outside - s.bare * plane.solution[9]);
      const double seen = static_cast<double>(s.value - s.bare * plane.solution[9]);
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
        const Vec2 p = k == 0 ? Vec2(x, y) : chroma_place(x, y, options.chroma_offset_x);
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
