#include "camera/ball_outline.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "camera/profile.hpp"
#include "camera/sampling.hpp"

namespace baizetrace::camera {

namespace {
constexpr double kStep = 0.25;        // px, between samples of a profile
constexpr int kPerSector = 10;        // profiles averaged in a sector
constexpr double kInShare = 0.38;     // of the ball's radius: how far inside the outline the limb's form is trusted
constexpr double kOutShare = 0.45;    // and outside, the cloth's shade
constexpr double kBlurReach = 3.5;    // sigmas
constexpr double kGrain = 0.1;        // px: of the blur's sum
constexpr double kLeastContrast = 9;  // levels of light
constexpr int kSteps = 15;
// Finding them.
constexpr float kBrighter = 28;  // levels above the cloth
constexpr int kCoarse = 240;     // the cloth's shade is read off a picture this many pixels wide, where balls vanish
constexpr std::size_t kLeastSectors = 7;
constexpr double kLeastBallContrast = 22;  // levels of light
constexpr double kRound = 0.25;            // px: scatter of the edges about a circle
constexpr double kStill = 6;               // levels, mean change within a ball between a moment's first and last frame

// Radial profile through a limb at e (px beyond the model's radius r), blurred; without the curve's own share.
struct Limb {
  double r = 0;
  std::vector<double> offset, weight;  // of the blur
  Eigen::Matrix<double, 5, 1> p;       // a, b, c, k, e

  Limb(double radius, double sigma) : r(radius) {
    double sum = 0;
    for (double s = -kBlurReach * sigma; s <= kBlurReach * sigma; s += kGrain) {
      offset.push_back(s);
      weight.push_back(std::exp(-0.5 * s * s / (sigma * sigma)));
      sum += weight.back();
    }
    for (double& w : weight) w /= sum;
  }

