#include "camera/solve.hpp"

#include <ceres/ceres.h>
#include <ceres/rotation.h>
#include <glog/logging.h>

#include <Eigen/Dense>

#include "camera/lens_model.hpp"
#include "camera/size_belief.hpp"

namespace baizetrace::camera {

namespace {
// What is believed of a phone's lens before the picture is looked at, 1 sigma.
constexpr double kLogFocal = 0.6;  // of ln(f / the picture's longer side) about ln 0.65: 45 to 110 degrees
constexpr double kFocalOverLong = 0.65;
constexpr double kAspect = 0.0012;      // of fx / fy from 1: pixels are square, within how well lenses are told
constexpr double kCentreShare = 0.008;  // principal point off the middle, of the longer side
constexpr double kK1 = 0.25, kK2 = 0.15, kK3 = 0.05;
constexpr double kTangential = 0.0008;  // p1, p2
// What is believed of how edges look, 1 sigma. These are the fit's honesty: errors that many marks share.
constexpr double kRailOffset = 0.015;  // m
constexpr double kRailHeight = 0.008;  // m
constexpr double kLineSlope = 0.003;   // rad: a line drawn 5 mm askew over the bed's width

constexpr double kNearest = 0.05;  // m in front of the lens: nothing of a table is nearer

// Pixel of a point of the table for automatic derivatives. w: left increment of the rotation.
template <class T>
struct View {
  const Mat3& R;
  const T* lens;
  const T* w;
  const T* t;

