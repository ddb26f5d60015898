// What is told of frames that show the picture before once more (the sample clip, drawn, see samples/README.md), and of
// a ball that lies still beside its shadow (drawn here).
#include "sight/eye.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgproc.hpp>

#include "base/files.hpp"
#include "support/drawn_table.hpp"
#include "support/truth_rig.hpp"
#include "table/ball_set.hpp"

namespace baizetrace::sight {
namespace {

TEST(Eye, AFrameThatRepeatsThePictureShowsWhatLiesThere) {
  set_data_folder(BAIZETRACE_SOURCE);
  const std::string file = std::string(BAIZETRACE_SOURCE) + "/samples/green-for-brown";
  const auto truth = test_support::read_truth(file + ".truth.json");
  ASSERT_TRUE(truth.is_object());
  const camera::Rig rig = test_support::truth_rig(truth);
  const auto spec = table::read_spec("full-size");
  const auto balls = table::read_ball_set("snooker");
  auto clip = video::Clip::open(file + ".mp4");
  ASSERT_TRUE(spec && balls && clip);
  Eye eye(rig, camera::table_of(rig, *spec), *balls);
  ASSERT_TRUE(eye.learn(*clip));
  const double strike = truth["attempts"][0]["strike"]["t_s"].get<double>();
  constexpr double kLater = 1e-3;  // s
  bool asked_at_rest = false, asked_moving = false;
  while (auto frame = clip->next()) {
    const Look look = eye.look(*frame);
    if (!asked_at_rest && frame->time > 0.3) {
      asked_at_rest = true;
      ASSERT_GT(look.sightings.size(), 4U);
      video::Frame again = *frame;
      again.repeated = true;
      again.time += kLater;
      const Look more = eye.look(again);
      EXPECT_FALSE(more.repeated) << "it is as good as another look";
      EXPECT_EQ(more.time, again.time);
      EXPECT_EQ(more.cover.cells, look.cover.cells);
      ASSERT_EQ(more.sightings.size(), look.sightings.size());
      for (std::size_t i = 0; i < look.sightings.size(); ++i) {
        EXPECT_EQ(more.sightings[i].at, look.sightings[i].at);
        EXPECT_NEAR(more.sightings[i].time, look.sightings[i].time + kLater, 1e-12);
        EXPECT_FALSE(more.sightings[i].fresh);
      }
    }
    if (frame->time > strike + 0.25) {
      asked_moving = true;
      video::Frame again = *frame;
      again.repeated = true;
      again.time += kLater;
      const Look more = eye.look(again);
      EXPECT_TRUE(more.repeated);
      EXPECT_TRUE(more.sightings.empty()) << "a ball that moves was not there twice: the phone lost a frame";
      break;
    }
  }
  EXPECT_TRUE(asked_at_rest && asked_moving);
}

// A dark red on green cloth, and beside it a sharp shadow as dark as itself: together they are as long as a ball that
// is smeared. It was told half way to the shadow for as long as nothing changed.
TEST(Eye, ABallAndItsSharpShadowAreNoSmear) {
  set_data_folder(BAIZETRACE_SOURCE);
  const auto spec = table::read_spec("full-size");
  const auto balls = table::read_ball_set("snooker");
  ASSERT_TRUE(spec && balls);
  const table::Table table(*spec);
  camera::Rig rig;
  rig.camera = test_support::overhead_camera(1920, 1080);
  rig.half_width = spec->half_width;
  rig.half_length = spec->half_length;
  const Vec2 at(0.2, -0.4);
  const double radius = balls->kinds[0].radius;
  const auto outline = ball_ellipse(rig.camera, at, radius);
  const auto pixel = rig.camera.project({at.x(), at.y(), radius});
  ASSERT_TRUE(outline && pixel);
  const auto cover = [&](const Vec2& p, const Vec2& shift, double blur) {
    return 0.5 * std::erfc(outline->distance(p - shift) / (blur * std::sqrt(2.0)));
  };
  const Vec2 shadow = 0.8 * outline->radius * Vec2(-0.8, 0.6);
  const cv::Mat bare = test_support::draw_luma(rig.camera, table, 0);
  const auto frame = [&](int index) {
    constexpr double kRedLuma = 52, kRedCb = 118, kRedCr = 176, kClothCb = 112, kClothCr = 104, kShade = 0.4;
    video::Frame f;
    f.index = index;
    f.time = index / 30.0;
    cv::Mat grain(bare.size(), CV_16S);
    cv::RNG(static_cast<std::uint64_t>(index + 1)).fill(grain, cv::RNG::NORMAL, 0, 0.8);
    cv::add(bare, grain, f.luma, cv::noArray(), CV_8U);
    f.cb = cv::Mat(f.luma.rows / 2, f.luma.cols / 2, CV_8U, cv::Scalar(kClothCb));
    f.cr = cv::Mat(f.luma.rows / 2, f.luma.cols / 2, CV_8U, cv::Scalar(kClothCr));
    const int x0 = static_cast<int>(pixel->x()) - 50, y0 = static_cast<int>(pixel->y()) - 50;
    for (int y = y0; y < y0 + 100; ++y)
      for (int x = x0; x < x0 + 100; ++x) {
        auto& level = f.luma.at<std::uint8_t>(y, x);
        const double dark = 16 + (level - 16) * (1 - (1 - kShade) * cover(Vec2(x, y), shadow, 0.8));
        const double share = cover(Vec2(x, y), {0, 0}, 0.8);
        level = cv::saturate_cast<std::uint8_t>(share * kRedLuma + (1 - share) * dark);
      }
    for (int y = y0 / 2; y < y0 / 2 + 50; ++y)
      for (int x = x0 / 2; x < x0 / 2 + 50; ++x) {
        const Vec2 p(2 * x + 0.5, 2 * y + 0.5);
        const double share = cover(p, {0, 0}, 1.4), dark = 1 - (1 - kShade) * cover(p, shadow, 1.4);
        const auto mix = [&](double ball, double cloth) {
          return cv::saturate_cast<std::uint8_t>(share * ball + (1 - share) * (128 + (cloth - 128) * dark));
        };
        f.cb.at<std::uint8_t>(y, x) = mix(kRedCb, kClothCb);
        f.cr.at<std::uint8_t>(y, x) = mix(kRedCr, kClothCr);
      }
    return f;
  };
  FirstFrames first;
  Eye eye(rig, table, *balls);
  for (int i = 0; !first.enough() && i < 90; ++i) first.show(frame(i));
  ASSERT_TRUE(eye.learn(first));
  Look look;
  for (int i = 0; i < 20; ++i) look = eye.look(frame(i));
  const Sighting* ball = nullptr;
  for (const Sighting& s : look.sightings)
    if ((s.at - at).norm() < 0.03) ball = &s;
  ASSERT_TRUE(ball);
  std::printf("a red and its shadow: %.2f mm off\n", 1e3 * (ball->at - at).norm());
  EXPECT_FALSE(ball->streak);
  EXPECT_LT((ball->at - at).norm(), 0.003) << "7.8 mm as a smear";
}

}  // namespace
}  // namespace baizetrace::sight
