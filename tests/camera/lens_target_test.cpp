// The lens solved from a target, beside OpenCV's own projection and its published pictures.
#include "camera/lens_target.hpp"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <filesystem>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>

#include "camera/known_lens.hpp"
#include "camera/register.hpp"
#include "support/full_size.hpp"
#include "support/program.hpp"

namespace baizetrace::camera {
namespace {
namespace fs = std::filesystem;

// Debian's opencv-doc, or a copy of its data folder (BAIZETRACE_OPENCV_DATA).
std::optional<fs::path> opencv_data() {
  const char* set = std::getenv("BAIZETRACE_OPENCV_DATA");
  const fs::path folder = set && *set ? fs::path(set) : fs::path("/usr/share/doc/opencv-doc/examples/data");
  if (!fs::exists(folder / "left01.jpg")) return std::nullopt;
  return folder;
}
constexpr const char* kAbsent = "the package opencv-doc is not installed: its pictures of a chessboard are absent";

// How far apart two lenses show the same scene, px: mean over the picture but for its outermost tenth, which the
// target hardly reaches. The camera may be turned to match: a centre that lies off and a camera that is turned a little
// show the same, and whoever uses a lens solves the pose anew.
double lenses_apart(const Lens& a, const Lens& b, int width, int height) {
  const Camera ca{width, height, a, {}};
  Camera cb{width, height, b, {}};
  std::vector<Vec2> pixels;
  Mat3 sum = Mat3::Zero();
  for (int i = 0; i <= 8; ++i)
    for (int j = 0; j <= 6; ++j) {
      pixels.emplace_back((width - 1) * (0.1 + 0.8 * i / 8.0), (height - 1) * (0.1 + 0.8 * j / 6.0));
      sum += cb.ray(pixels.back()) * ca.ray(pixels.back()).transpose();
    }
  const Eigen::JacobiSVD<Mat3> svd(sum, Eigen::ComputeFullU | Eigen::ComputeFullV);
  cb.pose.R = svd.matrixU() * svd.matrixV().transpose();
  double all = 0;
  for (const Vec2& p : pixels) all += (cb.project(ca.ray(p) * 3).value_or(Vec2(1e3, 1e3)) - p).norm();
  return all / static_cast<double>(pixels.size());
}

// Views drawn by OpenCV's own projectPoints, with noise.
std::vector<TargetView> drawn_views(const cv::Mat& K, const cv::Mat& d, int count, double noise) {
  std::mt19937 random(3);
  std::uniform_real_distribution<double> tilt(-0.6, 0.6), place(-1, 1);
  std::normal_distribution<float> grain(0, static_cast<float>(noise));
  std::vector<cv::Point3f> board;
  for (int r = 0; r < kTargetRows; ++r)
    for (int c = 0; c < kTargetColumns; ++c)
      board.emplace_back(0.025F * static_cast<float>(c), 0.025F * static_cast<float>(r), 0.0F);
  std::vector<TargetView> views;
  while (static_cast<int>(views.size()) < count) {
    const cv::Vec3d turn(tilt(random), tilt(random), 3 * place(random));
    const cv::Vec3d shift(0.45 * place(random) - 0.1, 0.3 * place(random) - 0.06, 0.34 + 0.1 * place(random));
    TargetView v;
    cv::projectPoints(board, turn, shift, K, d, v);
    bool inside = true;
    for (cv::Point2f& p : v) {
      inside = inside && p.x > 5 && p.y > 5 && p.x < 1914 && p.y < 1074;
      p += cv::Point2f(grain(random), grain(random));
    }
    if (inside) views.push_back(v);
  }
  return views;
}

TEST(SolveLens, FindsTheLensThatOpenCvProjectedThrough) {
  const cv::Mat K = (cv::Mat_<double>(3, 3) << 940, 0, 951, 0, 942, 546, 0, 0, 1);
  const cv::Mat d = (cv::Mat_<double>(1, 5) << -0.29, 0.09, 0.0006, -0.0008, -0.011);
  const LensSolved s = solve_lens(drawn_views(K, d, 40, 0.1), {1920, 1080});
  ASSERT_TRUE(s.found) << s.why;
  const Lens truth{940, 942, 951, 546, {-0.29, 0.09, 0.0006, -0.0008, -0.011}};
  const double off = lenses_apart(truth, s.profile.known.lens, 1920, 1080);
  RecordProperty("off_px", std::to_string(off));
  EXPECT_LT(off, 1.0);  // px: noise of 0.1 px in 40 views, of which few reach the picture's rim
  EXPECT_NEAR(s.profile.rms_pixels, 0.1 * std::sqrt(2.0), 0.03);
  const double expected[9] = {940, 942, 951, 546, -0.29, 0.09, 0.0006, -0.0008, -0.011};
  const Lens& lens = s.profile.known.lens;
  for (std::size_t i = 0; i < 9; ++i) {
    const double got[4] = {lens.fx, lens.fy, lens.cx, lens.cy};
    EXPECT_LT(std::abs((i < 4 ? got[i] : lens.distortion[i - 4]) - expected[i]), 3.5 * s.profile.known.u[i]) << i;
  }
}

TEST(SolveLens, SaysWhatIsMissing) {
  EXPECT_FALSE(solve_lens({}, {1920, 1080}).found);
  const cv::Mat K = (cv::Mat_<double>(3, 3) << 940, 0, 960, 0, 940, 540, 0, 0, 1), d = cv::Mat::zeros(1, 5, CV_64F);
  EXPECT_NE(solve_lens(drawn_views(K, d, 4, 0.1), {1920, 1080}).why.find("at least 8"), std::string::npos);
  // The same middle of the picture over and over.
  std::vector<TargetView> middle = drawn_views(K, d, 12, 0.1);
  for (TargetView& v : middle)
    for (cv::Point2f& p : v) p = {960 + 0.2F * (p.x - 960), 540 + 0.2F * (p.y - 540)};
  EXPECT_NE(solve_lens(middle, {1920, 1080}).why.find("% of the picture"), std::string::npos);
}

TEST(Target, IsFoundInItsOwnDrawing) {
  ASSERT_TRUE(target_svg("a4"));
  EXPECT_FALSE(target_svg("letterbox"));
  // The squares of the drawing, rasterised plainly: 4 px a mm.
  cv::Mat m(840, 1188, CV_8U, cv::Scalar(255));
  for (int r = 0; r <= kTargetRows; ++r)
    for (int c = r % 2; c <= kTargetColumns; c += 2)
      cv::rectangle(m, cv::Rect(94 + 100 * c, 58 + 100 * r, 100, 100), cv::Scalar(0), -1);
  const TargetView v = find_target(m);
  ASSERT_EQ(v.size(), static_cast<std::size_t>(kTargetColumns * kTargetRows));
  EXPECT_NEAR(cv::norm(v[1] - v[0]), 100, 0.5);
}

// Source: OpenCV's samples/data, left01.jpg .. left09.jpg and left_intrinsics.yml, which its calibration sample made of
// left01 .. left14 with fx = fy held (Debian package opencv-doc).
TEST(SolveLens, AgreesWithThePublishedCalibration) {
  const auto folder = opencv_data();
  if (!folder) GTEST_SKIP() << kAbsent;
  std::vector<TargetView> views, plain_views, published_views;
  cv::Size size;
  for (int i = 1; i <= 14; ++i) {
    const cv::Mat m = cv::imread((*folder / fmt::format("left{:02}.jpg", i)).string(), cv::IMREAD_GRAYSCALE);
    if (m.empty()) continue;
    size = m.size();
    if (auto v = find_target(m); !v.empty()) views.push_back(std::move(v));
    // The same by the older finder of the calibration sample, window and all.
    TargetView plain;
    if (cv::findChessboardCorners(m, {kTargetColumns, kTargetRows}, plain)) {
      cv::cornerSubPix(m, plain, {11, 11}, {-1, -1}, {cv::TermCriteria::EPS | cv::TermCriteria::COUNT, 30, 0.1});
      published_views.push_back(plain);
      if (i != 2) plain_views.push_back(plain);
    }
  }
  ASSERT_GE(views.size(), 8U);
  const LensSolved s = solve_lens(views, size);
  ASSERT_TRUE(s.found) << s.why;
  cv::FileStorage file((*folder / "left_intrinsics.yml").string(), cv::FileStorage::READ);
  cv::Mat K, d;
  file["camera_matrix"] >> K;
  file["distortion_coefficients"] >> d;
  Lens published{K.at<double>(0, 0), K.at<double>(1, 1), K.at<double>(0, 2), K.at<double>(1, 2), {}};
  for (int i = 0; i < 5; ++i) published.distortion[static_cast<std::size_t>(i)] = d.at<double>(i);
  const Lens& got = s.profile.known.lens;
  RecordProperty("apart_px", std::to_string(lenses_apart(published, got, size.width, size.height)));
  EXPECT_NEAR(got.fx, published.fx, 0.01 * published.fx);
  EXPECT_NEAR(got.cx, published.cx, 5);
  EXPECT_NEAR(got.cy, published.cy, 5);
  // The published fit is 0.39 px rms over its views and keeps one that is 1.2 px off, which is left out here. Twice
  // what the stated u allows, see below.
  EXPECT_LT(lenses_apart(published, got, size.width, size.height), 2.5);
  EXPECT_LT(s.profile.rms_pixels, 0.5);
  std::vector<cv::Point3f> board;
  for (int r = 0; r < kTargetRows; ++r)
    for (int c = 0; c < kTargetColumns; ++c) board.emplace_back(static_cast<float>(c), static_cast<float>(r), 0.0F);
  // What the published numbers are made of: every view, the second too, which does not fit (1.2 px), and fx = fy held
  // (the file's flags: 2, CALIB_FIX_ASPECT_RATIO). The same done here gives the file's numbers, so that what is left
  // between them and ours is that one view.
  const auto by_opencv = [&](const std::vector<TargetView>& seen, int flags) {
    std::vector<cv::Mat> turns, shifts;
    cv::Mat k = cv::Mat::eye(3, 3, CV_64F), e;
    cv::calibrateCamera(std::vector(seen.size(), board), seen, size, k, e, turns, shifts, flags);
    Lens lens{k.at<double>(0, 0), k.at<double>(1, 1), k.at<double>(0, 2), k.at<double>(1, 2), {}};
    for (int i = 0; i < 5; ++i) lens.distortion[static_cast<std::size_t>(i)] = e.at<double>(i);
    return lens;
  };
  const double recipe =
      lenses_apart(published, by_opencv(published_views, cv::CALIB_FIX_ASPECT_RATIO), size.width, size.height);
  // The same corners, the same model, the same views: ours beside OpenCV's.
  const LensSolved same = solve_lens(plain_views, size);
  ASSERT_TRUE(same.found) << same.why;
  const double apart = lenses_apart(by_opencv(plain_views, 0), same.profile.known.lens, size.width, size.height);
  const double one_view =
      lenses_apart(by_opencv(published_views, 0), by_opencv(plain_views, 0), size.width, size.height);
  const double finders = lenses_apart(by_opencv(plain_views, 0), got, size.width, size.height);
  fmt::print(
      "px apart: the published recipe redone {:.2f}; ours on the same corners {:.3f}; with and without the view "
      "that does not fit {:.2f}; another finder of corners {:.2f}\n",
      recipe, apart, one_view, finders);
  EXPECT_LT(recipe, 0.3);
  EXPECT_LT(apart, 0.1);
  EXPECT_LT(finders, 1.5);
}

TEST(LensProfile, IsKeptScaledAndTurned) {
  LensProfile p{1920, 1080, {{940, 942, 951, 546, {-0.29, 0.09, 0.0006, -0.0008, -0.011}}, {}}, 0.2, 20};
  p.known.u.fill(0.5);
  const tests::ScratchFolder scratch;
  const std::string file = scratch.file("phone.lens.json");
  std::ofstream(file) << lens_json(p);
  const auto back = read_lens(file);
  ASSERT_TRUE(back) << back.error().what;
  EXPECT_EQ(lens_json(*back), lens_json(p));
  const auto twice = fitted(*back, 3840, 2160, file);
  ASSERT_TRUE(twice);
  // A point of the scene is seen at the same share of the picture: pixel centres at integers.
  Camera small{1920, 1080, p.known.lens, {}}, large{3840, 2160, twice->lens, {}};
  const Vec3 point(0.4, -0.2, 1);
  EXPECT_NEAR((large.project(point)->x() + 0.5) / 2, small.project(point)->x() + 0.5, 1e-9);
  const auto upright = fitted(*back, 1080, 1920, file);
  ASSERT_TRUE(upright);
  EXPECT_EQ(upright->lens.fy, 940);
  EXPECT_FALSE(fitted(*back, 1440, 1080, file));
  std::ofstream(file) << "{\"format\": \"baizetrace/lens-1\", \"image\": [1920]}";
  EXPECT_FALSE(read_lens(file));
  std::ofstream(file) << "no json";
  EXPECT_FALSE(read_lens(file));
  EXPECT_FALSE(read_lens(scratch.file("absent.json")));
}

// Real pictures and videos without a table are refused, with a reason.
TEST(Register, PublishedVideosAndPicturesWithoutATableAreRefused) {
  const auto folder = opencv_data();
  if (!folder) GTEST_SKIP() << kAbsent;
  const table::Spec spec = test_support::full_size().spec();
  const auto balls = table::read_ball_set(spec.balls);
  ASSERT_TRUE(balls);
  int looked_at = 0;
  for (const auto& file : fs::directory_iterator(*folder)) {
    // A still picture is a clip of one frame; these show rooms, a board, fruit, a table laid out.
    static const std::vector<std::string> stills{"home.jpg", "board.jpg", "fruits.jpg", "left01.jpg", "building.jpg"};
    if (file.path().extension() != ".avi" &&
        std::find(stills.begin(), stills.end(), file.path().filename().string()) == stills.end())
      continue;
    const auto found = register_clip(file.path().string(), spec, *balls);
    ++looked_at;
    if (!found) continue;  // not readable: said so
    EXPECT_FALSE(found->found) << file.path();
    EXPECT_FALSE(found->why.empty()) << file.path();
  }
  EXPECT_GT(looked_at, 0);
}

}  // namespace
}  // namespace baizetrace::camera
