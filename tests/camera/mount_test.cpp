// A camera that is knocked, sags, shakes or stands still, drawn with its true pose.
#include "camera/mount.hpp"
#include "base/files.hpp"

#include <gtest/gtest.h>

#include <opencv2/imgproc.hpp>

#include "camera/stretches.hpp"
#include "support/drawn_table.hpp"
#include "support/full_size.hpp"

namespace baizetrace::camera {
namespace {

using test_support::draw_luma;
using test_support::overhead_camera;

using test_support::full_size;

// The camera turned about its own lens: x_cam <- exp(w) x_cam.
Camera turned(Camera c, const Vec3& w) {
  c.pose = stepped(c.pose, w, Vec3::Zero());
  return c;
}

cv::Mat reference(const Camera& camera, const table::Table& table) {
  cv::Mat f;
  draw_luma(camera, table, 0.5).convertTo(f, CV_32F);
  return f;
}

video::Frame frame_of(const cv::Mat& luma, double time) {
  video::Frame f;
  f.time = time;
  f.luma = luma;
  f.cb = cv::Mat(luma.rows / 2, luma.cols / 2, CV_8U, cv::Scalar(128));
  f.cr = f.cb.clone();
  return f;
}

// A person in dark clothes who leans over a quarter of the picture, `at` 0..1 across it.
void draw_person(cv::Mat& luma, double at) {
  const cv::Point middle(static_cast<int>(at * luma.cols), luma.rows / 4);
  cv::ellipse(luma, middle, {luma.cols / 9, luma.rows / 2}, 10, 0, 360, cv::Scalar(38), -1);
  cv::circle(luma, middle + cv::Point(0, luma.rows / 3), luma.rows / 14, cv::Scalar(140), -1);
}

struct Case {
  double px;  // of pan at the picture's middle
  double roll;
};

// How well the pose is told after a knock: within 0.08 px over the bed, what a still frame's noise allows three times.
constexpr double kSure = 0.08;

class Knocked : public testing::TestWithParam<Case> {};
TEST_P(Knocked, IsFoundAgain) {
  const table::Table table = full_size();
  const Camera camera = overhead_camera();
  const Watch watch(reference(camera, table), camera, &table);
  const Vec3 w(0.6 * GetParam().px / camera.lens.fx, -0.8 * GetParam().px / camera.lens.fx, GetParam().roll);
  const Camera now = turned(camera, w);
  const Glance g = watch.search(draw_luma(now, table, 2, 7), camera.pose);
  ASSERT_TRUE(g.tells);
  const double off = watch.apart(g.pose, now.pose).pixels;
  RecordProperty("off_px", std::to_string(off));
  EXPECT_LT(off, kSure);
  EXPECT_NEAR(g.shift_pixels, watch.apart(camera.pose, now.pose).pixels, kSure);
}
INSTANTIATE_TEST_SUITE_P(Sizes, Knocked,
                         testing::Values(Case{0, 0}, Case{1, 0}, Case{3, 0}, Case{8, 0}, Case{20, 0}, Case{0, 0.02},
                                         Case{8, -0.015}, Case{40, 0.01}));

TEST(Watch, AMountThatShiftsIsToldOnTheBed) {
  const table::Table table = full_size();
  const Camera camera = overhead_camera();
  const Watch watch(reference(camera, table), camera, &table);
  Camera now = camera;
  now.pose = stepped(camera.pose, Vec3(0.002, 0.001, 0), Vec3(0.006, -0.004, 0.010));
  const Glance wide = watch.search(draw_luma(now, table, 2, 3), camera.pose);
  ASSERT_TRUE(wide.tells);
  // The drawing is flat, a table's cushions are not: 4 cm of height are worth 2 % of what a shift moves.
  EXPECT_LT(watch.apart(wide.pose, now.pose).pixels, kSure + 0.02 * wide.shift_pixels);
}

TEST(Watch, AnotherPictureTellsNothing) {
  const table::Table table = full_size();
  const Camera camera = overhead_camera();
  const Watch watch(reference(camera, table), camera, &table);
  cv::Mat floor(camera.height, camera.width, CV_8U);
  cv::randu(floor, 40, 120);
  cv::GaussianBlur(floor, floor, {0, 0}, 3);
  EXPECT_FALSE(watch.glance(floor, camera.pose).tells);
  EXPECT_FALSE(watch.search(floor, camera.pose).tells);
}

TEST(Mount, StandsStillWhilePeopleWalkAndLightsChange) {
  const table::Table table = full_size();
  const Camera camera = overhead_camera();
  Mount mount(reference(camera, table), camera, table);
  ASSERT_TRUE(mount.can_tell());
  const cv::Mat still[3] = {draw_luma(camera, table, 2, 1), draw_luma(camera, table, 2, 2),
                            draw_luma(camera, table, 2, 3)};
  for (int i = 0; i < 150; ++i) {
    cv::Mat luma = still[i % 3].clone();
    if (i > 20 && i < 90) draw_person(luma, (i - 20) / 70.0);
    const double light = i < 60 ? 1 : i < 100 ? 1 - 0.01 * (i - 60) : 0.6 + (i % 4) * 0.05;  // dimmed, then flickers
    luma.convertTo(luma, CV_8U, light, i > 100 ? 10 : 0);
    const Mount::Now now = mount.push(frame_of(luma, i / 30.0));
    EXPECT_TRUE(now.known) << i;
    EXPECT_LT(mount.apart(camera.pose, now.camera.pose).pixels, 0.2) << i;
  }
  EXPECT_TRUE(mount.moves().empty());
  EXPECT_TRUE(mount.lost().empty());
}

// From far off a turn and a shift that undo each other look nearly the same: half the frames may tell the one, half the
// other, as when a player leaves the table. Neither says that the bed moved in the picture.
TEST(Mount, FramesOfTwoMindsThatPutTheBedInOnePlaceAreNoMove) {
  const table::Table table = full_size();
  Camera camera = overhead_camera();
  constexpr double kFar = 7, kTurn = 0.0020;  // m, rad
  camera.lens.fx *= kFar / camera.pose.t.z();
  camera.lens.fy *= kFar / camera.pose.t.z();
  camera.pose.t.z() = kFar;
  Camera other = camera;
  other.pose = stepped(camera.pose, Vec3(0, kTurn, 0), Vec3(-kTurn * kFar, 0, 0));
  Mount mount(reference(camera, table), camera, table);
  ASSERT_TRUE(mount.can_tell());
  ASSERT_LT(mount.apart(camera.pose, other.pose).pixels, 0.4);
  ASSERT_GT(mount.apart(camera.pose, stepped(camera.pose, Vec3(0, kTurn, 0), Vec3::Zero())).pixels, 1.0);
  const cv::Mat one = draw_luma(camera, table, 1, 1), two = draw_luma(other, table, 1, 2);
  for (int i = 0; i < 90; ++i) mount.push(frame_of(i < 45 ? one : two, i / 29.5));
  EXPECT_TRUE(mount.moves().empty());
}

TEST(Mount, AKnockIsDatedSizedAndFollowed) {
  const table::Table table = full_size();
  const Camera camera = overhead_camera();
  Mount mount(reference(camera, table), camera, table);
  const Vec3 w(0.004, -0.006, 0.002);
  const Camera after = turned(camera, w);
  const cv::Mat before = draw_luma(camera, table, 2, 1), settled = draw_luma(after, table, 2, 2);
  Mount::Now now;
  for (int i = 0; i < 90; ++i) {
    const double t = (i - 30) / 30.0;  // s since the knock
    cv::Mat luma = before;
    if (i >= 30) luma = settled;
    if (i >= 30 && i < 40)
      luma = draw_luma(turned(camera, w * (1 + 0.5 * std::cos(40 * t) * std::exp(-8 * t))), table, 2, 5);
    cv::Mat seen = luma.clone();
    draw_person(seen, 0.1);
    now = mount.push(frame_of(seen, i / 30.0));
  }
  ASSERT_EQ(mount.moves().size(), 1U);
  const Move m = mount.moves()[0];
  EXPECT_NEAR(m.from, 1.0, 0.07);
  EXPECT_GT(m.to, 1.1);
  EXPECT_LT(m.to, 2.0);
  EXPECT_TRUE(m.settled);
  EXPECT_FALSE(m.slow);
  EXPECT_NEAR(m.pixels, mount.apart(camera.pose, after.pose).pixels, 0.15);
  EXPECT_LT(mount.apart(now.camera.pose, after.pose).pixels, 0.12);
}

TEST(Mount, ASagIsCorrectedOnTheWay) {
  const table::Table table = full_size();
  const Camera camera = overhead_camera();
  Mount mount(reference(camera, table), camera, table);
  double worst = 0;
  Camera there = camera;
  constexpr int kFrames = 104;
  constexpr double kSag = 0.004;  // rad: 2.6 px in 8 s, faster than mounts sag
  for (int i = 0; i < kFrames; ++i) {
    there = turned(camera, Vec3(kSag * i / kFrames, 0, 0));
    const Mount::Now now = mount.push(frame_of(draw_luma(there, table, 2, static_cast<unsigned>(i + 1)), i / 13.0));
    if (i > 18) worst = std::max(worst, mount.apart(now.camera.pose, there.pose).pixels);
  }
  RecordProperty("worst_px", std::to_string(worst));
  EXPECT_LT(worst, 0.5);  // a second of it, and the least that is corrected
  ASSERT_EQ(mount.moves().size(), 1U);
  EXPECT_TRUE(mount.moves()[0].slow);
  EXPECT_NEAR(mount.moves()[0].pixels, mount.apart(camera.pose, there.pose).pixels, 0.6);
}

TEST(Mount, WhatIsNotFoundAgainIsLostAndCanBeFoundAnew) {
  const table::Table table = full_size();
  const Camera camera = overhead_camera();
  Mount mount(reference(camera, table), camera, table);
  const cv::Mat before = draw_luma(camera, table, 2, 1);
  cv::Mat wall(camera.height, camera.width, CV_8U, cv::Scalar(90));
  for (int i = 0; i < 30; ++i) (void)mount.push(frame_of(before, i / 30.0));
  Mount::Now now;
  for (int i = 30; i < 130; ++i) now = mount.push(frame_of(wall, i / 30.0));
  EXPECT_FALSE(now.known);
  ASSERT_TRUE(mount.lost_since());
  EXPECT_NEAR(*mount.lost_since(), 1.0, 0.1);
  const Camera there = turned(camera, Vec3(0.2, 0.1, 0.3));
  mount.found(reference(there, table), there, table, 130 / 30.0);
  now = mount.push(frame_of(draw_luma(there, table, 2, 9), 130 / 30.0 + 0.1));
  EXPECT_TRUE(now.known);
  ASSERT_EQ(mount.lost().size(), 1U);
  EXPECT_NEAR(mount.lost()[0].to, 130 / 30.0, 1e-9);
  EXPECT_LT(mount.apart(now.camera.pose, there.pose).pixels, kSure);
}

// What `register` looks at before it averages: the camera is not known yet.
TEST(StillStretches, AKnockCutsTheClipAndPeopleDoNot) {
  const table::Table table = full_size();
  const Camera camera = overhead_camera(), after = turned(camera, Vec3(0.004, -0.003, 0.002));
  const cv::Mat a = draw_luma(camera, table, 2, 1), b = draw_luma(after, table, 2, 2);
  std::vector<Snap> still, knocked;
  for (int i = 0; i < 14; ++i) {
    cv::Mat one = a.clone(), two = i < 9 ? a.clone() : b.clone();
    draw_person(one, i / 14.0);
    draw_person(two, i / 14.0);
    still.push_back({i * 0.5, one, 1});
    knocked.push_back({i * 0.5, two, 1});
  }
  EXPECT_EQ(still_stretches(still).size(), 1U);
  const auto cut = still_stretches(knocked);
  ASSERT_EQ(cut.size(), 2U);
  EXPECT_NEAR(cut[0].to, 4.0, 1e-9);
  EXPECT_NEAR(cut[1].from, 4.5, 1e-9);
  const Watch watch(reference(camera, table), camera, &table);
  EXPECT_NEAR(cut[0].pixels_to_next, watch.apart(camera.pose, after.pose).pixels, 1.0);  // whole picture, not the bed
}

}  // namespace
}  // namespace baizetrace::camera
