#include "report/picture.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <opencv2/imgproc.hpp>

#include "base/files.hpp"
#include "support/invented_picture.hpp"
#include "support/truth_rig.hpp"
#include "video/clip.hpp"
#include "video/still.hpp"

namespace baizetrace::report {
namespace {

constexpr double kBall = 0.02625;  // m, radius of a snooker ball

table::Table full_size() {
  set_data_folder(BAIZETRACE_SOURCE);
  const auto spec = table::read_spec("full-size");
  EXPECT_TRUE(spec.has_value());
  return table::Table(*spec);
}

std::string keep(const std::string& name, const cv::Mat& picture) {
  const std::filesystem::path folder = std::filesystem::path(testing::TempDir()) / "baizetrace-report";
  EXPECT_TRUE(make_folder(folder).has_value());
  const std::string file = (folder / name).string();
  EXPECT_TRUE(write_atomically(file, as_content(video::png_of(picture))));
  return file;
}

cv::Mat noise(const cv::Size& size) {
  cv::Mat m(size, CV_8UC3);
  cv::RNG rng(20240611);
  rng.fill(m, cv::RNG::UNIFORM, 30, 256);
  return m;
}

// Law: beyond the cushions and pockets every pixel has one colour, whatever stood there; the bed is untouched.
TEST(OnlyTheBed, CoversAllThatIsNotTheTableAndNothingOfTheBed) {
  const camera::Rig rig = invented::rig();
  const table::Table table = full_size();
  const cv::Mat in = noise({1920, 1080});
  const cv::Mat out = only_the_bed(in, rig, table);
  constexpr double kOutside = 0.14, kInside = 0.05;  // m beyond the noses: past the middle pockets; on the cushions
  const cv::Vec3b cover = out.at<cv::Vec3b>(0, 0);
  int outside = 0, inside = 0;
  for (int v = 0; v < in.rows; v += 3)
    for (int u = 0; u < in.cols; u += 3) {
      const auto p = rig.camera.on_plane({u, v}, table.nose_height());
      ASSERT_TRUE(p.has_value());
      const double beyond = std::max(std::abs(p->x()) - table.half_width(), std::abs(p->y()) - table.half_length());
      if (beyond > kOutside) {
        ASSERT_EQ(out.at<cv::Vec3b>(v, u), cover) << u << ", " << v;
        ++outside;
      } else if (beyond < kInside) {
        ASSERT_EQ(out.at<cv::Vec3b>(v, u), in.at<cv::Vec3b>(v, u)) << u << ", " << v;
        ++inside;
      }
    }
  EXPECT_GT(outside, 5000);
  EXPECT_GT(inside, 100000);
}

TEST(OnlyTheBed, ShowsNothingWhenTheRigDoesNotSeeTheTable) {
  camera::Rig rig = invented::rig();
  rig.camera.pose.t.z() = -3.0;  // the table lies behind the lens
  const cv::Mat out = only_the_bed(noise({1920, 1080}), rig, full_size());
  cv::Mat same;
  cv::inRange(out, out.at<cv::Vec3b>(0, 0), out.at<cv::Vec3b>(0, 0), same);
  EXPECT_EQ(cv::countNonZero(same), 1920 * 1080);
}

// The line lies where the camera puts the ball's centre: white there, and no prediction's colour without one.
TEST(AttemptPicture, DrawsTheMeasuredPathWhereTheCameraPutsIt) {
  const camera::Rig rig = invented::rig();
  const table::Table table = full_size();
  practice::Attempt a = invented::session(1).attempts[0];
  PictureOptions options;
  options.crop = false;
  options.caption = "Invented: 1. Green in.";
  const cv::Mat with = attempt_picture(invented::picture(rig, table, a), rig, table, a, options);
  keep("picture-invented.png", with);
  int seen = 0, all = 0;
  for (const PathRow& r : a.balls.at("white").rows) {
    bool near = false;  // a number or a contact's ring may lie over the line there
    for (const Contact& c : a.balls.at("white").contacts) near = near || (c.at - r.at).norm() < 0.15;
    if (near) continue;
    const auto p = rig.camera.project({r.at.x(), r.at.y(), kBall});
    ASSERT_TRUE(p.has_value());
    const auto c = with.at<cv::Vec3b>(cvRound(p->y()), cvRound(p->x()));
    ++all;
    if (c[0] > 230 && c[1] > 230 && c[2] > 230) ++seen;
  }
  EXPECT_GE(all, 20);
  EXPECT_GE(seen, all * 9 / 10) << "of " << all;

  const auto yellow_pixels = [](const cv::Mat& m) {
    cv::Mat mask;
    cv::inRange(m, cv::Scalar(54, 204, 245), cv::Scalar(74, 224, 255), mask);
    return cv::countNonZero(mask);
  };
  EXPECT_GT(yellow_pixels(with), 500);
  a.prediction.reset();
  EXPECT_EQ(yellow_pixels(attempt_picture(invented::picture(rig, table, a), rig, table, a, options)), 0);
}

TEST(AttemptPicture, UprightPictureAndAPathPartlyOutOfSight) {
  camera::Rig rig = invented::rig(1080, 1920);
  rig.camera.lens.fx = rig.camera.lens.fy = 1497;
  rig.camera.pose.R << 1, 0, 0, 0, -1, 0, 0, 0, -1;
  const table::Table table = full_size();
  practice::Attempt a = invented::session(5).attempts[4];  // ended by hand, one contact inferred
  a.balls.at("white").pieces[1].seen = false;
  PictureOptions options;
  options.caption = "Invented: 5. Green in. White picked up before it rested.";
  const cv::Mat m = attempt_picture(invented::picture(rig, table, a), rig, table, a, options);
  keep("picture-upright.png", m);
  EXPECT_GT(m.rows, m.cols);
}

TEST(AttemptPicture, SurvivesAnEmptyAttemptAndTextThatIsNoText) {
  const camera::Rig rig = invented::rig(640, 360);
  practice::Attempt a;
  PictureOptions options;
  options.caption = "\xff\xfe broken";
  const cv::Mat m = attempt_picture(noise({640, 360}), rig, full_size(), a, options);
  EXPECT_GT(m.rows, 0);
}

// Against the footage's truth: the white's own pixels (computed by the clip's author's projection, not ours) lie on
// the drawn line. P8 is stored on its side.
class OverFootage : public testing::TestWithParam<const char*> {};

TEST_P(OverFootage, TruePixelsOfTheWhiteLieOnTheLine) {
  const std::string clip_name = GetParam();
  const auto folder = test_support::footage_folder();
  if (!folder) GTEST_SKIP() << "no footage beside the source tree (BAIZETRACE_FOOTAGE)";
  const auto truth = test_support::read_truth(*folder / (clip_name + ".truth.json"));
  const auto rig = test_support::truth_rig(truth);
  const table::Table table = full_size().resized(rig.half_width, rig.half_length);

  practice::Attempt a;
  a.number = 1;
  const auto& t = truth["attempts"][0];
  BallPath white;
  white.ball = "white";
  const double strike = t["t_strike_s"];
  const auto point = [](const nlohmann::json& x, const nlohmann::json& y) {
    return Vec2(x.get<double>(), y.get<double>());
  };
  for (const auto& b : t["start"]) a.before[b[0]] = Place{point(b[1], b[2]), Vec2::Zero()};
  for (const auto& f : truth["frames"])
    for (const auto& b : f[1])
      if (b[0] == "white" && f[0] > strike && b[6] == 0 && f[0] < t["t_all_rest_s"])
        white.rows.push_back({f[0], point(b[1], b[2])});
  for (const auto& e : t["events"]) {
    if (e["ball"] != "white" || e["kind"] == "roll" || e["kind"] == "rest") continue;
    Contact c;
    c.kind = e["kind"] == "ball" ? ContactKind::ball : e["kind"] == "jaw" ? ContactKind::jaw : ContactKind::cushion;
    c.time = e["t_s"];
    c.with = e["other"];
    c.at = point(e["xy"][0], e["xy"][1]);
    white.contacts.push_back(c);
    white.rows.push_back({c.time, c.at});
  }
  std::sort(white.rows.begin(), white.rows.end(), [](const PathRow& x, const PathRow& y) { return x.time < y.time; });
  if (!t["final"][0][1].is_null()) white.rest = Place{point(t["final"][0][1], t["final"][0][2]), Vec2(0.0005, 0.0005)};
  a.balls["white"] = white;

  auto clip = video::Clip::open((*folder / (clip_name + ".mp4")).string());
  ASSERT_TRUE(clip.has_value()) << clip.error().what;
  ASSERT_TRUE(clip->seek(0.1).has_value());
  const auto frame = clip->next();
  ASSERT_TRUE(frame.has_value());
  PictureOptions options;
  options.crop = false;
  options.legend = false;
  const cv::Mat m = attempt_picture(frame->bgr(), rig, table, a, options);
  options.crop = true;
  options.legend = true;
  options.caption = clip_name + ": the true path over a frame before the strike";
  keep("picture-" + clip_name + ".png", attempt_picture(frame->bgr(), rig, table, a, options));

  // `u, v` in the truth are of the moment of the ball's own row; so are x, y.
  int on = 0, all = 0;
  const int stored_w = truth["camera"]["image_size"][0], stored_h = truth["camera"]["image_size"][1];
  for (const auto& f : truth["frames"])
    for (const auto& b : f[1]) {
      if (b[0] != "white" || f[0] <= strike || b[5] == 0 || b[6] != 0) continue;
      const Vec2 at = point(b[1], b[2]);
      bool near = false;
      for (const Contact& c : white.contacts) near = near || (c.at - at).norm() < 0.2;
      if (near || (white.rest && (white.rest->at - at).norm() < 0.15)) continue;
      const Vec2 p = test_support::upright_pixel(rig.turn, stored_w, stored_h, point(b[7], b[8]));
      const cv::Point q(cvRound(p.x()), cvRound(p.y()));
      if (!cv::Rect(0, 0, m.cols, m.rows).contains(q)) continue;
      const auto c = m.at<cv::Vec3b>(q);
      ++all;
      if (c[0] > 225 && c[1] > 225 && c[2] > 225) ++on;
    }
  ASSERT_GT(all, 10);
  EXPECT_GE(on, all * 9 / 10) << "of " << all;
}

INSTANTIATE_TEST_SUITE_P(Clips, OverFootage, testing::Values("P1", "P2", "P5", "P8", "P9"));

}  // namespace
}  // namespace baizetrace::report
