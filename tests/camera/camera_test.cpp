// Projection against OpenCV's own (calib3d: projectPoints, undistortPoints), round trips, and a ball's outline against
// brute force.
#include "camera/camera.hpp"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <opencv2/calib3d.hpp>
#include <opencv2/core/eigen.hpp>
#include <random>

#include "camera/lens_model.hpp"
#include "support/truth_rig.hpp"

namespace baizetrace::camera {
namespace {

// An invented ultra-wide phone lens 1.8 m above the bed, tilted.
Camera wide() {
  Camera c;
  c.width = 1920;
  c.height = 1080;
  c.lens = {930, 932, 951, 547, {-0.29, 0.095, -0.0009, 0.0007, -0.0118}};
  const Mat3 over_the_table = (Mat3() << 0, 1, 0, 1, 0, 0, 0, 0, -1).finished();
  c.pose.R = Eigen::AngleAxisd(0.15, Vec3(0.6, -0.7, 0.2).normalized()).toRotationMatrix() * over_the_table;
  c.pose.t = -c.pose.R * Vec3(0.2, 0.3, 1.8);
  return c;
}
Camera mild() {
  Camera c = wide();
  c.lens = {1490, 1494, 966, 534, {0.042, -0.095, 0.0006, -0.0004, 0.03}};
  c.pose.t = -c.pose.R * Vec3(0.1, -0.1, 3.3);
  return c;
}
cv::Mat k_of(const Camera& c) {
  return (cv::Mat_<double>(3, 3) << c.lens.fx, 0, c.lens.cx, 0, c.lens.fy, c.lens.cy, 0, 0, 1);
}
cv::Mat d_of(const Camera& c) {
  const auto& d = c.lens.distortion;
  return (cv::Mat_<double>(1, 5) << d[0], d[1], d[2], d[3], d[4]);
}
std::vector<Vec3> grid(double z) {
  std::vector<Vec3> points;
  for (int i = -6; i <= 6; ++i)
    for (int j = -12; j <= 12; ++j) points.emplace_back(i * 0.15, j * 0.15, z);
  return points;
}

TEST(Project, agrees_with_opencv) {
  constexpr double kBound = 1e-9;  // px: both are plain double arithmetic of the same formula
  double worst = 0;
  for (const Camera& c : {wide(), mild()}) {
    std::vector<cv::Point3d> points;
    for (const Vec3& p : grid(0.02625)) points.emplace_back(p.x(), p.y(), p.z());
    cv::Mat rotation, vector;
    cv::eigen2cv(Eigen::MatrixXd(c.pose.R), rotation);
    cv::Rodrigues(rotation, vector);
    std::vector<cv::Point2d> pixels;
    cv::projectPoints(points, vector, cv::Vec3d(c.pose.t.x(), c.pose.t.y(), c.pose.t.z()), k_of(c), d_of(c), pixels);
    int seen = 0;
    for (std::size_t i = 0; i < points.size(); ++i) {
      const auto p = c.project(Vec3(points[i].x, points[i].y, points[i].z));
      if (!p) continue;
      ++seen;
      worst = std::max(worst, (*p - Vec2(pixels[i].x, pixels[i].y)).norm());
    }
    EXPECT_GT(seen, 300);
  }
  EXPECT_LT(worst, kBound);
  RecordProperty("worst_pixels", std::to_string(worst));
}

TEST(Ray, agrees_with_opencv_undistort) {
  constexpr double kBound = 1e-8;  // normalised: undistortPoints iterates to 1e-12 here, but by fixed point
  double worst = 0;
  for (const Camera& c : {wide(), mild()}) {
    std::vector<cv::Point2d> pixels;
    for (int u = 160; u < 1920; u += 200)
      for (int v = 60; v < 1080; v += 120) pixels.emplace_back(u, v);
    std::vector<cv::Point2d> straight;
    cv::undistortPoints(pixels, straight, k_of(c), d_of(c), cv::noArray(), cv::noArray(),
                        cv::TermCriteria(cv::TermCriteria::MAX_ITER | cv::TermCriteria::EPS, 500, 1e-13));
    for (std::size_t i = 0; i < pixels.size(); ++i) {
      const Vec3 in_camera = c.pose.R * c.ray(Vec2(pixels[i].x, pixels[i].y));
      const Vec2 ours = in_camera.head<2>() / in_camera.z();
      worst = std::max(worst, (ours - Vec2(straight[i].x, straight[i].y)).norm());
    }
  }
  EXPECT_LT(worst, kBound);
}

TEST(OnPlane, is_projects_inverse) {
  constexpr double kBound = 1e-9;  // m
  double worst = 0;
  int seen = 0;
  for (const Camera& c : {wide(), mild()})
    for (const Vec3& p : grid(0.02625))
      if (const auto pixel = c.project(p)) {
        const auto back = c.on_plane(*pixel, p.z());
        ASSERT_TRUE(back) << p.transpose();
        worst = std::max(worst, (*back - p.head<2>()).norm());
        ++seen;
      }
  EXPECT_GT(seen, 600);
  EXPECT_LT(worst, kBound);
}

TEST(OnPlane, says_no_above_the_horizon_and_behind) {
  Camera c = mild();
  c.pose.R = (Mat3() << 1, 0, 0, 0, 0, -1, 0, 1, 0).finished();  // looks level along +y
  c.pose.t = -c.pose.R * Vec3(0, -3, 1);
  EXPECT_FALSE(c.on_plane(Vec2(966, 100), 0.0));
  EXPECT_TRUE(c.on_plane(Vec2(966, 1000), 0.0));
  EXPECT_FALSE(c.project(Vec3(0, -4, 1)));
}

TEST(Project, refuses_where_the_lens_model_folds_back) {
  Camera c = wide();
  c.lens.distortion = {-0.3, 0, 0, 0, 0};  // r (1 - 0.3 r^2) turns at r = 1 / sqrt(0.9)
  c.pose.R.setIdentity();
  c.pose.t.setZero();
  const double turn = 1 / std::sqrt(0.9);
  EXPECT_TRUE(c.project(Vec3(turn - 0.01, 0, 1)));
  EXPECT_FALSE(c.project(Vec3(turn + 0.01, 0, 1)));
  // A pixel that no direction reaches: no place on a plane, and ray() still answers with a unit vector.
  const Vec2 out(c.lens.cx + c.lens.fx * (turn * (1 - 0.3 * turn * turn) + 0.01), c.lens.cy);
  EXPECT_FALSE(c.on_plane(out, 1.0));
  EXPECT_NEAR(c.ray(out).norm(), 1, 1e-12);
}

TEST(BeforeFold, agrees_with_a_walk_along_the_radius) {
  std::mt19937 random(11);
  std::uniform_real_distribution<double> k1(-0.5, 0.2), k2(-0.2, 0.3), k3(-0.1, 0.1), r2(0.1, 6);
  int folds = 0;
  for (int i = 0; i < 500; ++i) {
    const std::array<double, 5> d{k1(random), k2(random), 0, 0, k3(random)};
    const double end = r2(random);
    double least = 1;
    for (int j = 0; j <= 20000; ++j) {
      const double s = end * j / 20000;
      least = std::min(least, 1 + s * (3 * d[0] + s * (5 * d[1] + s * 7 * d[4])));
    }
    if (std::abs(least) < 1e-6) continue;
    folds += least < 0;
    EXPECT_EQ(before_fold(d, end), least > 0);
  }
  EXPECT_GT(folds, 50);
}

TEST(PlaneJacobian, agrees_with_differences) {
  constexpr double kBound = 1e-3;  // px/m of some 500: central differences of 1e-6 m
  double worst = 0;
  for (const Camera& c : {wide(), mild()})
    for (const Vec3& p : grid(0.02625)) {
      const double h = 1e-6;
      const auto x1 = c.project(p + Vec3(h, 0, 0)), x0 = c.project(p - Vec3(h, 0, 0));
      const auto y1 = c.project(p + Vec3(0, h, 0)), y0 = c.project(p - Vec3(0, h, 0));
      if (!x1 || !x0 || !y1 || !y0) continue;
      Mat2 j;
      j.col(0) = (*x1 - *x0) / (2 * h);
      j.col(1) = (*y1 - *y0) / (2 * h);
      worst = std::max(worst, (j - c.plane_jacobian(p)).norm());
    }
  EXPECT_LT(worst, kBound);
}

// Brute force: of all points of the sphere that the lens sees, none projects outside the outline, and the outline is
// reached.
TEST(SphereOutline, is_the_border_of_the_spheres_picture) {
  constexpr double kBound = 0.02;  // px: the cloud of points is finite
  const double radius = 0.02625;
  std::mt19937 random(5);
  std::normal_distribution<double> normal;
  for (const Camera& c : {wide(), mild()})
    for (const Vec2& at : {Vec2(0, 0), Vec2(0.7, 1.5), Vec2(-0.8, -1.6)}) {
      const Vec3 centre(at.x(), at.y(), radius);
      const auto outline = c.sphere_outline(centre, radius, 90);
      ASSERT_EQ(outline.size(), 90u);
      std::vector<double> reach(outline.size(), -1e9);
      for (int i = 0; i < 200000; ++i) {
        const Vec3 p = centre + radius * Vec3(normal(random), normal(random), normal(random)).normalized();
        const auto pixel = c.project(p);
        if (!pixel) continue;
        for (std::size_t k = 0; k < outline.size(); k += 10)
          reach[k] = std::max(reach[k], (*pixel - outline[k].pixel).dot(outline[k].normal));
      }
      for (std::size_t k = 0; k < outline.size(); k += 10) {
        EXPECT_LT(reach[k], kBound);   // nothing outside
        EXPECT_GT(reach[k], -kBound);  // and touched
        EXPECT_NEAR((outline[k].in_table - centre).norm(), radius, 1e-12);
        // The touching ray is tangent.
        EXPECT_NEAR((outline[k].in_table - centre).dot((outline[k].in_table - c.pose.position()).normalized()), 0,
                    1e-12);
      }
    }
}

TEST(SphereOutline, is_not_centred_on_the_centres_picture) {
  // At 45 degrees off the axis of a pinhole the outline's middle lies outwards of the centre's picture: for a small
  // ball at distance d, by about f R^2 tan(a) / z^2 (from the tangent cone).
  Camera c;
  c.width = c.height = 2000;
  c.lens = {1000, 1000, 1000, 1000, {}};
  const double radius = 0.05;
  const auto outline = c.sphere_outline(Vec3(2, 0, 2), radius, 720);
  Vec2 low(1e9, 1e9), high(-1e9, -1e9);
  for (const auto& p : outline) {
    low = low.cwiseMin(p.pixel);
    high = high.cwiseMax(p.pixel);
  }
  EXPECT_NEAR(0.5 * (low.x() + high.x()) - 2000, 1000 * radius * radius / 4, 0.02);
  // It runs in order from the picture's right towards its bottom.
  EXPECT_GT(outline[180].pixel.y(), outline[0].pixel.y());
}

// The truth's own pixels of each ball, in the upright picture.
TEST(TruthRig, projects_the_truths_balls) {
  const auto folder = test_support::footage_folder();
  if (!folder) GTEST_SKIP() << "no footage (BAIZETRACE_FOOTAGE)";
  constexpr double kBound = 0.02;  // px: the truth's places have 5 decimals (0.01 mm), its pixels 2
  for (int clip = 1; clip <= 9; ++clip) {
    const auto truth = test_support::read_truth(*folder / ("P" + std::to_string(clip) + ".truth.json"));
    if (truth.is_discarded()) continue;
    const Rig rig = test_support::truth_rig(truth);
    const auto& size = truth["camera"]["image_size"];
    double worst = 0;
    int balls = 0;
    for (const auto& ball : truth["frames"][0][1]) {
      const auto p = rig.camera.project(Vec3(ball[1], ball[2], ball[3]));
      ASSERT_TRUE(p);
      const Vec2 told = test_support::upright_pixel(rig.turn, size[0], size[1], Vec2(ball[7], ball[8]));
      worst = std::max(worst, (*p - told).norm());
      ++balls;
    }
    EXPECT_GT(balls, 0);
    EXPECT_LT(worst, kBound) << "P" << clip;
  }
}

}  // namespace
}  // namespace baizetrace::camera
