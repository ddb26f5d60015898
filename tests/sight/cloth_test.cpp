// What an eye's first frames teach it of the cloth.
#include "sight/cloth.hpp"

#include <gtest/gtest.h>

#include <opencv2/imgproc.hpp>

#include "sight/eye.hpp"
#include "support/drawn_table.hpp"
#include "support/full_size.hpp"

namespace baizetrace::sight {
namespace {

video::Frame plain(int index, double time, const cv::Mat& luma) {
  video::Frame f;
  f.index = index;
  f.time = time;
  f.luma = luma;
  f.cb = cv::Mat(luma.rows / 2, luma.cols / 2, CV_8U, cv::Scalar(112));
  f.cr = cv::Mat(luma.rows / 2, luma.cols / 2, CV_8U, cv::Scalar(104));
  return f;
}

// Each frame counts as what it was. One of them was once sorted in place with what the median is found by, and stood
// for the brightest of all: the cloth came out a sixth of the noise off.
TEST(Cloth, IsTheMeanOfItsFrames) {
  const table::Table table = test_support::full_size();
  camera::Rig rig;
  rig.camera = test_support::overhead_camera();
  rig.half_width = table.half_width();
  rig.half_length = table.half_length();
  const Region region = Region::make(rig, table, 0.02625);
  constexpr int kFrames = 7;
  constexpr double kNoise = 2;  // levels
  std::vector<video::Frame> frames;
  for (int i = 0; i < kFrames; ++i)
    frames.push_back(plain(i, i / 30.0, test_support::draw_luma(rig.camera, table, kNoise, static_cast<unsigned>(i))));
  Cloth cloth(region);
  ASSERT_TRUE(cloth.learn(frames));
  cv::Mat mean = cv::Mat::zeros(frames[0].luma.size(), CV_32F), bed;
  for (const video::Frame& f : frames) cv::accumulate(f.luma, mean);
  mean /= kFrames;
  cv::resize(region.kind == Region::bed, bed, mean.size(), 0, 0, cv::INTER_NEAREST);
  const cv::Mat off = cloth.view(frames[0], {}).bare_luma - mean;
  EXPECT_NEAR(cv::mean(off, bed)[0], 0, 0.03);
}

// Seven in the first second, however unevenly they come: a rig that was given is checked on little more than that.
TEST(FirstFrames, AreEnoughAfterASecond) {
  const cv::Mat luma(16, 16, CV_8U, cv::Scalar(90));
  for (const double rate : {24.0, 25.0, 30.0, 50.0, 60.0}) {
    FirstFrames first;
    int i = 0;
    for (; !first.enough() && i < 200; ++i) first.show(plain(i, (i + (i % 3 == 1 ? 0.4 : 0.0)) / rate, luma));
    EXPECT_LE((i - 1) / rate, 1.05) << rate << " frames a second";
  }
}

// An end that the picture cuts off hides balls as a board does; what lies in the picture is open.
TEST(Region, WhatThePictureCutsOffIsNotOpen) {
  const table::Table table = test_support::full_size();
  camera::Rig rig;
  rig.camera = test_support::overhead_camera();
  rig.half_width = table.half_width();
  rig.half_length = table.half_length();
  EXPECT_TRUE(Region::make(rig, table, 0.02625).beyond.none());
  rig.camera.lens.cx += 200;
  const Region cut = Region::make(rig, table, 0.02625);
  CoverMap cover;
  cover.half_width = cut.cover_half_width;
  cover.half_length = cut.cover_half_length;
  cover.cells = cut.beyond;
  const double end = table.half_length() - 0.05;
  const double seen = rig.camera.project({0, end, 0})->x() < rig.camera.width ? 1 : -1;
  EXPECT_FALSE(cover.covered({0, seen * end}));
  EXPECT_FALSE(cover.covered({0, 0}));
  EXPECT_TRUE(cover.covered({0, -seen * end}));
  EXPECT_TRUE(cover.covered({0.8, -seen * end}));
}

}  // namespace
}  // namespace baizetrace::sight
