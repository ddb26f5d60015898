#include "camera/edges.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numeric>

#include "base/median.hpp"
#include "camera/sampling.hpp"

namespace baizetrace::camera {

namespace {
constexpr double kProfileStep = 0.0005;  // m: a quarter of a pixel on usual rigs
constexpr int kAcross = 40;              // samples along a stripe
constexpr double kNearJaw = 0.03;        // m: stripes keep this far from where the jaws begin
constexpr double kLeastOverNoise = 4;
constexpr double kKnownBlur = 0.03;  // px: of the blur, once read off many noses
constexpr double kKnownDark = 0.08;  // of the band's darkness: light falls differently on each side
constexpr double kRailFloor = 0.5;   // px: wood and cloth meet in a seam, with shadow or shine
// Levels from cloth to wood: luma has shadows and shine of its own, chroma steps little in a dim picture (3 to 8 at 47
// levels of cloth, with 0.2 to 0.6 of noise).
constexpr double kRailStep = 8, kRailChromaStep = 2.5;
constexpr double kRailOverNoise = 8;

constexpr double kEdgeFloor = 0.06;     // px: what averaging does not take below
constexpr double kLeastScatter = 0.05;  // levels, of heights that are middle values of many pieces
// Levels of a drawn line over the cloth: so many, or so much of the cloth's own light where that is less. In a dim clip
// lines stood out by 1.3 to 3.9 levels of 33, with 0.1 of noise.
constexpr double kRidgeContrast = 6, kRidgeOfLight = 0.04, kRidgeLeast = 1.2;

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
      if (!sample_plane(plane, plane_scale, p, v)) return std::nullopt;
      values.push_back(v);
    }
    // The mean of the middle half, and how far its ends lie apart.
    constexpr std::ptrdiff_t kQuarter = kAcross / 4;
    const auto low = values.begin() + kQuarter, high = values.end() - kQuarter;
    std::nth_element(values.begin(), low, values.end());
    const double lowest = *low;  // before the others are put in order
    std::nth_element(low, high, values.end());
    out.value.push_back(std::accumulate(low, high, 0.0) / (kAcross - 2 * kQuarter));
    spreads.push_back(0.74 * (*high - lowest));
  }
  // Neighbouring samples share pixels: about a third of them count.
  out.noise = std::max(0.1, upper_median(spreads)) / std::sqrt(kAcross / 3.0);
  return out;
}

// Turns a place across the curve into a mark: pixel there, normal of the curve there.
struct Placed {
  Mark mark;
  double px_per_m = 0;
};
std::optional<Placed> mark_at(const Camera& camera, Mark mark, const PointAt& at, double out) {
  const auto pixel = camera.project(at(0, out));
  const auto a = camera.project(at(-0.005, out)), b = camera.project(at(0.005, out));
  const auto further = camera.project(at(0, out + 0.001));
  if (!pixel || !a || !b || !further) return std::nullopt;
  const Vec2 tangent = (*b - *a).normalized();
  mark.normal = Vec2(-tangent.y(), tangent.x());
  const double px_per_m = std::abs((*further - *pixel).dot(mark.normal)) / 0.001;
  if (mark.normal.dot(*further - *pixel) < 0) mark.normal = -mark.normal;
  mark.pixel = *pixel;
  return Placed{mark, px_per_m};
}

// A mark whose place was read where the profile has this slope.
void add_mark(std::vector<Mark>& marks, std::optional<Placed> m, double noise, double slope, double floor) {
  if (!m) return;
  m->mark.sd = std::hypot(floor, noise / std::max(1.0, slope) * m->px_per_m);
  marks.push_back(m->mark);
}

