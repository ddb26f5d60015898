// Nobody is left in what is shared: on the drawn clips in which people lean over the table. The reference is made here
// by other means than the program's: the median picture of the whole clip, pixel by pixel; what differs strongly from
// it and is thicker than a ball is somebody.
#include <gtest/gtest.h>

#include <opencv2/imgproc.hpp>

#include "camera/rig.hpp"
#include "sight/people.hpp"
#include "support/truth_rig.hpp"
#include "table/ball_set.hpp"
#include "video/clip.hpp"

namespace baizetrace {
namespace {

constexpr double kBall = 0.02625;  // m
constexpr int kFrames = 24;        // looked at in each clip

std::vector<video::Frame> spread(const std::string& file, int n, double until) {
  auto clip = video::Clip::open(file);
  EXPECT_TRUE(clip.has_value());
  std::vector<video::Frame> frames;
  const double duration = std::min(until, clip->info().duration);
  for (int k = 0; k < n; ++k) {
    if (!clip->seek(duration * (k + 0.5) / n)) continue;
    if (auto f = clip->next()) frames.push_back(std::move(*f));
  }
  return frames;
}

cv::Mat median_of(const std::vector<video::Frame>& frames) {
  cv::Mat out(frames[0].height(), frames[0].width(), CV_8UC3);
  std::vector<cv::Mat> all;
  for (const auto& f : frames) all.push_back(f.bgr());
  std::vector<std::uint8_t> v(all.size());
  for (int y = 0; y < out.rows; ++y)
    for (int x = 0; x < out.cols * 3; ++x) {
      for (std::size_t k = 0; k < all.size(); ++k) v[k] = all[k].ptr(y)[x];
      std::nth_element(v.begin(), v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2), v.end());
      out.ptr(y)[x] = v[v.size() / 2];
    }
  return out;
}

struct Case {
  const char* name;
  double until;  // s: before the mount of P7 is knocked
};

class OnlyTheBed : public testing::TestWithParam<Case> {};

TEST_P(OnlyTheBed, NobodyIsLeftAndTheBedIs) {
  const auto footage = test_support::footage_folder();
  if (!footage) GTEST_SKIP() << "the drawn clips are not there (BAIZETRACE_FOOTAGE)";
  const std::string file = (*footage / (std::string(GetParam().name) + ".mp4")).string();
  const auto truth = test_support::read_truth(*footage / (std::string(GetParam().name) + ".truth.json"));
  const auto rig = test_support::truth_rig(truth);
  const auto spec = table::read_spec(std::string(BAIZETRACE_SOURCE) + "/calibration/tables/full-size.table.toml");
  ASSERT_TRUE(spec.has_value());
  const table::Table table = camera::table_of(rig, *spec);
  auto clip = video::Clip::open(file);
  ASSERT_TRUE(clip.has_value());
  sight::People people(rig, table, kBall);
  ASSERT_TRUE(people.learn(*clip, 0, GetParam().until).has_value());
  const auto frames = spread(file, kFrames, GetParam().until);
  const cv::Mat bare = median_of(frames), area = sight::shown_area(rig, table);
  const double ball = kBall * std::sqrt(std::abs(rig.camera.plane_jacobian({0, 0, kBall}).determinant()));
  const int thick = 2 * static_cast<int>(1.4 * ball) + 1;
  const cv::Mat disc = cv::getStructuringElement(cv::MORPH_ELLIPSE, {thick, thick});
  long left = 0, somebody = 0, wrongly = 0, bed = 0, with_people = 0;
  for (const video::Frame& f : frames) {
    const cv::Mat shown = people.shown(f, {});
    cv::Mat off, grey;
    cv::absdiff(f.bgr(), bare, off);
    cv::transform(off, grey, cv::Matx13f(0.34F, 0.33F, 0.33F));
    cv::Mat person = grey > 30;
    cv::morphologyEx(person, person, cv::MORPH_OPEN, disc);
    person &= area;
    const int here = cv::countNonZero(person);
    somebody += here;
    if (here > 2000) ++with_people;
    left += cv::countNonZero(person & shown);
    cv::Mat far;
    cv::dilate(person, far,
               cv::getStructuringElement(cv::MORPH_ELLIPSE,
                                         {12 * static_cast<int>(ball) + 1, 12 * static_cast<int>(ball) + 1}));
    const cv::Mat away = area & ~far;
    bed += cv::countNonZero(away);
    wrongly += cv::countNonZero(away & ~shown);
  }
  RecordProperty("person_pixels", std::to_string(somebody));
  RecordProperty("left_ppm", std::to_string(1e6 * static_cast<double>(left) / static_cast<double>(somebody)));
  std::printf("%s: %ld frames with people, %ld px of them, %ld left; %.2f %% of the free bed covered for nothing\n",
              GetParam().name, with_people, somebody, left,
              100.0 * static_cast<double>(wrongly) / static_cast<double>(bed));
  EXPECT_GE(with_people, 2) << "the clip does not test this";
  EXPECT_LE(left, somebody / 1000);
  EXPECT_LE(wrongly, bed / 50);
}

INSTANTIATE_TEST_SUITE_P(Footage, OnlyTheBed, testing::Values(Case{"P3", 60}, Case{"P6", 9}, Case{"P7", 45}),
                         [](const auto& info) { return std::string(info.param.name); });

// A full pack of touching reds, told where they lie, is nobody; unknown to us it would be taken for somebody.
TEST(OnlyTheBedPack, KnownBallsAreNobody) {
  const auto footage = test_support::footage_folder();
  if (!footage) GTEST_SKIP() << "the drawn clips are not there (BAIZETRACE_FOOTAGE)";
  const auto truth = test_support::read_truth(*footage / "P3.truth.json");
  const auto rig = test_support::truth_rig(truth);
  const auto spec = table::read_spec(std::string(BAIZETRACE_SOURCE) + "/calibration/tables/full-size.table.toml");
  const table::Table table = camera::table_of(rig, *spec);
  video::Frame bare;
  bare.luma = cv::Mat(rig.camera.height, rig.camera.width, CV_8U, cv::Scalar(90));
  bare.cb = cv::Mat(rig.camera.height / 2, rig.camera.width / 2, CV_8U, cv::Scalar(110));
  bare.cr = cv::Mat(rig.camera.height / 2, rig.camera.width / 2, CV_8U, cv::Scalar(95));
  std::vector<video::Frame> learnt;
  cv::RNG rng(7);
  for (int k = 0; k < 7; ++k) {
    video::Frame f = bare;
    cv::Mat noise(f.luma.size(), CV_8U);
    rng.fill(noise, cv::RNG::UNIFORM, 0, 4);
    f.luma = bare.luma + noise;
    f.time = k / 30.0;
    learnt.push_back(f);
  }
  sight::People people(rig, table, kBall);
  ASSERT_TRUE(people.learn(learnt).has_value());
  std::vector<Vec2> pack;
  for (int row = 0; row < 5; ++row)
    for (int k = 0; k <= row; ++k) pack.emplace_back(0.0527 * (k - 0.5 * row), 0.9 + 0.0457 * row);
  video::Frame frame = learnt[0];
  frame.luma = frame.luma.clone();
  frame.cb = bare.cb.clone();
  frame.cr = bare.cr.clone();
  for (const Vec2& at : pack) {
    const auto p = rig.camera.project({at.x(), at.y(), kBall});
    const double r = kBall * std::sqrt(std::abs(rig.camera.plane_jacobian({at.x(), at.y(), kBall}).determinant()));
    cv::circle(frame.luma, {cvRound(p->x()), cvRound(p->y())}, cvRound(r), cv::Scalar(60), cv::FILLED);
    cv::circle(frame.cr, {cvRound(p->x() / 2), cvRound(p->y() / 2)}, cvRound(r / 2), cv::Scalar(200), cv::FILLED);
  }
  frame.time = 10;
  const int whole = cv::countNonZero(sight::shown_area(rig, table));
  EXPECT_EQ(cv::countNonZero(people.shown(frame, pack)), whole);
  frame.time = 20;
  EXPECT_LT(cv::countNonZero(people.shown(frame, {})), whole) << "the check can fail";
}

}  // namespace
}  // namespace baizetrace
