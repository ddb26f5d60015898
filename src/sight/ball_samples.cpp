#include "sight/ball_samples.hpp"
#include "base/median.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::sight {

namespace {

constexpr double kChromaSubsampling = 4.0 / 12.0;  // px^2, variance of averaging two luma pixels, either way
constexpr int kMaskSectors = 72;  // of the surroundings, for lines, cues and hands that meet the outline
constexpr double kNearEdge =
    3.0;                         // px beyond the search: farther out the cloth is smooth, and a quarter of it is enough
constexpr float kInRim = -2.0F;  // px: from here outwards a sample falls with the sector it lies in

// Signed distance of points to the outline swept along the smear, and the direction that they lie in.
struct Swept {
  float cx, cy, s00, s01, s11, lx, ly, per_l2, radius;

  Swept(const Geometry& g, const Vec2& smear)
      : cx(static_cast<float>(g.ellipse.centre.x())),
        cy(static_cast<float>(g.ellipse.centre.y())),
        s00(static_cast<float>(g.ellipse.shape(0, 0))),
        s01(static_cast<float>(g.ellipse.shape(0, 1))),
        s11(static_cast<float>(g.ellipse.shape(1, 1))),
        lx(static_cast<float>(smear.x())),
        ly(static_cast<float>(smear.y())),
        per_l2(smear.squaredNorm() > 1 ? static_cast<float>(1 / smear.squaredNorm()) : 0.0F),
        radius(static_cast<float>(g.ellipse.radius)) {}

