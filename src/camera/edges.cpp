#include "camera/edges.hpp"

#include <algorithm>
#include <cmath>
#include <functional>

namespace baizetrace::camera {

namespace {
constexpr double kProfileStep = 0.0005;  // m: a quarter of a pixel on usual rigs
constexpr int kAcross = 40;              // samples along a stripe
constexpr double kNearJaw = 0.03;        // m: stripes keep this far from where the jaws begin
constexpr double kLeastContrast = 4;     // levels between the band and the cushion
constexpr double kLeastOverNoise = 4;
constexpr double kEdgeFloor = 0.06;   // px: what averaging does not take below
constexpr double kRidgeContrast = 6;  // levels of a drawn line over the cloth

// Bilinear value; false outside.
bool sample(const cv::Mat& f, double u, double v, double& out) {
  const int x = static_cast<int>(std::floor(u)), y = static_cast<int>(std::floor(v));
  if (x < 0 || y < 0 || x + 1 >= f.cols || y + 1 >= f.rows) return false;
  const double a = u - x, b = v - y;
  const float* p = f.ptr<float>(y) + x;
  const float* q = f.ptr<float>(y + 1) + x;
  out = (1 - b) * ((1 - a) * static_cast<double>(p[0]) + a * static_cast<double>(p[1])) +
        b * ((1 - a) * static_cast<double>(q[0]) + a * static_cast<double>(q[1]));
  return true;
}

using PointAt = std::function<Vec3(double along, double out)>;

// The profile across a stripe. Pixels along it are interpolated between its ends and middle: a curve of 8 cm bends by
// less than a tenth of a pixel, and the parabola takes that up.
std::optional<Profile> profile(const cv::Mat& plane, double plane_scale, const Camera& camera, const PointAt& at,
                               double half, double from, double to) {
  Profile out;
  out.from = from;
  out.step = kProfileStep;
  std::vector<double> values, spreads;
  for (double d = from; d <= to + 1e-9; d += kProfileStep) {
    const auto a = camera.project(at(-half, d)), m = camera.project(at(0, d)), b = camera.project(at(half, d));
    if (!a || !m || !b) return std::nullopt;
    values.clear();
    for (int i = 0; i < kAcross; ++i) {
      const double s = (2.0 * i + 1 - kAcross) / kAcross;  // -1 .. 1
      const Vec2 p = *m + 0.5 * s * (*b - *a) + 0.5 * s * s * (*a + *b - 2 * *m);
      double v;
      const double u0 = plane_scale == 1 ? p.x() : (p.x() - 0.5) * plane_scale;
      const double v0 = plane_scale == 1 ? p.y() : (p.y() - 0.5) * plane_scale;
      if (!sample(plane, u0, v0, v)) return std::nullopt;
      values.push_back(v);
    }
    std::sort(values.begin(), values.end());
    double sum = 0;
    const int trim = kAcross / 4;
    for (int i = trim; i < kAcross - trim; ++i) sum += values[static_cast<std::size_t>(i)];
    out.value.push_back(sum / (kAcross - 2 * trim));
    spreads.push_back(0.74 * (values[3 * kAcross / 4] - values[kAcross / 4]));
  }
  std::nth_element(spreads.begin(), spreads.begin() + static_cast<long>(spreads.size() / 2), spreads.end());
  // Neighbouring samples share pixels: about a third of them count.
  out.noise = std::max(0.1, spreads[spreads.size() / 2]) / std::sqrt(kAcross / 3.0);
  return out;
}

// Turns a place across the curve into a mark: pixel there, normal of the curve there.
std::optional<Mark> mark_at(const Camera& camera, Mark mark, const PointAt& at, double out, double slope,
                            double noise) {
  const auto pixel = camera.project(at(0, out));
  const auto a = camera.project(at(-0.005, out)), b = camera.project(at(0.005, out));
  const auto further = camera.project(at(0, out + 0.001));
  if (!pixel || !a || !b || !further) return std::nullopt;
  const Vec2 tangent = (*b - *a).normalized();
  mark.normal = Vec2(-tangent.y(), tangent.x());
  const double px_per_m = std::abs((*further - *pixel).dot(mark.normal)) / 0.001;
  if (mark.normal.dot(*further - *pixel) < 0) mark.normal = -mark.normal;
  mark.pixel = *pixel;
  mark.sd = std::hypot(kEdgeFloor, noise / std::max(1.0, slope) * px_per_m);
  return mark;
}

// Place of the half-way crossing nearest outside the darkest place: band inside, cushion outside.
std::optional<double> nose_edge(const Profile& p, double reach, double& slope) {
  // The steepest rise that leads onto a level top.
  double best = 0, at = 0;
  for (double d = -reach; d <= reach; d += p.step) {
    const double rise = p.mean(d + 0.004, d + 0.012) - p.mean(d - 0.004, d - 0.001);
    if (rise > best) best = rise, at = d;
  }
  if (best < std::max(kLeastContrast, kLeastOverNoise * p.noise)) return std::nullopt;
  const double top = p.mean(at + 0.006, at + 0.016);
  double low = 1e9, low_at = at;
  for (double d = at - 0.008; d <= at + 0.001; d += p.step)
    if (p.at(d) < low) low = p.at(d), low_at = d;
  if (top - low < std::max(kLeastContrast, kLeastOverNoise * p.noise)) return std::nullopt;
  const double half = 0.5 * (low + top);
  for (double d = low_at; d <= low_at + 0.014; d += p.step)
    if (p.at(d) < half && p.at(d + p.step) >= half) {
      slope = (p.at(d + 2 * p.step) - p.at(d - p.step)) / (3 * p.step);
      return d + p.step * (half - p.at(d)) / (p.at(d + p.step) - p.at(d));
    }
  return std::nullopt;
}

// Place of the step between cloth inside and wood outside.
std::optional<double> rail_edge(const Profile& p, double reach, double& slope) {
  double best = 0, at = 0;
  for (double d = -reach; d <= reach; d += p.step) {
    const double step = std::abs(p.mean(d + 0.003, d + 0.010) - p.mean(d - 0.010, d - 0.003));
    if (step > best) best = step, at = d;
  }
  if (best < std::max(8.0, 8 * p.noise)) return std::nullopt;
  const double in = p.mean(at - 0.012, at - 0.004), out = p.mean(at + 0.004, at + 0.010), half = 0.5 * (in + out);
  for (double e = 0; e <= 0.006; e += p.step)
    for (const double d : {at + e, at - e})
      if ((p.at(d) - half) * (p.at(d + p.step) - half) <= 0 && p.at(d) != p.at(d + p.step)) {
        slope = std::abs(p.at(d + 2 * p.step) - p.at(d - p.step)) / (3 * p.step);
        return d + p.step * (half - p.at(d)) / (p.at(d + p.step) - p.at(d));
      }
  return std::nullopt;
}

// Middle of a thin bright ridge.
std::optional<double> ridge(const Profile& p, double reach, double& slope) {
  double best = 0, at = 0;
  for (double d = -reach; d <= reach; d += p.step) {
    const double height = p.at(d) - 0.5 * (p.mean(d - 0.010, d - 0.005) + p.mean(d + 0.005, d + 0.010));
    if (height > best) best = height, at = d;
  }
  if (best < std::max(kRidgeContrast, kLeastOverNoise * p.noise)) return std::nullopt;
  // Both sides must be the same cloth: a shadow's edge is no line.
  const double left = p.mean(at - 0.010, at - 0.006), right = p.mean(at + 0.006, at + 0.010);
  if (std::abs(left - right) > 0.5 * best) return std::nullopt;
  double sum = 0, weight = 0;
  for (double d = at - 0.006; d <= at + 0.006; d += p.step) {
    const double ground = left + (right - left) * (d - at + 0.006) / 0.012;
    const double w = std::max(0.0, p.at(d) - ground);
    sum += w * d;
    weight += w;
  }
  slope = best / 0.002;
  return weight > 0 ? std::optional(sum / weight) : std::nullopt;
}

struct Stripe {
  int side;
  double along;
};
// Pieces of the straight noses, clear of the jaws.
std::vector<Stripe> stripes(const table::Table& table, double step) {
  std::vector<Stripe> out;
  for (const table::Nose& n : table.noses()) {
    const bool end = n.cushion == "baulk" || n.cushion == "top";
    const int side = n.cushion == "baulk" ? kBaulk : n.cushion == "right" ? kRight : n.cushion == "top" ? kTop : kLeft;
    double a = end ? n.a.x() : n.a.y(), b = end ? n.b.x() : n.b.y();
    if (a > b) std::swap(a, b);
    a += kNearJaw;
    b -= kNearJaw;
    const int count = std::max(1, static_cast<int>((b - a) / step));
    for (int i = 0; i < count; ++i) out.push_back({side, a + (b - a) * (i + 0.5) / count});
  }
  return out;
}

// A point along a side, `out` beyond the nose, at a height.
PointAt side_point(const Unknowns& x, int side, double along, double base, double height) {
  const bool end = side == kBaulk || side == kTop;
  const double sign = side == kBaulk || side == kLeft ? -1 : 1;
  const double half = end ? x.half_length : x.half_width;
  return [=](double s, double d) {
    const double o = sign * (half + base + d);
    return end ? Vec3(along + s, o, height) : Vec3(o, along + s, height);
  };
}
}  // namespace

double Profile::at(double out) const {
  const double i = (out - from) / step;
  if (i <= 0) return value.front();
  const auto k = static_cast<std::size_t>(i);
  if (k + 1 >= value.size()) return value.back();
  const double a = i - static_cast<double>(k);
  return (1 - a) * value[k] + a * value[k + 1];
}

double Profile::mean(double low, double high) const {
  const auto clamp = [&](double d) {
    return static_cast<std::size_t>(
        std::clamp(std::round((d - from) / step), 0.0, static_cast<double>(value.size() - 1)));
  };
  const std::size_t a = clamp(low), b = clamp(high);
  double sum = 0;
  for (std::size_t i = a; i <= b; ++i) sum += value[i];
  return sum / static_cast<double>(b - a + 1);
}

std::vector<Mark> nose_marks(const Scene& scene, const Unknowns& x, const table::Table& table,
                             const EdgeOptions& options) {
  std::vector<Mark> marks;
  const Camera camera = x.camera();
  for (const Stripe& s : stripes(table, options.step)) {
    const PointAt at = side_point(x, s.side, s.along, 0, x.nose_height);
    const auto p =
        profile(scene.luma, 1, camera, at, options.step / 2, -options.nose_reach - 0.016, options.nose_reach + 0.018);
    if (!p) continue;
    double slope = 0;
    const auto edge = nose_edge(*p, options.nose_reach, slope);
    if (!edge) continue;
    if (auto m = mark_at(camera, {Kind::nose, s.side, s.along, {}, {}, 0}, at, *edge, slope, p->noise))
      marks.push_back(*m);
  }
  return marks;
}

std::vector<Mark> rail_marks(const Scene& scene, const Unknowns& x, const table::Table& table,
                             const EdgeOptions& options) {
  std::vector<Mark> marks;
  const Camera camera = x.camera();
  for (const Stripe& s : stripes(table, options.step)) {
    const PointAt at =
        side_point(x, s.side, s.along, x.rail_offset + x.rail_bias[static_cast<std::size_t>(s.side)], x.rail_height);
    // Luma is the sharpest; chroma serves where wood and cloth are equally bright.
    for (const cv::Mat* plane : {&scene.luma, &scene.cr, &scene.cb}) {
      const double scale = plane == &scene.luma ? 1 : 0.5;
      const auto p =
          profile(*plane, scale, camera, at, options.step / 2, -options.rail_reach - 0.012, options.rail_reach + 0.012);
      if (!p) break;
      double slope = 0;
      const auto edge = rail_edge(*p, options.rail_reach, slope);
      if (!edge) continue;
      if (auto m = mark_at(camera, {Kind::rail, s.side, s.along, {}, {}, 0}, at, *edge, slope, p->noise)) {
        m->sd = std::hypot(m->sd, scale == 1 ? 0.1 : 0.3);
        marks.push_back(*m);
      }
      break;
    }
  }
  return marks;
}

std::vector<Mark> line_marks(const Scene& scene, const Unknowns& x, const EdgeOptions& options) {
  std::vector<Mark> marks;
  const Camera camera = x.camera();
  const double end = x.half_width - 0.03, half = 0.02;
  for (double at_x = -end; at_x <= end; at_x += 2 * half) {
    const PointAt at = [&](double s, double d) { return Vec3(at_x + s, x.line_y + x.line_slope * (at_x + s) + d, 0); };
    const auto p = profile(scene.luma, 1, camera, at, half, -options.line_reach - 0.012, options.line_reach + 0.012);
    if (!p) continue;
    double slope = 0;
    const auto middle = ridge(*p, options.line_reach, slope);
    if (!middle) continue;
    if (auto m = mark_at(camera, {Kind::line, 0, at_x, {}, {}, 0}, at, *middle, slope, p->noise)) marks.push_back(*m);
  }
  return marks;
}

std::vector<Mark> d_marks(const Scene& scene, const Unknowns& x, const EdgeOptions& options) {
  std::vector<Mark> marks;
  const Camera camera = x.camera();
  const double half = 0.015, step = 2 * half / std::max(0.05, x.d_radius);
  for (double a = -kPi + 2 * step; a <= -2 * step; a += step) {
    const PointAt at = [&](double s, double d) {
      const double angle = a + s / x.d_radius, r = x.d_radius + d;
      return Vec3(x.d_centre.x() + r * std::cos(angle), x.d_centre.y() + r * std::sin(angle), 0);
    };
    const auto p = profile(scene.luma, 1, camera, at, half, -options.line_reach - 0.012, options.line_reach + 0.012);
    if (!p) continue;
    double slope = 0;
    const auto middle = ridge(*p, options.line_reach, slope);
    if (!middle) continue;
    if (auto m = mark_at(camera, {Kind::d, 0, a, {}, {}, 0}, at, *middle, slope, p->noise)) marks.push_back(*m);
  }
  return marks;
}

}  // namespace baizetrace::camera
