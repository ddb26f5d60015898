#include "camera/watch.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "camera/lens_model.hpp"

namespace baizetrace::camera {

namespace {
constexpr int kHalf = 4;              // px: a patch is 9 x 9
constexpr int kSide = 2 * kHalf + 1;  //
constexpr int kLevels = 5;            // 1 .. 1/16
constexpr int kCell = 20;             // px: one patch a cell of the picture
constexpr int kCoarseCell = 6;        //
constexpr int kMost = 200, kMostCoarse = 300;
constexpr int kBlocks = 8;              // patches are spread over so many by so many parts of the picture
constexpr double kLeastContrast = 2.5;  // levels, sd of a patch
constexpr double kBeyond = 0.12;        // m outside the noses: rails and pockets
constexpr double kOffNose = 0.02;       // m: nearer to the nose than this is nose
constexpr double kMarkReach = 0.015;    // m about the baulk line and the D
constexpr double kSpotReach = 0.045;    // m about a spot: a ball may stand there
constexpr double kRecognised = 0.7;     // correlation of a patch with the picture
constexpr double kStart = 0.4;          // and while it still may lie off
constexpr double kFits = 0.35;          // px at the level: it lies where the pose has it
constexpr double kFloor = 0.05;         // px: what a patch cannot be told better than, compression and shake
constexpr double kRobust = 2.5;         // standard deviations, Cauchy
constexpr double kLeastShare = 0.30;    // of the patches in the picture
constexpr int kLeastPatches = 16;
constexpr double kLeastSure = 0.20;  // px
constexpr double kSurely = 0.6;      // share of the patches: no other place is tried
constexpr double kDone = 0.004;      // px: a step smaller than this ends the search
// What a knocked mount does: mostly turns. Weak, and only against ill-posed cases.
constexpr double kTurnU = 0.2;    // rad
constexpr double kShiftU = 0.03;  // m

using Vec6 = Eigen::Matrix<double, 6, 1>;
using Mat6 = Eigen::Matrix<double, 6, 6>;
using Mat26 = Eigen::Matrix<double, 2, 6>;

// Pixel of a point and how a step (w, v) of the pose moves it. False: not in front of the lens.
bool project_with_slopes(const Camera& c, const Pose& pose, const Vec3& in_table, Vec2& pixel, Mat26* slopes) {
  const Vec3 p = pose.R * in_table + pose.t;
  if (!(p.z() > 0.05)) return false;
  const double x = p.x() / p.z(), y = p.y() / p.z();
  if (!before_fold(c.lens.distortion, x * x + y * y)) return false;
  double xd, yd;
  distort(c.lens.distortion, x, y, xd, yd);
  pixel = {c.lens.fx * xd + c.lens.cx, c.lens.fy * yd + c.lens.cy};
  if (!slopes) return true;
  Eigen::Matrix<double, 2, 3> pinhole;
  pinhole << 1 / p.z(), 0, -x / p.z(), 0, 1 / p.z(), -y / p.z();
  const Eigen::Matrix<double, 2, 3> by_point =
      Vec2(c.lens.fx, c.lens.fy).asDiagonal() * distort_jacobian(c.lens.distortion, x, y) * pinhole;
  Mat3 cross;
  cross << 0, p.z(), -p.y(), -p.z(), 0, p.x(), p.y(), -p.x(), 0;  // minus [p]x: d (w x p) / d w
  slopes->leftCols<3>() = by_point * cross;
  slopes->rightCols<3>() = by_point;
  return true;
}

// A square of the picture about a place between its pixels. False: reaches outside.
template <class T>
bool cut(const cv::Mat& m, const Vec2& at, std::array<float, kSide * kSide>& out) {
  const double x = at.x() - kHalf, y = at.y() - kHalf;
  const int x0 = static_cast<int>(std::floor(x)), y0 = static_cast<int>(std::floor(y));
  if (x0 < 0 || y0 < 0 || x0 + kSide + 1 > m.cols || y0 + kSide + 1 > m.rows) return false;
  const auto a = static_cast<float>(x - x0), b = static_cast<float>(y - y0);
  const float w00 = (1 - a) * (1 - b), w10 = a * (1 - b), w01 = (1 - a) * b, w11 = a * b;
  float* to = out.data();
  for (int j = 0; j < kSide; ++j) {
    const T* p = m.ptr<T>(y0 + j) + x0;
    const T* q = m.ptr<T>(y0 + j + 1) + x0;
    for (int i = 0; i < kSide; ++i)
      *to++ = w00 * static_cast<float>(p[i]) + w10 * static_cast<float>(p[i + 1]) + w01 * static_cast<float>(q[i]) +
              w11 * static_cast<float>(q[i + 1]);
  }
  return true;
}

// Of a square's values less their mean: products with a patch's value and slopes, and their squares.
struct Products {
  float along = 0, energy = 0, bx = 0, by = 0;
};
__attribute__((target_clones("avx2", "default"))) Products products_of(const float* v, const float* value,
                                                                       const float* dx, const float* dy) {
  constexpr int kLanes = 8, kAll = kSide * kSide, kWhole = kAll / kLanes * kLanes;  // so many sums side by side
  float sum[kLanes] = {}, along[kLanes] = {}, energy[kLanes] = {}, bx[kLanes] = {}, by[kLanes] = {};
  for (int i = 0; i < kWhole; i += kLanes)
    for (int j = 0; j < kLanes; ++j) sum[j] += v[i + j];
  float mean = 0;
  for (const float s : sum) mean += s;
  for (int i = kWhole; i < kAll; ++i) mean += v[i];
  mean /= kAll;
  for (int i = 0; i < kWhole; i += kLanes)
    for (int j = 0; j < kLanes; ++j) {
      const float e = v[i + j] - mean;
      along[j] += e * value[i + j];
      energy[j] += e * e;
      bx[j] += e * dx[i + j];
      by[j] += e * dy[i + j];
    }
  Products out;
  for (int i = kWhole; i < kAll; ++i) {
    const float e = v[i] - mean;
    out.along += e * value[i];
    out.energy += e * e;
    out.bx += e * dx[i];
    out.by += e * dy[i];
  }
  for (int j = 0; j < kLanes; ++j) out.along += along[j], out.energy += energy[j], out.bx += bx[j], out.by += by[j];
  return out;
}

Vec2 at_level(const Vec2& pixel, double scale) { return (pixel + Vec2(0.5, 0.5)) * scale - Vec2(0.5, 0.5); }
Vec2 from_level(const Vec2& pixel, double scale) { return (pixel + Vec2(0.5, 0.5)) / scale - Vec2(0.5, 0.5); }

// The height of what is seen at this place of the plan; nullopt: not to be watched.
std::optional<double> height_at(const table::Table& table, const Vec2& p) {
  const double in_x = table.half_width() - std::abs(p.x()), in_y = table.half_length() - std::abs(p.y());
  if (in_x < -kBeyond || in_y < -kBeyond) return std::nullopt;
  if (in_x < kOffNose || in_y < kOffNose) return table.nose_height();
  for (const auto& [name, spot] : table.spots())
    if ((p - spot).norm() < kSpotReach) return std::nullopt;
  if (!table.spec().baulk_line) return std::nullopt;
  const Vec2 off = p - Vec2(0, table.baulk_line_y());
  if (std::abs(off.y()) < kMarkReach) return 0.0;
  const double d = table.spec().d_radius.value_or(0);
  if (off.y() < 0 && d > 0 && std::abs(off.norm() - d) < kMarkReach) return 0.0;
  return std::nullopt;
}
}  // namespace

// How far one patch lies off.
struct Watch::Reading {
  Mat26 slopes;             // of its pixel, at the level
  Mat2 information;         // px^-2
  Vec2 off = Vec2::Zero();  // px, from where the pose has it to where it is
  double alike = 0;         // correlation
  Vec2 strong = Vec2::Zero();
  double weight = 1;
};

Pose stepped(const Pose& pose, const Vec3& w, const Vec3& v) {
  Pose out = pose;
  if (w.norm() > 0) {
    const Mat3 turn = Eigen::AngleAxisd(w.norm(), w.normalized()).toRotationMatrix();
    out.R = turn * pose.R;
    out.t = turn * pose.t;
    out.R = Eigen::Quaterniond(out.R).normalized().toRotationMatrix();
  }
  out.t += v;
  return out;
}

Watch::Watch(const cv::Mat& reference, const Camera& camera, const table::Table* table) : camera_(camera) {
  cv::Mat picture = reference;
  for (int l = 0; l < kLevels; ++l) {
    Level level;
    level.scale = 1.0 / (1 << l);
    level.picture = picture;
    choose(level, table, l == 0 ? kCell : kCoarseCell, l == 0 ? kMost : kMostCoarse);
    levels_.push_back(std::move(level));
    if (picture.cols < 64 || picture.rows < 64) break;
    cv::Mat half;
    cv::resize(picture, half, {picture.cols / 2, picture.rows / 2}, 0, 0, cv::INTER_AREA);
    picture = half;
  }
  if (levels_.size() > kWholeLevel) whole_ = levels_[kWholeLevel].picture.clone();
  for (Level& l : levels_) l.picture.release();
  bed_ = bed_places(camera, table);
}

void Watch::choose(Level& level, const table::Table* table, int cell, int most) const {
  const cv::Mat& m = level.picture;
  cv::Mat gx, gy, energy;
  cv::Sobel(m, gx, CV_32F, 1, 0, 3, 0.125);
  cv::Sobel(m, gy, CV_32F, 0, 1, 3, 0.125);
  energy = gx.mul(gx) + gy.mul(gy);
  cv::boxFilter(energy, energy, CV_32F, {kSide, kSide});
  struct Choice {
    float strength;
    Vec2 at;  // px of the level
    Vec3 in_table;
    int block;
  };
  constexpr int kEdge = kHalf + 3;
  const int rows_of_cells = std::max(0, (m.rows - 2 * kEdge - 1) / cell);
  std::vector<std::vector<Choice>> by_row(static_cast<std::size_t>(rows_of_cells));
  cv::parallel_for_(cv::Range(0, rows_of_cells), [&](const cv::Range& range) {
    for (int row = range.start; row < range.end; ++row) {
      const int y0 = kEdge + row * cell;
      for (int x0 = kEdge; x0 + cell < m.cols - kEdge; x0 += cell) {
        Choice best{0, {}, {}, 0};
        for (int y = y0; y < y0 + cell; y += 2)
          for (int x = x0; x < x0 + cell; x += 2) {
            const float e = energy.at<float>(y, x);
            if (!(e > best.strength)) continue;
            const Vec2 pixel = from_level(Vec2(x, y), level.scale);
            double z = 0;
            auto at = camera_.on_plane(pixel, table ? table->nose_height() : 0);
            if (!at) continue;
            if (table) {
              const auto height = height_at(*table, *at);
              if (!height) continue;
              z = *height;
              at = camera_.on_plane(pixel, z);
              if (!at) continue;
            }
            best = {e, Vec2(x, y), Vec3(at->x(), at->y(), z), 0};
          }
        if (!(best.strength > 0)) continue;
        best.block = static_cast<int>(best.at.x() * kBlocks / m.cols) +
                     kBlocks * static_cast<int>(best.at.y() * kBlocks / m.rows);
        by_row[static_cast<std::size_t>(row)].push_back(best);
      }
    }
  });
  std::vector<Choice> all;
  for (const auto& row : by_row) all.insert(all.end(), row.begin(), row.end());
  std::stable_sort(all.begin(), all.end(), [](const Choice& a, const Choice& b) { return a.strength > b.strength; });
  std::vector<int> taken(kBlocks * kBlocks, 0);
  const int share = std::max(4, 3 * most / (kBlocks * kBlocks));
  std::array<float, kSide * kSide> v, left, right, up, down;
  for (const Choice& c : all) {
    if (static_cast<int>(level.patches.size()) >= most) break;
    if (taken[static_cast<std::size_t>(c.block)] >= share) continue;
    if (!cut<float>(m, c.at, v) || !cut<float>(m, c.at - Vec2(1, 0), left) ||
        !cut<float>(m, c.at + Vec2(1, 0), right) || !cut<float>(m, c.at - Vec2(0, 1), up) ||
        !cut<float>(m, c.at + Vec2(0, 1), down))
      continue;
    Patch p;
    p.in_table = c.in_table;
    constexpr auto n = static_cast<std::size_t>(kSide * kSide);
    p.value.assign(v.begin(), v.end());
    p.dx.resize(n);
    p.dy.resize(n);
    for (std::size_t i = 0; i < n; ++i) {
      p.dx[i] = 0.5F * (right[i] - left[i]);
      p.dy[i] = 0.5F * (down[i] - up[i]);
    }
    const auto centre = [](std::vector<float>& a) {
      float mean = 0;
      for (const float x : a) mean += x;
      mean /= static_cast<float>(a.size());
      for (float& x : a) x -= mean;
    };
    const auto dot = [](const std::vector<float>& a, const std::vector<float>& b) {
      float s = 0;
      for (std::size_t i = 0; i < a.size(); ++i) s += a[i] * b[i];
      return s;
    };
    centre(p.value);
    p.energy = static_cast<double>(dot(p.value, p.value));
    if (std::sqrt(p.energy / static_cast<double>(n)) < kLeastContrast) continue;
    for (std::vector<float>* d : {&p.dx, &p.dy}) {
      centre(*d);
      const float k = dot(*d, p.value) / static_cast<float>(p.energy);
      for (std::size_t i = 0; i < n; ++i) (*d)[i] -= k * p.value[i];
    }
    p.structure << static_cast<double>(dot(p.dx, p.dx)), static_cast<double>(dot(p.dx, p.dy)),
        static_cast<double>(dot(p.dx, p.dy)), static_cast<double>(dot(p.dy, p.dy));
    ++taken[static_cast<std::size_t>(c.block)];
    level.patches.push_back(std::move(p));
  }
}

std::vector<Vec3> bed_places(const Camera& camera, const table::Table* table) {
  std::vector<Vec3> bed;
  const double w = table ? table->half_width() : 0, l = table ? table->half_length() : 0;
  for (int i = -1; i <= 1; ++i)
    for (int j = -2; j <= 2; ++j) {
      if (table) {
        bed.emplace_back(0.95 * w * i, 0.475 * l * j, 0);
      } else if (const auto at =
                     camera.on_plane(Vec2((0.5 + 0.45 * i) * camera.width, (0.5 + 0.225 * j) * camera.height), 0)) {
        bed.emplace_back(at->x(), at->y(), 0);
      }
    }
  return bed;
}

Apart apart(const Camera& camera, const std::vector<Vec3>& bed, const Pose& a, const Pose& b) {
  Apart out;
  int n = 0;
  for (const Vec3& p : bed) {
    Vec2 u, v;
    if (!project_with_slopes(camera, a, p, u, nullptr) || !project_with_slopes(camera, b, p, v, nullptr)) continue;
    Camera c = camera;
    c.pose = a;
    const double per_metre = std::sqrt(std::abs(c.plane_jacobian(p).determinant()));
    out.pixels += (u - v).squaredNorm();
    out.metres += (u - v).squaredNorm() / (per_metre * per_metre);
    ++n;
  }
  if (n > 0) out = {std::sqrt(out.pixels / n), std::sqrt(out.metres / n)};
  return out;
}

std::vector<Vec2> Watch::shifts(const Pose& a, const Pose& b) const {
  std::vector<Vec2> out;
  for (const Vec3& p : bed_) {
    Vec2 u, v;
    const bool both = project_with_slopes(camera_, a, p, u, nullptr) && project_with_slopes(camera_, b, p, v, nullptr);
    out.push_back(both ? Vec2(v - u) : Vec2(0, 0));
  }
  return out;
}

Glance Watch::align(const Level& level, const cv::Mat& luma, Pose pose, int rounds, bool turn_only) const {
  Glance out;
  const Pose start = pose;
  out.pose = pose;
  std::vector<Reading> readings;
  std::array<float, kSide * kSide> v;
  Mat6 information = Mat6::Zero();
  int in_picture = 0;
  for (int round = 0; round < rounds; ++round) {
    const bool last = round + 1 == rounds;
    readings.clear();
    in_picture = 0;
    for (const Patch& p : level.patches) {
      Vec2 pixel;
      Reading r;
      if (!project_with_slopes(camera_, pose, p.in_table, pixel, &r.slopes)) continue;
      r.slopes *= level.scale;
      if (!cut<std::uint8_t>(luma, at_level(pixel, level.scale), v)) continue;
      ++in_picture;
      constexpr int n = kSide * kSide;
      const auto [along, energy, bx, by] = products_of(v.data(), p.value.data(), p.dx.data(), p.dy.data());
      const double gain = static_cast<double>(along) / p.energy;
      r.alike = static_cast<double>(along) / std::sqrt(std::max(1e-6, p.energy * static_cast<double>(energy)));
      if (r.alike < kStart || gain < 0.2 || gain > 5) continue;
      // What the picture has where the patch is: gain (value + slopes . (here - where it is)).
      const Mat2 a = p.structure + 1e-6 * p.structure.trace() * Mat2::Identity();
      r.off = -a.ldlt().solve(Vec2(static_cast<double>(bx), static_cast<double>(by))) / gain;
      const double left = std::max(
          0.0, static_cast<double>(energy) - gain * gain * p.energy - gain * gain * r.off.dot(p.structure * r.off));
      const double noise2 = std::max(0.25, left / (n - 4));  // levels^2
      r.information = gain * gain / noise2 * p.structure;
      Eigen::SelfAdjointEigenSolver<Mat2> eigen;
      eigen.computeDirect(r.information);
      const double most = eigen.eigenvalues()[1];
      r.strong = eigen.eigenvectors().col(1);
      r.information /= 1 + kFloor * kFloor * most;
      // Slopes tell no more than a pixel or two.
      if (std::abs(r.off.dot(r.strong)) > 2.5) continue;
      readings.push_back(r);
    }
    if (static_cast<int>(readings.size()) < kLeastPatches) return out;
    // Robust fit of one step to all of them.
    Vec6 step = Vec6::Zero();
    for (int again = 0; again < 4; ++again) {
      information.setZero();
      information.topLeftCorner<3, 3>() += Mat3::Identity() / (kTurnU * kTurnU);
      information.bottomRightCorner<3, 3>() += Mat3::Identity() / (turn_only ? 1e-12 : kShiftU * kShiftU);
      Vec6 pull = Vec6::Zero();
      for (Reading& r : readings) {
        const Vec2 e = r.off - r.slopes * step;
        const double m2 = e.dot(r.information * e);
        // To begin with all count alike: where most agree is not known yet.
        const double scale = again == 0 ? 30 : kRobust;
        r.weight = r.alike / (1 + m2 / (scale * scale));
        const Mat26 wi = r.weight * r.information * r.slopes;
        information += r.slopes.transpose() * wi;
        pull += wi.transpose() * r.off;
      }
      step = information.ldlt().solve(pull);
    }
    const Pose next = stepped(pose, step.head<3>(), step.tail<3>());
    const double moved = apart(pose, next).pixels * level.scale;
    if (!std::isfinite(moved)) return out;
    pose = next;
    int fit = 0;
    double misfit2 = 0, weights = 0;
    for (const Reading& r : readings) {
      const Vec2 e = r.off - r.slopes * step;
      fit += r.alike > kRecognised && std::abs(e.dot(r.strong)) < kFits;
      misfit2 += r.weight * e.dot(r.information * e);
      weights += r.weight;
    }
    out.pose = pose;
    out.share = in_picture > 0 ? static_cast<double>(fit) / in_picture : 0;
    const Mat6 covariance = information.inverse() * std::max(1.0, misfit2 / std::max(1.0, weights));
    double u2 = 0;
    int n = 0;
    for (const Vec3& p : bed_) {
      Vec2 pixel;
      Mat26 slopes;
      if (!project_with_slopes(camera_, pose, p, pixel, &slopes)) continue;
      u2 += 0.5 * (slopes * covariance * slopes.transpose()).trace();
      ++n;
    }
    out.u_pixels = n > 0 ? std::sqrt(u2 / n) : 1e9;
    out.tells = fit >= kLeastPatches && 2 * in_picture > static_cast<int>(level.patches.size()) &&
                out.share >= kLeastShare && out.u_pixels < kLeastSure / level.scale;
    // One small step is told by the slopes as well as by looking again.
    if (moved < kDone || (last && moved < 0.1) || (round == 0 && moved < 0.05 && out.tells)) break;
    if (last && moved > 0.5) out.tells = false;
  }
  const Apart from = apart(start, out.pose);
  out.shift_pixels = from.pixels;
  out.shift = from.metres;
  if (!out.tells) out.pose = start;
  return out;
}

Glance Watch::glance(const cv::Mat& luma, const Pose& near) const {
  if (levels_.empty()) return {};
  return align(levels_[0], luma, near, 8, false);
}

// The turn of the camera that moves the picture's middle as the whole picture has moved: where its phases agree.
Vec3 Watch::whole_turn(const cv::Mat& small) const {
  cv::Mat now, window;
  small.convertTo(now, CV_32F);
  cv::createHanningWindow(window, now.size(), CV_32F);
  const cv::Point2d moved = cv::phaseCorrelate(whole_, now, window);
  const double scale = levels_[kWholeLevel].scale;
  return {-moved.y / scale / camera_.lens.fy, moved.x / scale / camera_.lens.fx, 0};
}

Glance Watch::search(const cv::Mat& luma, const Pose& near) const {
  std::vector<cv::Mat> pictures{luma};
  for (std::size_t l = 1; l < levels_.size(); ++l) {
    cv::Mat half;
    cv::resize(pictures.back(), half, {pictures.back().cols / 2, pictures.back().rows / 2}, 0, 0, cv::INTER_AREA);
    pictures.push_back(half);
  }
  Glance best;
  best.pose = near;
  const auto down_from = [&](std::size_t from, Pose pose) {
    Glance g;
    for (std::size_t l = from + 1; l-- > 0;) {
      g = align(levels_[l], pictures[l], pose, 12, l >= 3);
      pose = g.pose;
    }
    if (g.tells && (!best.tells || g.share > best.share)) best = g;
    return best.tells && best.share > kSurely;
  };
  // From several heights of the pyramid: small moves are lost in the coarsest pictures, large ones in the others. Last
  // from where the whole picture seems to have gone.
  bool done = false;
  for (std::size_t from = levels_.size(); from-- > 1 && !done;) done = down_from(from, near);
  if (!done && !whole_.empty()) down_from(kWholeLevel, stepped(near, whole_turn(pictures[kWholeLevel]), Vec3::Zero()));
  const Apart moved = apart(near, best.pose);
  best.shift_pixels = moved.pixels;
  best.shift = moved.metres;
  return best;
}

}  // namespace baizetrace::camera