  void to_camera(const T p[3], T c[3]) const {
    const T turned[3] = {R(0, 0) * p[0] + R(0, 1) * p[1] + R(0, 2) * p[2],
                         R(1, 0) * p[0] + R(1, 1) * p[1] + R(1, 2) * p[2],
                         R(2, 0) * p[0] + R(2, 1) * p[1] + R(2, 2) * p[2]};
    ceres::AngleAxisRotatePoint(w, turned, c);
    for (int i = 0; i < 3; ++i) c[i] += t[i];
  }
  bool pixel_of_camera(const T c[3], T& u, T& v) const {
    if (!(c[2] > T(kNearest))) return false;
    T xd, yd;
    distort(lens + 4, T(c[0] / c[2]), T(c[1] / c[2]), xd, yd);
    u = lens[0] * xd + lens[2];
    v = lens[1] * yd + lens[3];
    return true;
  }
  bool pixel(const T p[3], T& u, T& v) const {
    T c[3];
    to_camera(p, c);
    return pixel_of_camera(c, u, v);
  }
};

struct Along {
  const Mat3& R;
  Vec2 pixel, normal;
  double weight;
  template <class T>
  bool finish(bool seen, const T& u, const T& v, T* residual) const {
    if (!seen) return false;
    *residual = ((pixel.x() - u) * normal.x() + (pixel.y() - v) * normal.y()) * weight;
    return true;
  }
};

struct NoseCost : Along {
  int side;
  double along, height;
  template <class T>
  bool operator()(const T* lens, const T* w, const T* t, const T* size, const T* bias, T* residual) const {
    const T out = (side == kBaulk || side == kTop ? size[1] : size[0]) + *bias;
    T p[3] = {T(along), T(along), T(height)};
    if (side == kBaulk) p[1] = -out;
    if (side == kTop) p[1] = out;
    if (side == kLeft) p[0] = -out;
    if (side == kRight) p[0] = out;
    T u, v;
    return finish(View<T>{R, lens, w, t}.pixel(p, u, v), u, v, residual);
  }
};

struct RailCost : Along {
  int side;
  double along;
  template <class T>
  bool operator()(const T* lens, const T* w, const T* t, const T* size, const T* rail, const T* bias,
                  T* residual) const {
    const T out = (side == kBaulk || side == kTop ? size[1] : size[0]) + rail[0] + *bias;
    T p[3] = {T(along), T(along), rail[1]};
    if (side == kBaulk) p[1] = -out;
    if (side == kTop) p[1] = out;
    if (side == kLeft) p[0] = -out;
    if (side == kRight) p[0] = out;
    T u, v;
    return finish(View<T>{R, lens, w, t}.pixel(p, u, v), u, v, residual);
  }
};

// Half way along a long side.
struct PocketCost : Along {
  int side;
  double beyond, height;
  template <class T>
  bool operator()(const T* lens, const T* w, const T* t, const T* size, T* residual) const {
    const T out = size[0] + beyond;
    const T p[3] = {side == kLeft ? T(-out) : out, T(0), T(height)};
    T u, v;
    return finish(View<T>{R, lens, w, t}.pixel(p, u, v), u, v, residual);
  }
};

struct LineCost : Along {
  double x;
  template <class T>
  bool operator()(const T* lens, const T* w, const T* t, const T* line, T* residual) const {
    const T p[3] = {T(x), line[0] + line[1] * x, T(0)};
    T u, v;
    return finish(View<T>{R, lens, w, t}.pixel(p, u, v), u, v, residual);
  }
};

struct DCost : Along {
  double angle;
  template <class T>
  bool operator()(const T* lens, const T* w, const T* t, const T* d, T* residual) const {
    const T p[3] = {d[0] + d[2] * std::cos(angle), d[1] + d[2] * std::sin(angle), T(0)};
    T u, v;
    return finish(View<T>{R, lens, w, t}.pixel(p, u, v), u, v, residual);
  }
};

// The tangent cone's circle, in the camera's frame; angle 0 to the picture's right, growing towards its bottom.
struct BallCost : Along {
  double angle, radius;
  template <class T>
  bool operator()(const T* lens, const T* w, const T* t, const T* place, const T* bias, T* residual) const {
    using std::sqrt;
    const T p[3] = {place[0], place[1], T(radius)};
    const View<T> view{R, lens, w, t};
    T c[3];
    view.to_camera(p, c);
    const T d2 = c[0] * c[0] + c[1] * c[1] + c[2] * c[2];
    const T share = radius * radius / d2, d = sqrt(d2);
    const T axis[3] = {c[0] / d, c[1] / d, c[2] / d};
    T e1[3] = {T(1) - axis[0] * axis[0], -axis[0] * axis[1], -axis[0] * axis[2]};
    const T n = sqrt(e1[0] * e1[0] + e1[1] * e1[1] + e1[2] * e1[2]);
    for (T& x : e1) x /= n;
    T e2[3];
    ceres::CrossProduct(axis, e1, e2);
    const T r = radius * sqrt(T(1) - share);
    T q[3];
    for (int i = 0; i < 3; ++i) q[i] = c[i] * (T(1) - share) + r * (e1[i] * std::cos(angle) + e2[i] * std::sin(angle));
    T u, v;
    if (!finish(view.pixel_of_camera(q, u, v), u, v, residual)) return false;
    *residual -= *bias * weight;
    return true;
  }
};

struct Prior {
  double expected, sd;
  template <class T>
  bool operator()(const T* x, T* residual) const {
    *residual = (*x - expected) / sd;
    return true;
  }
};
struct LensPrior {
  double longer, cx, cy;
  template <class T>
  bool operator()(const T* l, T* r) const {
    using std::log;
    if (!(l[0] > T(1)) || !(l[1] > T(1))) return false;
    r[0] = log((l[0] + l[1]) / (2 * kFocalOverLong * longer)) / kLogFocal;
    r[1] = log(l[0] / l[1]) / kAspect;
    r[2] = (l[2] - cx) / (kCentreShare * longer);
    r[3] = (l[3] - cy) / (kCentreShare * longer);
    r[4] = l[4] / kK1;
    r[5] = l[5] / kK2;
    r[6] = l[6] / kTangential;
    r[7] = l[7] / kTangential;
    r[8] = l[8] / kK3;
    return true;
  }
};
struct KnownLensPrior {
  KnownLens known;
  template <class T>
  bool operator()(const T* l, T* r) const {
    const double expected[4] = {known.lens.fx, known.lens.fy, known.lens.cx, known.lens.cy};
    for (std::size_t i = 0; i < 9; ++i)
      r[i] = (l[i] - (i < 4 ? expected[i] : known.lens.distortion[i - 4])) / known.u[i];
    return true;
  }
};
struct FocalPrior {
  Told focal;
  template <class T>
  bool operator()(const T* l, T* r) const {
    r[0] = ((l[0] + l[1]) / 2.0 - focal.value) / focal.u;
    return true;
  }
};
// The lens's height above the bed: the third of -R^T t, R = exp(w) R0.
struct HeightPrior {
  const Mat3& R;
  Told height;
  template <class T>
  bool operator()(const T* w, const T* t, T* r) const {
    const T back[3] = {-w[0], -w[1], -w[2]};
    T c[3];
    ceres::AngleAxisRotatePoint(back, t, c);
    r[0] = (-(R(0, 2) * c[0] + R(1, 2) * c[1] + R(2, 2) * c[2]) - height.value) / height.u;
    return true;
  }
};
struct PairPrior {
  double a, b, ua, ub;
  template <class T>
  bool operator()(const T* x, T* r) const {
    r[0] = (x[0] - a) / ua;
    r[1] = (x[1] - b) / ub;
    return true;
  }
};
// Baulk line: from this table's own baulk nose.
struct LinePrior {
  double from_baulk, u;
  template <class T>
  bool operator()(const T* line, const T* size, T* r) const {
    r[0] = (line[0] + size[1] - from_baulk) / u;
    r[1] = line[1] / kLineSlope;
    return true;
  }
};
// The D: centred on the line's middle.
struct DPrior {
  double radius, u;
  template <class T>
  bool operator()(const T* d, const T* line, T* r) const {
    r[0] = d[0] / u;
    r[1] = (d[1] - line[0]) / u;
    r[2] = (d[2] - radius) / u;
    return true;
  }
};
// Of lens, rotation, shift and size together; empty when it cannot be told.
Eigen::MatrixXd covariance_of(ceres::Problem& problem, const std::vector<const double*>& wanted) {
  ceres::Covariance::Options how;
  how.algorithm_type = ceres::DENSE_SVD;
  how.null_space_rank = -1;
  // Of the information's eigenvalues: pixels stand beside metres here, and a focal length that is hardly told is far
  // below the rest. Ceres' own 1e-14 left that direction out, as if it were known.
  how.min_reciprocal_condition_number = 1e-24;
  how.apply_loss_function = true;
  ceres::Covariance covariance(how);
  if (!covariance.Compute(wanted, &problem)) return {};
  constexpr int kSizes[4] = {9, 3, 3, 2};
  constexpr int kAt[4] = {0, 9, 12, 15};
  Eigen::MatrixXd out = Eigen::MatrixXd::Zero(17, 17);
  for (std::size_t i = 0; i < 4; ++i)
    for (std::size_t j = 0; j < 4; ++j) {
      Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor> block(kSizes[i], kSizes[j]);
      covariance.GetCovarianceBlock(wanted[i], wanted[j], block.data());
      out.block(kAt[i], kAt[j], kSizes[i], kSizes[j]) = block;
    }
  return 0.5 * (out + out.transpose());
}
}  // namespace

const char* name_of(Kind kind) {
  switch (kind) {
    case Kind::nose:
      return "nose";
    case Kind::rail:
      return "rail";
    case Kind::line:
      return "line";
    case Kind::d:
      return "d";
    case Kind::ball:
      return "ball";
    case Kind::pocket:
      return "pocket";
  }
  return "";
}

std::array<double, 4> Unknowns::tangents() const {
  const Vec3 lens_at = pose.position();
  const double above = std::max(0.1, lens_at.z() - nose_height);
  return {(lens_at.y() + half_length) / above, (half_width - lens_at.x()) / above, (half_length - lens_at.y()) / above,
          (lens_at.x() + half_width) / above};
}

Vec3 Unknowns::point(const Mark& m) const {
  const bool end = m.index == kBaulk || m.index == kTop;
  const double sign = m.index == kBaulk || m.index == kLeft ? -1 : 1;
  switch (m.kind) {
    case Kind::nose: {
      const double out = sign * ((end ? half_length : half_width) + nose_bias[static_cast<std::size_t>(m.index)]);
      return end ? Vec3(m.along, out, nose_height) : Vec3(out, m.along, nose_height);
    }
    case Kind::rail: {
      const double out =
          sign * ((end ? half_length : half_width) + rail_offset + rail_bias[static_cast<std::size_t>(m.index)]);
      return end ? Vec3(m.along, out, rail_height) : Vec3(out, m.along, rail_height);
    }
    case Kind::line:
      return {m.along, line_y + line_slope * m.along, 0};
    case Kind::d:
      return {d_centre.x() + d_radius * std::cos(m.along), d_centre.y() + d_radius * std::sin(m.along), 0};
    case Kind::ball: {
      const Vec2& b = balls[static_cast<std::size_t>(m.index)];
      return {b.x(), b.y(), ball_radius};
    }
    case Kind::pocket:
      return {sign * (half_width + m.along), 0, nose_height};
  }
  return Vec3::Zero();
}

SolveSummary solve(Unknowns& x, const std::vector<Mark>& marks, const Beliefs& beliefs, const SolveOptions& options) {
  // Guesses that lead nowhere are part of the search: the solver need not complain of each on standard error.
  FLAGS_minloglevel = std::max(FLAGS_minloglevel, static_cast<int>(google::GLOG_ERROR));
  SolveSummary summary;
  // A start from which a mark's point cannot be seen is no start: the solver would only complain of it.
  if (!(x.lens.fx > 1) || !(x.lens.fy > 1)) return summary;
  for (const Mark& m : marks)
    if (!((x.pose.R * x.point(m) + x.pose.t).z() > 2 * kNearest)) return summary;
  summary.marks = static_cast<int>(marks.size());
  double lens[9] = {x.lens.fx, x.lens.fy, x.lens.cx, x.lens.cy};
  std::copy(x.lens.distortion.begin(), x.lens.distortion.end(), lens + 4);
  double w[3] = {0, 0, 0}, t[3] = {x.pose.t.x(), x.pose.t.y(), x.pose.t.z()};
  double size[2] = {x.half_width, x.half_length}, rail[2] = {x.rail_offset, x.rail_height};
  double line[2] = {x.line_y, x.line_slope}, d[3] = {x.d_centre.x(), x.d_centre.y(), x.d_radius};
  double ball_bias = x.ball_bias;
  std::array<double, 4> nose_bias = x.nose_bias, rail_bias = x.rail_bias;
  std::vector<std::array<double, 2>> balls;
  for (const Vec2& b : x.balls) balls.push_back({b.x(), b.y()});
  const Mat3 R = x.pose.R;

  ceres::Problem problem;
  std::vector<ceres::ResidualBlockId> blocks;
  bool any_line = false, any_d = false, any_ball = false;
  std::array<bool, 4> any_nose{}, any_rail{};
  for (const Mark& m : marks) {
    const Along along{R, m.pixel, m.normal, 1 / m.sd};
    // The drawn line and D are drawn once: their marks share no bias with the table, so a plain robust loss serves all.
    ceres::LossFunction* loss = options.loss > 0 ? new ceres::CauchyLoss(options.loss) : nullptr;
    const auto side = static_cast<std::size_t>(m.index);
    switch (m.kind) {
      case Kind::nose:
        blocks.push_back(problem.AddResidualBlock(new ceres::AutoDiffCostFunction<NoseCost, 1, 9, 3, 3, 2, 1>(
                                                      new NoseCost{along, m.index, m.along, x.nose_height}),
                                                  loss, lens, w, t, size, &nose_bias[side]));
        any_nose[side] = true;
        break;
      case Kind::rail:
        blocks.push_back(problem.AddResidualBlock(
            new ceres::AutoDiffCostFunction<RailCost, 1, 9, 3, 3, 2, 2, 1>(new RailCost{along, m.index, m.along}), loss,
            lens, w, t, size, rail, &rail_bias[side]));
        any_rail[side] = true;
        break;
      case Kind::line:
        blocks.push_back(problem.AddResidualBlock(
            new ceres::AutoDiffCostFunction<LineCost, 1, 9, 3, 3, 2>(new LineCost{along, m.along}), loss, lens, w, t,
            line));
        any_line = true;
        break;
      case Kind::d:
        blocks.push_back(problem.AddResidualBlock(
            new ceres::AutoDiffCostFunction<DCost, 1, 9, 3, 3, 3>(new DCost{along, m.along}), loss, lens, w, t, d));
        any_d = true;
        break;
      case Kind::ball:
        blocks.push_back(problem.AddResidualBlock(
            new ceres::AutoDiffCostFunction<BallCost, 1, 9, 3, 3, 2, 1>(new BallCost{along, m.along, x.ball_radius}),
            loss, lens, w, t, balls[side].data(), &ball_bias));
        any_ball = true;
        break;
      case Kind::pocket:
        blocks.push_back(problem.AddResidualBlock(new ceres::AutoDiffCostFunction<PocketCost, 1, 9, 3, 3, 2>(
                                                      new PocketCost{along, m.index, m.along, x.nose_height}),
                                                  loss, lens, w, t, size));
        break;
    }
  }
  if (blocks.size() < 12) return summary;

  problem.AddResidualBlock(
      new ceres::AutoDiffCostFunction<LensPrior, 9, 9>(
          new LensPrior{static_cast<double>(std::max(x.width, x.height)), 0.5 * (x.width - 1), 0.5 * (x.height - 1)}),
      nullptr, lens);
  if (beliefs.lens)
    problem.AddResidualBlock(new ceres::AutoDiffCostFunction<KnownLensPrior, 9, 9>(new KnownLensPrior{*beliefs.lens}),
                             nullptr, lens);
  if (beliefs.focal)
    problem.AddResidualBlock(new ceres::AutoDiffCostFunction<FocalPrior, 1, 9>(new FocalPrior{*beliefs.focal}), nullptr,
                             lens);
  if (beliefs.height)
    problem.AddResidualBlock(new ceres::AutoDiffCostFunction<HeightPrior, 1, 3, 3>(new HeightPrior{R, *beliefs.height}),
                             nullptr, w, t);
  std::vector<int> kept;
  if (!options.lens_fine) kept = {2, 3, 6, 7, 8};
  if (!options.lens_shape) kept = {2, 3, 4, 5, 6, 7, 8};
  if (!options.focal) kept.insert(kept.begin(), {0, 1});
  if (kept.size() == 9)
    problem.SetParameterBlockConstant(lens);
  else if (!kept.empty())
    problem.SetManifold(lens, new ceres::SubsetManifold(9, kept));

  const auto pair = [&](double* p, double a, double b, double ua, double ub) {
    problem.AddResidualBlock(new ceres::AutoDiffCostFunction<PairPrior, 2, 2>(new PairPrior{a, b, ua, ub}), nullptr, p);
  };
  if (beliefs.taped)
    pair(size, beliefs.taped->x(), beliefs.taped->y(), kTapedSizeU, kTapedSizeU);
  else
    pair(size, beliefs.half_width, beliefs.half_length, kCarelessSizeU, kCarelessSizeU);
  if (!options.size) problem.SetParameterBlockConstant(size);
  if (std::count(any_rail.begin(), any_rail.end(), true) > 0) pair(rail, 0.048, 0.040, kRailOffset, kRailHeight);
  for (std::size_t s = 0; s < 4; ++s) {
    if (any_rail[s])
      problem.AddResidualBlock(new ceres::AutoDiffCostFunction<Prior, 1, 1>(new Prior{0, beliefs.u_rail_bias[s]}),
                               nullptr, &rail_bias[s]);
    if (any_nose[s])
      problem.AddResidualBlock(
          new ceres::AutoDiffCostFunction<Prior, 1, 1>(new Prior{beliefs.nose_bias[s], beliefs.u_nose_bias[s]}),
          nullptr, &nose_bias[s]);
  }
  if (any_line)
    problem.AddResidualBlock(
        new ceres::AutoDiffCostFunction<LinePrior, 2, 2, 2>(new LinePrior{beliefs.line_y_from_baulk, beliefs.u_drawn}),
        nullptr, line, size);
  if (any_d && any_line)
    problem.AddResidualBlock(
        new ceres::AutoDiffCostFunction<DPrior, 3, 3, 2>(new DPrior{beliefs.d_radius, beliefs.u_drawn}), nullptr, d,
        line);
  if (any_ball)
    problem.AddResidualBlock(new ceres::AutoDiffCostFunction<Prior, 1, 1>(new Prior{0, beliefs.u_ball_bias}), nullptr,
                             &ball_bias);

  ceres::Solver::Options how;
  how.linear_solver_type = ceres::DENSE_NORMAL_CHOLESKY;
  how.max_num_iterations = options.iterations;
  how.num_threads = 2;
  how.logging_type = ceres::SILENT;
  how.function_tolerance = 1e-10;
  ceres::Solver::Summary result;
  ceres::Solve(how, &problem, &result);
  summary.usable = result.IsSolutionUsable();
  summary.cost = result.final_cost;
  if (!summary.usable) return summary;

  if (options.covariance) {
    std::vector<const double*> wanted{lens, w, t, size};
    Eigen::MatrixXd c = covariance_of(problem, wanted);
    if (c.size() > 0 && options.size && !beliefs.taped) {
      // What the picture leaves open of the size is settled by the whole belief; all else follows the size.
      const SizeTold told = settle_size({Vec2(size[0], size[1]), c.bottomRightCorner<2, 2>()},
                                        Vec2(beliefs.half_width, beliefs.half_length));
      summary.careless = told.careless;
      const Eigen::Matrix<double, 17, 2> follows = c.rightCols<2>() * c.bottomRightCorner<2, 2>().inverse();
      c += follows * (told.covariance - c.bottomRightCorner<2, 2>()) * follows.transpose();
      size[0] = told.mean.x();
      size[1] = told.mean.y();
      problem.SetParameterBlockConstant(size);
      ceres::Solve(how, &problem, &result);
      summary.usable = result.IsSolutionUsable();
      summary.cost = result.final_cost;
      if (!summary.usable) return summary;
    }
    summary.covariance = c;
  }

  x.lens.fx = lens[0];
  x.lens.fy = lens[1];
  x.lens.cx = lens[2];
  x.lens.cy = lens[3];
  std::copy(lens + 4, lens + 9, x.lens.distortion.begin());
  const Vec3 turn(w[0], w[1], w[2]);
  if (turn.norm() > 0) x.pose.R = Eigen::AngleAxisd(turn.norm(), turn.normalized()).toRotationMatrix() * R;
  // Products of rotations drift from orthonormal by rounding.
  x.pose.R = Eigen::Quaterniond(x.pose.R).normalized().toRotationMatrix();
  x.pose.t = Vec3(t[0], t[1], t[2]);
  x.half_width = size[0];
  x.half_length = size[1];
  x.rail_offset = rail[0];
  x.rail_height = rail[1];
  x.nose_bias = nose_bias;
  x.rail_bias = rail_bias;
  x.line_y = line[0];
  x.line_slope = line[1];
  x.d_centre = Vec2(d[0], d[1]);
  x.d_radius = d[2];
  x.ball_bias = ball_bias;
  for (std::size_t i = 0; i < balls.size(); ++i) x.balls[i] = Vec2(balls[i][0], balls[i][1]);

  // Residuals in pixels at the solution.
  double sum = 0;
  for (std::size_t i = 0; i < blocks.size(); ++i) {
    double cost = 0, r = 0;
    problem.EvaluateResidualBlock(blocks[i], false, &cost, &r, nullptr);
    summary.residuals.push_back(r * marks[i].sd);
    if (std::abs(r) < 3 * std::max(1.0, options.loss)) {
      sum += r * r * marks[i].sd * marks[i].sd;
      ++summary.inliers;
    }
  }
  summary.rms_pixels = summary.inliers > 0 ? std::sqrt(sum / summary.inliers) : 0;
  return summary;
}

}  // namespace baizetrace::camera
