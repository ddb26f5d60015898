#include "camera/outline.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <opencv2/calib3d.hpp>

namespace baizetrace::camera {

namespace {
// Lenses that phones have: focal length over the picture's longer side, and the distortion that goes with it.
struct LensGuess {
  double focal, k1, k2;
};
constexpr std::array<LensGuess, 5> kLenses{
    {{0.42, -0.30, 0.10}, {0.50, -0.28, 0.09}, {0.65, -0.06, 0.02}, {0.80, 0.0, 0.0}, {1.05, 0.0, 0.0}}};
constexpr double kNearPocket = 0.16;  // m: the cloth's border turns away from the straight there
constexpr double kFollows = 0.010;    // m: a border point this near to the model's border follows it
constexpr double kBorderSd = 1.5;     // px: a mask's border is a pixel of the half-size picture
constexpr std::size_t kMostPoints = 900;
constexpr double kReadings = 60;  // that a whole border comes to: a mask's border errs alike over long stretches
// Where a side is out of sight: how much of the table, from its cloth's edge on, m.
constexpr std::array<double, 2> kHiddenDeep{0.08, 0.22};
constexpr std::size_t kFewerPoints = 300;  // there are many such guesses
constexpr double kCornersFollow = 0.3;     // of the border: less is another region
constexpr double kWellFitted = 1.3;        // px: about the grain of the half-size mask
// A bed's border is the foot of the cushions, or the shadow there, so far inside the noses; from beyond, a nose itself.
constexpr double kFoot = 0.008, kFootU = 0.006;  // m
constexpr double kBin = 0.10;                    // m: coverage is counted in pieces of this length

Beliefs beliefs_about(const ClothRegion& cloth, const table::Spec& spec) {
  Beliefs b;
  b.half_width = spec.half_width;
  b.half_length = spec.half_length;
  if (cloth.at == ClothBorder::bed) b.u_nose_bias.fill(kFootU);
  return b;
}
Kind kind_of(const ClothRegion& cloth) { return cloth.at == ClothBorder::bed ? Kind::nose : Kind::rail; }

Unknowns start(const table::Spec& spec, int width, int height, const LensGuess& lens) {
  Unknowns x;
  x.width = width;
  x.height = height;
  const double f = lens.focal * std::max(width, height);
  x.lens = {f, f, 0.5 * (width - 1), 0.5 * (height - 1), {lens.k1, lens.k2, 0, 0, 0}};
  x.half_width = spec.half_width;
  x.half_length = spec.half_length;
  x.nose_height = spec.nose_height;
  return x;
}

// Pose from four points of a plane z whose pixels are known. False: they are no picture of a plane seen from above.
bool pose_from_plane(Unknowns& x, const std::array<Vec2, 4>& in_plane, double z, const std::array<Vec2, 4>& pixels) {
  Camera c = x.camera();
  c.pose = Pose{};
  std::vector<cv::Point2d> from, to;
  for (std::size_t i = 0; i < 4; ++i) {
    const Vec3 ray = c.ray(pixels[i]);
    if (!(ray.z() > 0.02)) return false;
    from.emplace_back(in_plane[i].x(), in_plane[i].y());
    to.emplace_back(ray.x() / ray.z(), ray.y() / ray.z());
  }
  const cv::Mat h = cv::findHomography(from, to, 0);
  if (h.empty()) return false;
  Mat3 m;
  for (int r = 0; r < 3; ++r)
    for (int k = 0; k < 3; ++k) m(r, k) = h.at<double>(r, k);
  const double scale = 2 / (m.col(0).norm() + m.col(1).norm());
  m *= m(2, 2) < 0 ? -scale : scale;  // the table is in front of the lens
  Mat3 R;
  R.col(0) = m.col(0);
  R.col(1) = m.col(1);
  R.col(2) = m.col(0).cross(m.col(1));
  const Eigen::JacobiSVD<Mat3> svd(R, Eigen::ComputeFullU | Eigen::ComputeFullV);
  R = svd.matrixU() * svd.matrixV().transpose();
  if (R.determinant() < 0) return false;
  x.pose.R = R;
  x.pose.t = m.col(2) - z * R.col(2);
  return x.pose.position().z() > 0.3;  // from above
}

double straight_half(const Unknowns& x, int side) {
  return side == kBaulk || side == kTop ? x.half_width : x.half_length;
}

// The rectangle that a border is thought to be, roughly: half its width and length, its height above the bed. m.
std::array<double, 3> rectangle(const Guess& g) {
  if (g.border_is == Kind::nose) return {g.x.half_width - kFoot, g.x.half_length - kFoot, 0};
  return {g.x.half_width + g.x.rail_offset, g.x.half_length + g.x.rail_offset, g.x.rail_height};
}

struct Nearest {
  int side = 0;
  double along = 0, out = 0;  // out: beyond the model's border, m
  bool straight = false;
};
Nearest nearest_side(const Unknowns& x, const Vec2& p, double offset) {
  const double w = x.half_width + offset, l = x.half_length + offset;
  const std::array<double, 4> out{-p.y() - l, p.x() - w, p.y() - l, -p.x() - w};
  Nearest n;
  n.side = static_cast<int>(std::max_element(out.begin(), out.end()) - out.begin());
  n.out = out[static_cast<std::size_t>(n.side)];
  n.along = n.side == kBaulk || n.side == kTop ? p.x() : p.y();
  n.straight = std::abs(n.along) < straight_half(x, n.side) - kNearPocket;
  if (n.side == kLeft || n.side == kRight) n.straight = n.straight && std::abs(n.along) > kNearPocket;
  return n;
}

// Where a point of a region's border puts the cloth's outer edge (rail) or a nose (nose), on its plane; nullopt: the
// ray meets no table.
std::optional<Vec2> put_by(const Camera& camera, const Unknowns& x, const Vec2& pixel, Kind kind) {
  if (kind == Kind::rail) return camera.on_plane(pixel, x.rail_height);
  auto p = camera.on_plane(pixel, 0);
  if (!p) return std::nullopt;
  const Nearest n = nearest_side(x, *p, -kFoot);
  if (x.tangents()[static_cast<std::size_t>(n.side)] < 0) return camera.on_plane(pixel, x.nose_height);
  (n.side == kBaulk || n.side == kTop ? p->y() : p->x()) += n.side == kBaulk || n.side == kLeft ? -kFoot : kFoot;
  return p;
}
}  // namespace

std::vector<Mark> border_marks(const Unknowns& x, const std::vector<Vec2>& border, Kind kind, double reach) {
  std::vector<Mark> marks;
  const Camera camera = x.camera();
  const bool nose = kind == Kind::nose;
  for (const Vec2& pixel : border) {
    const auto p = put_by(camera, x, pixel, kind);
    if (!p) continue;
    const Nearest n = nearest_side(x, *p, nose ? 0 : x.rail_offset);
    if (!n.straight || n.side == x.hidden_side || std::abs(n.out) > reach) continue;
    const auto at = nose ? camera.project(Vec3(p->x(), p->y(), x.nose_height)) : pixel;
    if (!at) continue;
    Mark m{kind, n.side, n.along, *at, {}, kBorderSd};
    const Mat2 j = camera.plane_jacobian(x.point(m));
    const Vec2 tangent = n.side == kBaulk || n.side == kTop ? Vec2(j.col(0)) : Vec2(j.col(1));
    m.normal = Vec2(-tangent.y(), tangent.x()).normalized();
    marks.push_back(m);
  }
  return marks;
}

namespace {
void judge(Guess& g, const std::vector<Vec2>& border) {
  const Camera camera = g.x.camera();
  std::vector<std::vector<char>> seen(4);
  int bins = 0;
  for (int s = 0; s < 4; ++s) {
    if (s == g.x.hidden_side) continue;
    seen[static_cast<std::size_t>(s)].resize(static_cast<std::size_t>(2 * straight_half(g.x, s) / kBin) + 1, 0);
    const double pockets = s == kLeft || s == kRight ? 4 * kNearPocket : 2 * kNearPocket;
    bins += static_cast<int>((2 * straight_half(g.x, s) - pockets) / kBin);
  }
  double sum = 0;
  int count = 0, covered = 0;
  for (const Vec2& pixel : border) {
    const auto p = put_by(camera, g.x, pixel, g.border_is);
    if (!p) continue;
    const Nearest n = nearest_side(g.x, *p, g.border_is == Kind::nose ? 0 : g.x.rail_offset);
    if (!n.straight || n.side == g.x.hidden_side || std::abs(n.out) > kFollows) continue;
    const auto bin = static_cast<std::size_t>((n.along + straight_half(g.x, n.side)) / kBin);
    char& cell = seen[static_cast<std::size_t>(n.side)][bin];
    covered += cell == 0;
    cell = 1;
    const double px = n.out * camera.lens.fx / (camera.pose.position().z() + 0.01);
    sum += px * px;
    ++count;
  }
  g.coverage = std::min(1.0, static_cast<double>(covered) / bins);
  g.rms_pixels = count > 0 ? std::sqrt(sum / count) : 1e9;
}

void refine_on_border(Guess& g, const std::vector<Vec2>& border, const Beliefs& beliefs) {
  SolveOptions how;
  how.size = false;
  how.lens_fine = false;
  how.iterations = 8;
  for (int round = 0; round < 14; ++round) {
    how.lens_shape = round >= 4;
    const double reach = std::max(0.02, 0.35 * std::pow(0.72, round));
    std::vector<Mark> marks = border_marks(g.x, border, g.border_is, reach);
    // So many points are not so many readings, or they would outvote all that is believed of lenses and cushions.
    const double grain = std::sqrt(std::max(1.0, static_cast<double>(marks.size()) / kReadings));
    for (Mark& m : marks) m.sd *= grain;
    how.loss = (round < 4 ? 6 : 2) / grain;
    if (!solve(g.x, marks, beliefs, how).usable) return;
  }
}

std::vector<Vec2> thinned(const std::vector<Vec2>& border, std::size_t most = kMostPoints) {
  std::vector<Vec2> out;
  const std::size_t step = std::max<std::size_t>(1, border.size() / most);
  for (std::size_t i = 0; i < border.size(); i += step) out.push_back(border[i]);
  return out;
}

// The corners so that they run counter-clockwise seen from above, as the table's do (y down in the picture).
std::array<Vec2, 4> counter_clockwise(std::array<Vec2, 4> corners) {
  double area = 0;
  for (std::size_t i = 0; i < 4; ++i) area += cross(corners[i], corners[(i + 1) % 4]);
  if (area > 0) std::reverse(corners.begin(), corners.end());
  return corners;
}
}  // namespace

bool better(const Guess& a, const Guess& b) {
  return a.coverage - 0.02 * std::min(20.0, a.rms_pixels) > b.coverage - 0.02 * std::min(20.0, b.rms_pixels);
}

Unknowns other_end(const Unknowns& x) {
  Unknowns y = x;
  const Mat3 turn = Vec3(-1, -1, 1).asDiagonal();
  y.pose.R = x.pose.R * turn;
  std::swap(y.nose_bias[kBaulk], y.nose_bias[kTop]);
  std::swap(y.nose_bias[kLeft], y.nose_bias[kRight]);
  std::swap(y.rail_bias[kBaulk], y.rail_bias[kTop]);
  std::swap(y.rail_bias[kLeft], y.rail_bias[kRight]);
  if (x.hidden_side >= 0) y.hidden_side = (x.hidden_side + 2) % 4;
  for (Vec2& b : y.balls) b = -b;
  return y;
}

std::vector<Guess> guess_from_cloth(const ClothRegion& cloth, const table::Spec& spec, int width, int height) {
  const std::vector<Vec2> border = thinned(cloth.border);
  const Beliefs beliefs = beliefs_about(cloth, spec);
  const std::array<Vec2, 4> corners = counter_clockwise(cloth.corners);
  std::vector<Guess> guesses;
  for (int turn = 0; turn < 2; ++turn) {
    std::array<Vec2, 4> pixels;
    for (std::size_t i = 0; i < 4; ++i) pixels[i] = corners[(i + static_cast<std::size_t>(turn)) % 4];
    for (const LensGuess& lens : kLenses) {
      Guess g;
      g.x = start(spec, width, height, lens);
      g.border_is = kind_of(cloth);
      const auto [w, l, z] = rectangle(g);
      if (!pose_from_plane(g.x, {Vec2(-w, -l), Vec2(w, -l), Vec2(w, l), Vec2(-w, l)}, z, pixels)) continue;
      refine_on_border(g, border, beliefs);
      judge(g, border);
      g.border = border;
      guesses.push_back(g);
      if (g.coverage > 0.97 && g.rms_pixels < kWellFitted) turn = 2;  // nothing better is to be found
      if (turn == 2) break;
    }
  }
  std::stable_sort(guesses.begin(), guesses.end(), better);
  return guesses;
}

std::vector<Guess> guess_with_a_side_hidden(const ClothRegion& cloth, const table::Spec& spec, int width, int height) {
  const std::vector<Vec2> border = thinned(cloth.border, kFewerPoints);
  const Beliefs beliefs = beliefs_about(cloth, spec);
  const std::array<Vec2, 4> corners = counter_clockwise(cloth.corners);
  std::vector<Guess> guesses;
  for (std::size_t turn = 0; turn < 2; ++turn)
    for (std::size_t hidden = 0; hidden < 4; ++hidden) {
      std::array<Vec2, 4> pixels;
      for (std::size_t i = 0; i < 4; ++i) pixels[i] = corners[(i + turn) % 4];
      Guess best;
      for (const LensGuess& lens : {kLenses[0], kLenses[2], kLenses[4]})
        for (const double deep : kHiddenDeep) {
          Guess g;
          g.x = start(spec, width, height, lens);
          g.x.hidden_side = static_cast<int>(hidden);  // corners and sides are counted alike: from the baulk's left
          g.border_is = kind_of(cloth);
          const auto [w, l, z] = rectangle(g);
          const std::array<Vec2, 4> whole{Vec2(-w, -l), Vec2(w, -l), Vec2(w, l), Vec2(-w, l)};
          std::array<Vec2, 4> cut = whole;
          const std::size_t a = hidden, b = (hidden + 1) % 4;
          cut[a] += deep * (whole[(a + 3) % 4] - whole[a]).normalized();
          cut[b] += deep * (whole[(b + 1) % 4] - whole[b]).normalized();
          if (!pose_from_plane(g.x, cut, z, pixels)) continue;
          refine_on_border(g, border, beliefs);
          judge(g, border);
          if (better(g, best)) best = g;
        }
      best.border = border;
      if (best.coverage > 0) guesses.push_back(best);
    }
  std::stable_sort(guesses.begin(), guesses.end(), better);
  return guesses;
}

std::vector<Guess> guess_from_corners(const std::array<Vec2, 4>& corners, const std::vector<ClothRegion>& regions,
                                      const table::Spec& spec, int width, int height) {
  std::vector<Guess> guesses;
  const Beliefs beliefs = beliefs_about({}, spec);
  for (const LensGuess& lens : kLenses) {
    Guess g;
    g.x = start(spec, width, height, lens);
    const double w = g.x.half_width, l = g.x.half_length;
    if (!pose_from_plane(g.x, {Vec2(-w, -l), Vec2(w, -l), Vec2(w, l), Vec2(-w, l)}, spec.nose_height, corners))
      continue;
    guesses.push_back(g);
    for (const ClothRegion& region : regions) {
      Guess on_border = g;
      const auto border = thinned(region.border);
      refine_on_border(on_border, border, beliefs);
      judge(on_border, border);
      on_border.border = border;
      if (on_border.coverage > kCornersFollow) guesses.push_back(on_border);
    }
  }
  std::stable_sort(guesses.begin(), guesses.end(), better);
  return guesses;
}

}  // namespace baizetrace::camera