  // From the point of the smear that is nearest.
  void from_nearest(float& x, float& y) const {
    x -= cx, y -= cy;
    const float t = std::clamp((x * lx + y * ly) * per_l2, -0.5F, 0.5F);
    x -= t * lx, y -= t * ly;
  }
  // Of a row of points, `apart` from one to the next.
  void distances(float x, float apart, float y, int count, float* out) const;
  [[nodiscard]] int sector(float x, float y) const {
    from_nearest(x, y);
    constexpr auto kTurn = static_cast<float>(2 * kPi);
    return static_cast<int>((std::atan2(y, x) + 0.5F * kTurn) / kTurn * kMaskSectors) % kMaskSectors;
  }
};

__attribute__((target_clones("avx2", "default"))) void Swept::distances(float x, float apart, float y, int count,
                                                                        float* out) const {
  for (int i = 0; i < count; ++i) {
    float px = x + apart * static_cast<float>(i) - cx, py = y - cy;
    float t = (px * lx + py * ly) * per_l2;
    t = t < -0.5F ? -0.5F : t;
    t = t > 0.5F ? 0.5F : t;
    px -= t * lx, py -= t * ly;
    const float ux = s00 * px + s01 * py, uy = s01 * px + s11 * py;
    const float gx = s00 * ux + s01 * uy, gy = s01 * ux + s11 * uy;
    const float r = std::sqrt(ux * ux + uy * uy);
    const float d = (r - 1.0F) * r / (std::sqrt(gx * gx + gy * gy) + 1e-12F);
    out[i] = r < 1e-6F ? -radius : d;
  }
}

// What meets the outline from outside and is not the cloth (a line that the background does not know, a cue, a hand,
// another ball) is left out together with the outline it meets.
void mask_intruders(Plane& plane, const Swept& swept, const std::vector<float>& distances) {
  const auto n = static_cast<std::size_t>(plane.count());
  std::array<std::vector<float>, kMaskSectors> off;
  std::vector<float> all;
  std::vector<signed char> sectors(n, -1);
  const auto outside = static_cast<float>(2.0 + plane.blur);
  const auto sector_of = [&](Eigen::Index e) { return swept.sector(plane.x[e], plane.y[e]); };
  for (std::size_t i = 0; i < n; ++i) {
    if (distances[i] < outside) continue;
    const auto e = static_cast<Eigen::Index>(i);
    sectors[i] = static_cast<signed char>(sector_of(e));
    const float d = plane.value[e] - plane.bare[e];
    off[static_cast<std::size_t>(sectors[i])].push_back(d);
    all.push_back(d);
  }
  if (all.size() < 20) return;
  // The cloth's usual difference from what is expected, its shadow included.
  const float usual = upper_median(all);
  for (float& v : all) v = std::abs(v - usual);
  const float limit = std::max(6.0F * static_cast<float>(plane.noise), 5.0F * 1.4826F * upper_median(all)) + 4.0F;
  std::array<bool, kMaskSectors> bad{};
  int count = 0;
  for (std::size_t i = 0; i < kMaskSectors; ++i) {
    int strange = 0;
    for (const float v : off[i]) strange += v - usual > limit || v - usual < -2.5F * limit ? 1 : 0;
    bad[i] = !off[i].empty() && 4 * strange > static_cast<int>(off[i].size());
    count += bad[i] ? 1 : 0;
  }
  if (count == 0 || count > kMaskSectors * 3 / 4) return;
  std::vector<char> good(n, 1);
  for (std::size_t i = 0; i < n; ++i) {
    if (distances[i] <= kInRim) continue;
    const auto k = static_cast<std::size_t>(sectors[i] >= 0 ? sectors[i] : sector_of(static_cast<Eigen::Index>(i)));
    if (bad[k] || bad[(k + 1) % kMaskSectors] || bad[(k + kMaskSectors - 1) % kMaskSectors]) good[i] = 0;
  }
  plane.keep(good);
}

// Where light falls in slantwise a bright ball's shadow ends as sharply as the ball does, and no smooth shading of the
// cloth explains it. On its way, led by what it looked like just before, the ball is fitted deeper and deeper into it
// (a white on blue cloth was told 10 mm off). What is so much darker than the cloth is no part of a ball brighter than
// it: it is left out.
void leave_out_shadow(Plane& plane, std::vector<float>& distances, float radius) {
  // Chosen; on the clip above, with a shadow of 0.6, 0.5, 0.4 and none left out: 2.1, 2.1, 2.5 and 5.3 mm RMS.
  constexpr float kInside = -0.3F;      // radii
  constexpr float kBright = 1.5F;       // of the cloth's level: a bright ball,
  constexpr float kBrightNoise = 6.0F;  // and so many times the noise beyond it
  constexpr float kShadow = 0.5F;       // of the cloth's level: its shadow at most,
  constexpr float kShadowNoise = 3.0F;  // and so many times the noise below the cloth
  const auto n = static_cast<std::size_t>(plane.count());
  std::vector<float> inside, cloth;
  for (std::size_t i = 0; i < n; ++i) {
    const auto e = static_cast<Eigen::Index>(i);
    (distances[i] < kInside * radius ? inside : cloth)
        .push_back(distances[i] < kInside * radius ? plane.value[e] : plane.bare[e]);
  }
  constexpr std::size_t kFewest = 10;
  if (inside.size() < kFewest || cloth.size() < kFewest) return;
  const auto noise = static_cast<float>(plane.noise);
  const float level = upper_median(inside), bare = upper_median(cloth);
  if (level < kBright * bare || level < bare + kBrightNoise * noise) return;
  std::vector<char> good(n, 1);
  for (std::size_t i = 0; i < n; ++i) {
    const auto e = static_cast<Eigen::Index>(i);
    good[i] = plane.value[e] > std::min(kShadow * plane.bare[e], plane.bare[e] - kShadowNoise * noise);
  }
  plane.keep(good);
  std::size_t kept = 0;
  for (std::size_t i = 0; i < n; ++i)
    if (good[i]) distances[kept++] = distances[i];
  distances.resize(kept);
}

}  // namespace

