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
        EXPECT_TRUE(more.sightings[i].again);
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

// A dark red on green cloth seen from straight above, with or without a sharp shadow as dark as itself beside it.
class RedOnGreen {
 public:
  explicit RedOnGreen(bool shadow) : shadow_(shadow) {
    set_data_folder(BAIZETRACE_SOURCE);
    const auto spec = table::read_spec("full-size");
    const auto set = table::read_ball_set("snooker");
    if (!spec || !set) return;
    balls = *set;
    rig.camera = test_support::overhead_camera(1920, 1080);
    rig.half_width = spec->half_width;
    rig.half_length = spec->half_length;
    table.emplace(*spec);
    outline_ = ball_ellipse(rig.camera, at, balls.kinds[0].radius);
    pixel_ = rig.camera.project({at.x(), at.y(), balls.kinds[0].radius});
    bare_ = test_support::draw_luma(rig.camera, *table, 0);
  }
  [[nodiscard]] bool ready() const { return table && outline_ && pixel_; }
  [[nodiscard]] Eye learnt() const {
    FirstFrames first;
    Eye eye(rig, *table, balls);
    for (int i = 0; !first.enough() && i < 90; ++i) first.show(frame(i));
    EXPECT_TRUE(eye.learn(first));
    return eye;
  }
  // 30 a second. `covered`: a grey board lies over it.
  [[nodiscard]] video::Frame frame(int index, bool covered = false) const {
    constexpr double kRedLuma = 52, kRedCb = 118, kRedCr = 176, kClothCb = 112, kClothCr = 104, kShade = 0.4;
    const Vec2 shadow = 0.8 * outline_->radius * Vec2(-0.8, 0.6);
    const auto cover = [&](const Vec2& p, const Vec2& shift, double blur) {
      return 0.5 * std::erfc(outline_->distance(p - shift) / (blur * std::sqrt(2.0)));
    };
    const auto lit = [&](const Vec2& p, double blur) {
      return shadow_ ? 1 - (1 - kShade) * cover(p, shadow, blur) : 1.0;
    };
    video::Frame f;
    f.index = index;
    f.time = index / 30.0;
    cv::Mat grain(bare_.size(), CV_16S);
    cv::RNG(static_cast<std::uint64_t>(index + 1)).fill(grain, cv::RNG::NORMAL, 0, 0.8);
    cv::add(bare_, grain, f.luma, cv::noArray(), CV_8U);
    f.cb = cv::Mat(f.luma.rows / 2, f.luma.cols / 2, CV_8U, cv::Scalar(kClothCb));
    f.cr = cv::Mat(f.luma.rows / 2, f.luma.cols / 2, CV_8U, cv::Scalar(kClothCr));
    const int x0 = static_cast<int>(pixel_->x()) - 50, y0 = static_cast<int>(pixel_->y()) - 50;
    for (int y = y0; y < y0 + 100; ++y)
      for (int x = x0; x < x0 + 100; ++x) {
        auto& level = f.luma.at<std::uint8_t>(y, x);
        const double dark = 16 + (level - 16) * lit(Vec2(x, y), 0.8), share = cover(Vec2(x, y), {0, 0}, 0.8);
        level = cv::saturate_cast<std::uint8_t>(share * kRedLuma + (1 - share) * dark);
      }
    for (int y = y0 / 2; y < y0 / 2 + 50; ++y)
      for (int x = x0 / 2; x < x0 / 2 + 50; ++x) {
        const Vec2 p(2 * x + 0.5, 2 * y + 0.5);
        const double share = cover(p, {0, 0}, 1.4), dark = lit(p, 1.4);
        const auto mix = [&](double ball, double cloth) {
          return cv::saturate_cast<std::uint8_t>(share * ball + (1 - share) * (128 + (cloth - 128) * dark));
        };
        f.cb.at<std::uint8_t>(y, x) = mix(kRedCb, kClothCb);
        f.cr.at<std::uint8_t>(y, x) = mix(kRedCr, kClothCr);
      }
    if (covered) {
      constexpr double kBoard = 150, kGrey = 128;
      f.luma(cv::Rect(x0, y0, 100, 100)).setTo(kBoard);
      for (const cv::Mat* chroma : {&f.cb, &f.cr}) (*chroma)(cv::Rect(x0 / 2, y0 / 2, 50, 50)).setTo(kGrey);
    }
    return f;
  }
  // The sighting that is near it, if any is.
  [[nodiscard]] std::optional<Sighting> seen_in(const Look& look) const {
    for (const Sighting& s : look.sightings)
      if ((s.at - at).norm() < 0.03) return s;
    return std::nullopt;
  }

  const Vec2 at{0.2, -0.4};
  table::BallSet balls;
  camera::Rig rig;
  std::optional<table::Table> table;

 private:
  bool shadow_;
  std::optional<Ellipse> outline_;
  std::optional<Vec2> pixel_;
  cv::Mat bare_;
};

// A ball and a sharp shadow as dark as itself are as long as a ball that is smeared. It was told half way to the shadow
// for as long as nothing changed.
TEST(Eye, ABallAndItsSharpShadowAreNoSmear) {
  const RedOnGreen scene(true);
  ASSERT_TRUE(scene.ready());
  Eye eye = scene.learnt();
  Look look;
  for (int i = 0; i < 20; ++i) look = eye.look(scene.frame(i));
  const auto ball = scene.seen_in(look);
  ASSERT_TRUE(ball);
  std::printf("a red and its shadow: %.2f mm off\n", 1e3 * (ball->at - scene.at).norm());
  EXPECT_FALSE(ball->streak);
  EXPECT_LT((ball->at - scene.at).norm(), 0.004) << "7.8 mm as a smear";
}

// Under a board a ball at rest is looked for a few times a second; when the board is gone it is back within that, as
// the ball that lay there and not as a new one: its place is the mean of the looks before.
TEST(Eye, ABallThatWasCoveredIsTheOneThatLayThere) {
  const RedOnGreen scene(false);
  ASSERT_TRUE(scene.ready());
  Eye eye = scene.learnt();
  Look look;
  int i = 0;
  for (; i < 60; ++i) look = eye.look(scene.frame(i));
  const auto before = scene.seen_in(look);
  ASSERT_TRUE(before);
  for (; i < 95; ++i) {
    look = eye.look(scene.frame(i, true));
    EXPECT_FALSE(scene.seen_in(look)) << i;
  }
  std::optional<Sighting> after;
  for (const int uncovered = i; i < uncovered + 4 && !after; ++i) after = scene.seen_in(eye.look(scene.frame(i)));
  ASSERT_TRUE(after);
  EXPECT_LT((after->at - before->at).norm(), 1.5e-5) << "one more look of the mean; as a new ball 0.03 mm";
}

}  // namespace
}  // namespace baizetrace::sight