  [[nodiscard]] double sharp(double d) const {
    const double edge = p[4];
    if (d >= edge) return p[2] + p[3] * (d - edge);
    const double rho = (r + d) / (r + edge);
    return p[0] + p[1] * std::sqrt(std::max(0.0, 1 - rho * rho));
  }
  // Mean over a grain: the limb and the step are met exactly, so that e has a smooth derivative.
  [[nodiscard]] double at(double d) const {
    double sum = 0;
    const double edge = p[4];
    for (std::size_t i = 0; i < offset.size(); ++i) {
      const double low = d + offset[i] - kGrain / 2, high = low + kGrain;
      double v;
      if (low < edge && edge < high) {
        const double in = (edge - low) / kGrain;
        // The root's mean over the last `in` of a grain is two thirds of its value at that depth.
        v = in * (p[0] + p[1] * 2.0 / 3.0 * std::sqrt(2 * (edge - low) / (r + edge))) + (1 - in) * p[2];
      } else {
        v = sharp(d + offset[i]);
      }
      sum += weight[i] * v;
    }
    return sum;
  }
};
}  // namespace

std::vector<OutlineSector> measure_outline(const cv::Mat& plane, double plane_scale, const Camera& camera,
                                           const Vec2& at, double radius, const OutlineOptions& options) {
  std::vector<OutlineSector> out;
  const Vec3 centre(at.x(), at.y(), radius);
  const int n = options.sectors * kPerSector;
  const auto outline = camera.sphere_outline(centre, radius, n);
  const auto middle = camera.project(centre);
  if (static_cast<int>(outline.size()) != n || !middle) return out;
  double r = 0;
  for (const auto& p : outline) r += (p.pixel - *middle).norm() / n;
  const double from = -std::max(3.0, kInShare * r), to = std::max(3.0, kOutShare * r);
  const int samples = static_cast<int>((to - from) / kStep) + 1;

  for (int s = 0; s < options.sectors; ++s) {
    // Trimmed over the sector: highlights, letters and specks are local.
    Eigen::VectorXd value(samples);
    double noise = 0;
    bool inside = true;
    for (int i = 0; i < samples && inside; ++i) {
      std::array<double, kPerSector> v{};
      for (int k = 0; k < kPerSector && inside; ++k) {
        const auto& p = outline[static_cast<std::size_t>(s * kPerSector + k)];
        inside =
            sample_plane(plane, plane_scale, p.pixel + (from + i * kStep) * p.normal, v[static_cast<std::size_t>(k)]);
      }
      std::sort(v.begin(), v.end());
      double sum = 0;
      for (int k = 2; k < kPerSector - 2; ++k) sum += v[static_cast<std::size_t>(k)];
      value[i] = sum / (kPerSector - 4);
      noise += (v[kPerSector - 3] - v[2]) / samples;
    }
    if (!inside) continue;
    noise = std::max(0.5, 0.5 * noise);
    const double brightest = std::max(value[0], value[samples - 1]);
    for (int i = 0; i < samples; ++i) value[i] = light_of(value[i], brightest, options.gamma);

    Limb m(r, options.sigma_px);
    const double in = value[0];
    const auto near = [&](double d) { return value[std::clamp(static_cast<int>((d - from) / kStep), 0, samples - 1)]; };
    m.p << near(-1.5), 0.5 * (in - near(-1.5)), near(2), 0, 0;
    const auto residuals = [&](const Limb& x) {
      Eigen::VectorXd q(samples + 2);
      for (int i = 0; i < samples; ++i) q[i] = (x.at(from + i * kStep) - value[i]) / noise;
      q[samples] = x.p[4] / 1.5;  // the outline is where it was thought to be, within a pixel or two
      q[samples + 1] = x.p[3] / 20;
      return q;
    };
    Eigen::VectorXd q = residuals(m);
    Eigen::Matrix<double, 5, 5> normal;
    double lambda = 1e-2;
    for (int step = 0; step < kSteps; ++step) {
      Eigen::MatrixXd j(samples + 2, 5);
      for (int k = 0; k < 5; ++k) {
        Limb moved = m;
        constexpr double h = 1e-3;
        moved.p[k] += h;
        j.col(k) = (residuals(moved) - q) / h;
      }
      normal = j.transpose() * j;
      const Eigen::Matrix<double, 5, 1> g = j.transpose() * q;
      bool better = false, done = false;
      for (int attempt = 0; attempt < 8 && !better; ++attempt) {
        Eigen::Matrix<double, 5, 5> damped = normal;
        damped.diagonal() *= 1 + lambda;
        Limb next = m;
        next.p -= damped.ldlt().solve(g);
        next.p[4] = std::clamp(next.p[4], -4.0, 4.0);
        const Eigen::VectorXd qn = residuals(next);
        if (qn.squaredNorm() < q.squaredNorm()) {
          better = true;
          done = q.squaredNorm() - qn.squaredNorm() < 1e-7 * q.squaredNorm();
          m = next;
          q = qn;
          lambda = std::max(1e-6, lambda / 5);
        } else {
          lambda *= 5;
        }
      }
      if (!better || done) break;
    }
    OutlineSector sector;
    const auto& p = outline[static_cast<std::size_t>(s * kPerSector + kPerSector / 2)];
    const auto& p0 = outline[static_cast<std::size_t>(s * kPerSector + kPerSector / 2 - 1)];
    sector.angle = 2 * kPi * (s * kPerSector + 0.5 * (kPerSector - 1)) / n;
    // Blur moves a curved edge inwards, by sigma^2 / 2 r for a step.
    sector.edge = m.p[4] + options.sigma_px * options.sigma_px / (2 * r);
    sector.normal = (p.normal + p0.normal).normalized();
    sector.pixel = 0.5 * (p.pixel + p0.pixel) + sector.edge * sector.normal;
    sector.contrast = std::abs(m.p[0] - m.p[2]);
    sector.rms = q.head(samples).norm() * noise / std::sqrt(samples);
    if (sector.contrast < std::max(kLeastContrast, 5 * noise) || sector.rms > 0.12 * sector.contrast) continue;
    const double excess = std::max(1.0, q.squaredNorm() / std::max(1.0, samples - 5.0));
    // Samples a quarter of a pixel apart share pixels.
    sector.u = std::sqrt(normal.inverse()(4, 4) * excess / kStep);
    if (std::abs(sector.edge) < 3 && sector.u < 0.5) out.push_back(sector);
  }
  return out;
}

namespace {
double typical_rms(const std::vector<OutlineSector>& sectors) {
  double sum = 0;
  for (const auto& s : sectors) sum += s.rms;
  return sectors.size() < kLeastSectors ? 1e9 : sum / static_cast<double>(sectors.size());
}

// Centre from the edges round it; nullopt: not a ball seen all round.
std::optional<RestingBall> settle(const Moment& moment, const Camera& camera, Vec2 at, double radius, double gamma) {
  RestingBall ball;
  OutlineOptions how;
  how.gamma = gamma;
  for (int round = 0; round < 3; ++round) {
    const auto sectors = measure_outline(moment.luma, 1, camera, at, radius, how);
    if (sectors.size() < kLeastSectors) return std::nullopt;
    Eigen::MatrixXd a(sectors.size(), 3);
    Eigen::VectorXd b(sectors.size());
    for (std::size_t i = 0; i < sectors.size(); ++i) {
      a.row(static_cast<Eigen::Index>(i)) << sectors[i].normal.x(), sectors[i].normal.y(), 1;
      b[static_cast<Eigen::Index>(i)] = sectors[i].edge;
    }
    const Eigen::Vector3d x = a.colPivHouseholderQr().solve(b);
    at += camera.plane_jacobian(Vec3(at.x(), at.y(), radius)).inverse() * x.head<2>();
    if (round == 2 && (a * x - b).norm() / std::sqrt(static_cast<double>(sectors.size())) > kRound) return std::nullopt;
  }
  // The blur: least misfit, by a parabola through the three best.
  constexpr std::array<double, 6> kSigmas{0.5, 0.7, 0.9, 1.1, 1.4, 1.8};
  std::array<double, kSigmas.size()> misfit{};
  std::size_t best = 0;
  for (std::size_t i = 0; i < kSigmas.size(); ++i) {
    how.sigma_px = kSigmas[i];
    misfit[i] = typical_rms(measure_outline(moment.luma, 1, camera, at, radius, how));
    if (misfit[i] < misfit[best]) best = i;
    if (misfit[i] > 1.3 * misfit[best] && i > best) break;
  }
  if (misfit[best] > 1e8) return std::nullopt;
  how.sigma_px = kSigmas[best];
  if (best > 0 && best + 1 < kSigmas.size() && misfit[best - 1] < 1e8 && misfit[best + 1] > 0 &&
      misfit[best + 1] < 1e8) {
    const double x0 = kSigmas[best - 1], x1 = kSigmas[best], x2 = kSigmas[best + 1];
    const double d0 = (misfit[best] - misfit[best - 1]) / (x1 - x0), d1 = (misfit[best + 1] - misfit[best]) / (x2 - x1);
    if (d1 > d0) how.sigma_px = std::clamp(0.5 * (x0 + x1) - d0 * (0.5 * (x2 - x0)) / (d1 - d0), x0, x2);
  }
  ball.at = at;
  ball.sigma_px = how.sigma_px;
  ball.sectors = measure_outline(moment.luma, 1, camera, at, radius, how);
  double contrast = 0;
  for (const OutlineSector& s : ball.sectors) contrast += s.contrast / static_cast<double>(ball.sectors.size());
  if (ball.sectors.size() < kLeastSectors || contrast < kLeastBallContrast) return std::nullopt;
  return ball;
}
}  // namespace

std::vector<RestingBall> find_bright_balls(const Moment& moment, const Camera& camera, double half_width,
                                           double half_length, double radius, double gamma) {
  std::vector<RestingBall> balls;
  // The bed in the picture.
  std::vector<cv::Point> bed;
  const double w = half_width - radius, l = half_length - radius;
  constexpr int kPieces = 20;
  const std::array<Vec2, 4> corners{Vec2(-w, -l), Vec2(w, -l), Vec2(w, l), Vec2(-w, l)};
  for (std::size_t c = 0; c < 4; ++c)
    for (int i = 0; i < kPieces; ++i) {
      const Vec2 p = corners[c] + (corners[(c + 1) % 4] - corners[c]) * i / kPieces;
      if (const auto pixel = camera.project(Vec3(p.x(), p.y(), 0)))
        bed.emplace_back(cvRound(pixel->x()), cvRound(pixel->y()));
    }
  if (bed.size() < 4) return balls;
  cv::Mat on_bed = cv::Mat::zeros(moment.luma.size(), CV_8U);
  cv::fillPoly(on_bed, std::vector<std::vector<cv::Point>>{bed}, cv::Scalar(255));

  cv::Mat coarse, cloth;
  const double coarser = static_cast<double>(kCoarse) / std::max(moment.luma.cols, moment.luma.rows);
  cv::resize(moment.luma, coarse, {}, coarser, coarser, cv::INTER_AREA);
  cv::medianBlur(coarse, coarse, 5);
  cv::resize(coarse, cloth, moment.luma.size(), 0, 0, cv::INTER_LINEAR);
  cv::Mat bright = moment.luma - cloth > kBrighter;
  cv::bitwise_and(bright, on_bed, bright);
  cv::morphologyEx(bright, bright, cv::MORPH_OPEN, cv::getStructuringElement(cv::MORPH_ELLIPSE, {5, 5}));
  cv::Mat labels, stats, centroids;
  const int n = cv::connectedComponentsWithStats(bright, labels, stats, centroids, 8);
  for (int i = 1; i < n; ++i) {
    const Vec2 pixel(centroids.at<double>(i, 0), centroids.at<double>(i, 1));
    const auto at = camera.on_plane(pixel, radius);
    if (!at) continue;
    const Mat2 j = camera.plane_jacobian(Vec3(at->x(), at->y(), radius));
    const double r = radius * std::sqrt(std::abs(j.determinant()));  // px, near enough to sort out what is no ball
    const double area = stats.at<int>(i, cv::CC_STAT_AREA);
    const double wide = stats.at<int>(i, cv::CC_STAT_WIDTH), high = stats.at<int>(i, cv::CC_STAT_HEIGHT);
    if (r < 4 || area < 0.5 * kPi * r * r || area > 1.6 * kPi * r * r) continue;
    if (std::max(wide, high) > 3.0 * r || std::min(wide, high) < 1.3 * r) continue;
    const cv::Rect box(stats.at<int>(i, cv::CC_STAT_LEFT), stats.at<int>(i, cv::CC_STAT_TOP), static_cast<int>(wide),
                       static_cast<int>(high));
    cv::Mat change;
    cv::absdiff(moment.first(box), moment.last(box), change);
    if (cv::mean(change)[0] > kStill) continue;
    if (auto ball = settle(moment, camera, *at, radius, gamma)) balls.push_back(std::move(*ball));
  }
  return balls;
}

}  // namespace baizetrace::camera