Plane collect(const View& view, PlaneKind kind, const Geometry& g, const Vec2& smear, double search,
              std::span<const Ellipse> others, bool on_its_way) {
  const bool luma = kind == PlaneKind::luma;
  const cv::Mat& img = luma ? view.luma : kind == PlaneKind::cb ? view.cb : view.cr;
  const cv::Mat& bare = luma ? view.bare_luma : kind == PlaneKind::cb ? view.bare_cb : view.bare_cr;
  Plane plane;
  plane.chroma = !luma;
  plane.noise = luma ? view.noise_luma : view.noise_chroma;
  plane.blur = luma ? view.blur : std::sqrt(view.blur * view.blur + kChromaSubsampling);

  const double per = luma ? 1 : 2, length = smear.norm();
  const double reach = std::max(4.0, 0.65 * g.ellipse.radius) + search;
  const Vec2 box = g.ellipse.half_box() + 0.5 * smear.cwiseAbs() + Vec2::Constant(reach);
  const Vec2 low = (g.ellipse.centre - box) / per, high = (g.ellipse.centre + box) / per;
  const int x0 = std::max(0, static_cast<int>(low.x())), x1 = std::min(img.cols - 1, static_cast<int>(high.x()) + 1);
  const int y0 = std::max(0, static_cast<int>(low.y())), y1 = std::min(img.rows - 1, static_cast<int>(high.y()) + 1);
  const auto farthest = static_cast<float>(reach);
  // Deep inside a ball at rest there is nothing of its edge.
  const float deepest = length > 1 ? -1e9F : static_cast<float>(-std::max(4.5, 0.55 * g.ellipse.radius) - search);
  const auto near = static_cast<float>(kNearEdge + search);
  const Swept swept(g, smear);
  const float zero = luma ? 16.0F : 128.0F;
  std::vector<float> xs, ys, values, bares, distances;
  const int across = std::max(0, x1 - x0 + 1);
  for (auto* v : {&xs, &ys, &values, &bares, &distances})
    v->reserve(static_cast<std::size_t>(across) * static_cast<std::size_t>(std::max(0, y1 - y0 + 1)));
  std::vector<float> here(static_cast<std::size_t>(across));
  for (int y = y0; y <= y1; ++y) {
    const Vec2 first = luma ? Vec2(x0, y) : chroma_place(x0, y, view.chroma_offset);
    swept.distances(static_cast<float>(first.x()), static_cast<float>(per), static_cast<float>(first.y()), across,
                    here.data());
    const auto* row = img.ptr<std::uint8_t>(y);
    const auto* bare_row = bare.ptr<float>(y);
    for (int x = x0; x <= x1; ++x) {
      const float d = here[static_cast<std::size_t>(x - x0)];
      if (d > farthest || d < deepest || (luma && d > near && ((x | y) & 1) != 0)) continue;
      const Vec2 p(first.x() + per * (x - x0), first.y());
      bool free = true;
      for (const Ellipse& other : others)
        if ((p - other.centre).squaredNorm() < 4 * other.radius * other.radius && other.distance(p) < 1.5 * plane.blur)
          free = false;
      if (!free) continue;
      xs.push_back(static_cast<float>(p.x()));
      ys.push_back(static_cast<float>(p.y()));
      values.push_back(static_cast<float>(row[x]) - zero);
      bares.push_back((bare_row[x] - zero) * view.gain.at(p.x(), p.y()));
      distances.push_back(d);
    }
  }
  const auto n = static_cast<Eigen::Index>(xs.size());
  plane.x = Eigen::Map<Eigen::ArrayXf>(xs.data(), n);
  plane.y = Eigen::Map<Eigen::ArrayXf>(ys.data(), n);
  plane.value = Eigen::Map<Eigen::ArrayXf>(values.data(), n);
  plane.bare = Eigen::Map<Eigen::ArrayXf>(bares.data(), n);
  plane.weight = Eigen::ArrayXf::Ones(n);
  plane.residual = Eigen::ArrayXf::Zero(n);
  if (luma && on_its_way) leave_out_shadow(plane, distances, static_cast<float>(g.ellipse.radius));
  mask_intruders(plane, swept, distances);
  return plane;
}

}  // namespace baizetrace::sight