// Place of the step between cloth inside and wood outside.
std::optional<double> rail_edge(const Profile& p, double reach, double least, double& slope) {
  double best = 0, at = 0;
  for (double d = -reach; d <= reach; d += p.step) {
    const double step = std::abs(p.mean(d + 0.003, d + 0.010) - p.mean(d - 0.010, d - 0.003));
    if (step > best) best = step, at = d;
  }
  if (best < std::max(least, kRailOverNoise * p.noise)) return std::nullopt;
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
  const double light = kRidgeOfLight * (p.mean(at - 0.010, at - 0.006) - 16);
  if (best < std::max(std::clamp(light, kRidgeLeast, kRidgeContrast), kLeastOverNoise * p.noise)) return std::nullopt;
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

// Each stripe on whichever thread is free.
template <class Each>
void for_all(const std::vector<Stripe>& all, const Each& each) {
  cv::parallel_for_(cv::Range(0, static_cast<int>(all.size())), [&](const cv::Range& range) {
    for (int i = range.start; i < range.end; ++i) each(static_cast<std::size_t>(i));
  });
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

std::array<int, 4> stripe_counts(const table::Table& table, double step) {
  std::array<int, 4> counts{};
  for (const Stripe& s : stripes(table, step)) ++counts[static_cast<std::size_t>(s.side)];
  return counts;
}

std::vector<Mark> nose_marks(const Scene& scene, const Unknowns& x, const table::Table& table,
                             const EdgeOptions& options, NoseLook* look) {
  struct Found {
    Mark mark;
    bool tells_look = false;
    double sigma = 0, dark = 0;
  };
  const Camera camera = x.camera();
  const std::vector<Stripe> all = stripes(table, options.step);
  std::vector<std::optional<Found>> found(all.size());
  const auto look_at = [&](const Stripe& s) -> std::optional<Found> {
    if (s.side == x.hidden_side) return std::nullopt;
    const PointAt at = side_point(x, s.side, s.along, 0, x.nose_height);
    const auto p =
        profile(scene.luma, 1, camera, at, options.step / 2, -options.nose_reach - 0.030, options.nose_reach + 0.018);
    if (!p) return std::nullopt;
    auto m = mark_at(camera, {Kind::nose, s.side, s.along, {}, {}, 0}, at, 0);
    if (!m) return std::nullopt;
    const Profile light = p->light(p->mean(-options.nose_reach - 0.030, -options.nose_reach), options.gamma);
    const auto fit = fit_nose(light, options.nose_reach, m->px_per_m, options.look);
    if (!fit) return std::nullopt;
    m = mark_at(camera, m->mark, at, fit->edge);
    if (!m) return std::nullopt;
    m->mark.sd = std::hypot(kEdgeFloor, fit->u_edge * m->px_per_m);
    // Blur and darkness are told by bands that are wide enough to show both of their edges.
    const bool tells = fit->width * m->px_per_m > 2.5 * fit->sigma_px && fit->contrast > 10 * p->noise;
    return Found{m->mark, tells, fit->sigma_px, fit->dark};
  };
  for_all(all, [&](std::size_t i) { found[i] = look_at(all[i]); });
  std::vector<Mark> marks;
  std::vector<double> sigmas, darks;
  for (const auto& f : found) {
    if (!f) continue;
    marks.push_back(f->mark);
    if (!f->tells_look) continue;
    sigmas.push_back(f->sigma);
    darks.push_back(f->dark);
  }
  if (look && sigmas.size() >= 10) {
    *look = {upper_median(sigmas), kKnownBlur, upper_median(darks), kKnownDark};
  }
  return marks;
}

std::vector<Mark> rail_marks(const Scene& scene, const Unknowns& x, const table::Table& table,
                             const EdgeOptions& options) {
  const Camera camera = x.camera();
  // Luma is the sharpest; chroma serves where wood and cloth are equally bright. One plane serves a whole side: where
  // the seam lies is not the same in all of them.
  const std::array<const cv::Mat*, 3> planes{&scene.luma, &scene.cr, &scene.cb};
  const std::vector<Stripe> all = stripes(table, options.step);
  std::vector<std::array<std::vector<Mark>, 3>> seen(all.size());  // at most one each
  for_all(all, [&](std::size_t k) {
    const Stripe& s = all[k];
    if (s.side == x.hidden_side) return;
    const auto side = static_cast<std::size_t>(s.side);
    const PointAt at = side_point(x, s.side, s.along, x.rail_offset + x.rail_bias[side], x.rail_height);
    for (std::size_t i = 0; i < planes.size(); ++i) {
      const auto p = profile(*planes[i], i == 0 ? 1 : 0.5, camera, at, options.step / 2, -options.rail_reach - 0.012,
                             options.rail_reach + 0.012);
      if (!p) break;
      double slope = 0;
      if (const auto edge = rail_edge(*p, options.rail_reach, i == 0 ? kRailStep : kRailChromaStep, slope))
        add_mark(seen[k][i], mark_at(camera, {Kind::rail, s.side, s.along, {}, {}, 0}, at, *edge), p->noise, slope,
                 kRailFloor);
    }
  });
  std::array<std::array<std::vector<Mark>, 3>, 4> found;
  for (std::size_t k = 0; k < all.size(); ++k)
    for (std::size_t i = 0; i < planes.size(); ++i) {
      auto& to = found[static_cast<std::size_t>(all[k].side)][i];
      to.insert(to.end(), seen[k][i].begin(), seen[k][i].end());
    }
  std::vector<Mark> marks;
  for (const auto& side : found) {
    const auto& best =
        *std::max_element(side.begin(), side.end(), [](const auto& a, const auto& b) { return a.size() < b.size(); });
    marks.insert(marks.end(), best.begin(), best.end());
  }
  return marks;
}

namespace {
// Where a drawn curve lies: `at` (m or rad) along it, `s` (m) further on, `d` (m) across.
using CurveAt = std::function<Vec3(double at, double s, double d)>;

// The middle of a drawn line, piece after piece, each looked for `reach` (m) across. What is too faint in one piece is
// looked for over several together, and told as so many marks of the same place, each so much less certain.
std::vector<Mark> drawn_marks(const Scene& scene, const Camera& camera, Kind kind, const std::vector<double>& pieces,
                              double half, const CurveAt& curve, double reach) {
  constexpr double kBeside = 0.012;  // m of cloth beside the reach, to see the line against
  constexpr std::size_t kTogether = 4;
  constexpr double kFewSeen = 0.3;  // of the pieces
  std::vector<Mark> marks;
  const auto look = [&](std::size_t together) {
    marks.clear();
    for (std::size_t i = 0; i + together <= pieces.size(); i += together) {
      const double middle = 0.5 * (pieces[i] + pieces[i + together - 1]);
      const auto n = static_cast<double>(together);
      const PointAt over = [&](double s, double d) { return curve(middle, s, d); };
      const auto p = profile(scene.luma, 1, camera, over, n * half, -reach - kBeside, reach + kBeside);
      if (!p) continue;
      double slope = 0;
      const auto out = ridge(*p, reach, slope);
      if (!out) continue;
      for (std::size_t k = 0; k < together; ++k) {
        const PointAt at = [&](double s, double d) { return curve(pieces[i + k], s, d); };
        add_mark(marks, mark_at(camera, {kind, 0, pieces[i + k], {}, {}, 0}, at, *out), std::sqrt(n) * p->noise, slope,
                 std::sqrt(n) * kEdgeFloor);
      }
    }
  };
  look(1);
  if (static_cast<double>(marks.size()) < kFewSeen * static_cast<double>(pieces.size())) {
    std::vector<Mark> alone = std::move(marks);
    look(kTogether);
    if (alone.size() > marks.size()) marks = std::move(alone);
  }
  return marks;
}

std::vector<double> line_pieces(const Unknowns& x) {
  std::vector<double> out;
  const double end = x.half_width - 0.03;
  for (double at = -end; at <= end; at += kLinePiece) out.push_back(at);
  return out;
}
CurveAt line_of(const Unknowns& x) {
  return [&x](double at, double s, double d) { return Vec3(at + s, x.line_y + x.line_slope * (at + s) + d, 0); };
}

std::vector<double> d_pieces(const Unknowns& x) {
  std::vector<double> out;
  const double step = kDPiece / std::max(0.05, x.d_radius);
  for (double a = -kPi + 2 * step; a <= -2 * step; a += step) out.push_back(a);
  return out;
}
CurveAt d_of(const Unknowns& x) {
  return [&x](double at, double s, double d) {
    const double angle = at + s / x.d_radius, r = x.d_radius + d;
    return Vec3(x.d_centre.x() + r * std::cos(angle), x.d_centre.y() + r * std::sin(angle), 0);
  };
}
}  // namespace

std::vector<Mark> line_marks(const Scene& scene, const Unknowns& x, const EdgeOptions& options) {
  return drawn_marks(scene, x.camera(), Kind::line, line_pieces(x), kLinePiece / 2, line_of(x), options.line_reach);
}

std::vector<Mark> d_marks(const Scene& scene, const Unknowns& x, const EdgeOptions& options) {
  return drawn_marks(scene, x.camera(), Kind::d, d_pieces(x), kDPiece / 2, d_of(x), options.line_reach);
}

namespace {
// How a thin bright line stands out of its surroundings, over all its pieces at once: of each piece the height over the
// cloth on both sides at every offset; at each offset the middle height of all pieces; the best offset's, over the
// scatter of the others. Pieces that show nothing by themselves add up: a line of 0.5 levels over 40 pieces is told.
double strength_of(const std::vector<Profile>& pieces, double reach) {
  constexpr double kNear = 0.005, kFar = 0.010;  // m: where the cloth beside a line is read
  constexpr double kOffset = 0.001;              // m
  constexpr std::size_t kLeastPieces = 8;
  if (pieces.size() < kLeastPieces) return 0;
  std::vector<double> heights, each;
  for (double d = -reach; d <= reach; d += kOffset) {
    each.clear();
    for (const Profile& p : pieces)
      each.push_back(p.mean(d - 0.001, d + 0.001) - 0.5 * (p.mean(d - kFar, d - kNear) + p.mean(d + kNear, d + kFar)));
    heights.push_back(upper_median(each));
  }
  const auto top = std::max_element(heights.begin(), heights.end());
  const double best = *top;
  // The ground is read clear of the best and of the hollows beside it.
  std::vector<double> clear, off;
  for (auto h = heights.begin(); h != heights.end(); ++h)
    if (std::abs(h - top) * kOffset > kFar + 0.002) clear.push_back(*h);
  if (clear.size() < kLeastPieces) return 0;
  const double ground = upper_median(clear);
  for (const double h : clear) off.push_back(std::abs(h - ground));
  return (best - ground) / std::max(kLeastScatter, 1.48 * upper_median(off));
}
// The same over the pieces of a drawn curve.
double strength_along(const Scene& scene, const Camera& camera, const std::vector<double>& pieces, double half,
                      const CurveAt& curve, double reach) {
  std::vector<Profile> profiles;
  for (const double piece : pieces) {
    const PointAt at = [&](double s, double d) { return curve(piece, s, d); };
    if (auto p = profile(scene.luma, 1, camera, at, half, -reach - 0.012, reach + 0.012))
      profiles.push_back(std::move(*p));
  }
  return strength_of(profiles, reach);
}
}  // namespace

double line_strength(const Scene& scene, const Unknowns& x, double reach) {
  return strength_along(scene, x.camera(), line_pieces(x), kLinePiece / 2, line_of(x), reach);
}

double d_strength(const Scene& scene, const Unknowns& x, double reach) {
  return strength_along(scene, x.camera(), d_pieces(x), kDPiece / 2, d_of(x), reach);
}

}  // namespace baizetrace::camera
