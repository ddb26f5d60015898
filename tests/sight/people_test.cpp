// What of a picture may be shared: whoever leans over the bed is covered, the game is not. Drawn plainly, seeded.
#include "sight/people.hpp"

#include <gtest/gtest.h>

#include <opencv2/imgproc.hpp>

#include "support/drawn_table.hpp"
#include "support/full_size.hpp"

namespace baizetrace::sight {
namespace {

constexpr double kBall = 0.02625;  // m

struct Scene {
  table::Table table = test_support::full_size();
  camera::Rig rig;
  std::vector<Vec2> balls{{-0.12, 0.88}, {0.30, 0.31}, {0, 0}, {0, 1.46}, {0, -1.0475}, {0.03, -1.0475 + 0.053}};

  Scene() {
    rig.camera = test_support::overhead_camera();
    rig.half_width = table.half_width();
    rig.half_length = table.half_length();
  }
  [[nodiscard]] cv::Point pixel(const Vec2& at, double z) const {
    const Vec2 p = rig.camera.project({at.x(), at.y(), z}).value_or(Vec2(-50, -50));
    return {cvRound(p.x()), cvRound(p.y())};
  }
  // An arm from beyond a side to a bridge hand on the cloth, a head and shoulders at the side; 255 where they are.
  [[nodiscard]] cv::Mat person(const Vec2& hand, double side) const {
    cv::Mat mask = cv::Mat::zeros(rig.camera.height, rig.camera.width, CV_8U);
    const Vec2 shoulder(side * 1.05, hand.y() + 0.35);
    cv::line(mask, pixel(hand, 0.03), pixel(shoulder, 0.35), cv::Scalar(255), 26);
    cv::circle(mask, pixel(hand, 0.03), 20, cv::Scalar(255), cv::FILLED);
    cv::circle(mask, pixel({side * 0.80, hand.y() + 0.25}, 0.45), 46, cv::Scalar(255), cv::FILLED);
    return mask;
  }
  [[nodiscard]] video::Frame frame(int number, const cv::Mat& person, bool sleeve = false) const {
    video::Frame f;
    f.index = number;
    f.time = number / 30.0;
    f.luma = test_support::draw_luma(rig.camera, table, 2, 100 + static_cast<unsigned>(number));
    const cv::Size half((f.luma.cols + 1) / 2, (f.luma.rows + 1) / 2);
    f.cb = cv::Mat(half, CV_8U, cv::Scalar(112));
    f.cr = cv::Mat(half, CV_8U, cv::Scalar(104));
    for (const Vec2& b : balls) {
      const cv::Point c = pixel(b, kBall);
      const double r = 0.5 * cv::norm(pixel(b + Vec2(kBall, 0), kBall) - pixel(b - Vec2(kBall, 0), kBall));
      cv::circle(f.luma, c, cvRound(r), cv::Scalar(205), cv::FILLED, cv::LINE_AA);
      for (cv::Mat* chroma : {&f.cb, &f.cr}) cv::circle(*chroma, c / 2, cvRound(r / 2), cv::Scalar(128), cv::FILLED);
    }
    if (!person.empty()) {
      cv::Mat small;
      cv::resize(person, small, half, 0, 0, cv::INTER_NEAREST);
      f.luma.setTo(cv::Scalar(sleeve ? 30 : 150), person);
      f.cb.setTo(cv::Scalar(sleeve ? 128 : 108), small);
      f.cr.setTo(cv::Scalar(sleeve ? 128 : 154), small);
    }
    return f;
  }
  [[nodiscard]] People people() const {
    People p(rig, table, kBall);
    std::vector<video::Frame> frames;
    for (int k = 0; k < 9; ++k)  // somebody stands there in some of the pictures that the cloth is learnt from
      frames.push_back(frame(k, k % 4 == 1 ? person({-0.2, -0.9}, -1) : cv::Mat()));
    const auto learnt = p.learn(frames);
    EXPECT_TRUE(learnt) << learnt.error().what;
    return p;
  }
};

double share(const cv::Mat& of, const cv::Mat& in) {
  return static_cast<double>(cv::countNonZero(of & in)) / std::max(1, cv::countNonZero(in));
}

TEST(People, WhoeverLeansOverTheBedIsCoveredAndTheGameIsNot) {
  const Scene s;
  People people = s.people();
  const cv::Mat area = shown_area(s.rig, s.table);
  int number = 50;
  for (const auto& [hand, side] : {std::pair(Vec2(0.25, 0.75), 1.0), std::pair(Vec2(-0.35, -0.30), -1.0)})
    for (const bool sleeve : {false, true}) {
      const cv::Mat person = s.person(hand, side);
      const cv::Mat shown = people.shown(s.frame(number += 30, person, sleeve), s.balls);
      EXPECT_LT(share(shown, person), 0.005) << hand.transpose() << " sleeve " << sleeve;
      EXPECT_EQ(cv::countNonZero(shown & ~area), 0) << "beyond the table";
      cv::Mat near;
      cv::dilate(person, near, cv::getStructuringElement(cv::MORPH_ELLIPSE, {61, 61}));
      EXPECT_GT(share(shown, area & ~near), 0.995);
      for (const Vec2& b : s.balls)
        if (const cv::Point c = s.pixel(b, kBall); near.at<std::uint8_t>(c) == 0) {
          EXPECT_EQ(shown.at<std::uint8_t>(c), 255) << b.transpose();
        }
    }
}

TEST(People, NobodyThereHidesNothing) {
  const Scene s;
  People people = s.people();
  const cv::Mat area = shown_area(s.rig, s.table);
  EXPECT_GT(share(people.shown(s.frame(80, {}), s.balls), area), 0.998);
}

// Who was there a moment ago stays covered between two pictures in which they are told, and no longer.
TEST(People, CoverLingersAMomentAndNoLonger) {
  const Scene s;
  People people = s.people();
  const cv::Mat person = s.person({0.25, 0.75}, 1.0), area = shown_area(s.rig, s.table);
  (void)people.shown(s.frame(80, person), s.balls);
  EXPECT_LT(share(people.shown(s.frame(82, {}), s.balls), person & area), 0.01);
  EXPECT_GT(share(people.shown(s.frame(110, {}), s.balls), area), 0.998);
}

}  // namespace
}  // namespace baizetrace::sight
