#include "camera/rig.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <filesystem>
#include <random>

#include "base/files.hpp"

namespace baizetrace::camera {
namespace {

using testing::HasSubstr;

Rig sample_rig() {
  Rig rig;
  rig.camera.width = 1920;
  rig.camera.height = 1080;
  rig.camera.lens = {930, 932, 951, 547, {-0.29, 0.095, -0.0009, 0.0007, -0.0118}};
  const Mat3 over_the_table = (Mat3() << 0, 1, 0, 1, 0, 0, 0, 0, -1).finished();
  rig.camera.pose.R = Eigen::AngleAxisd(0.15, Vec3(0.6, -0.7, 0.2).normalized()).toRotationMatrix() * over_the_table;
  rig.camera.pose.t = -rig.camera.pose.R * Vec3(0.2, 0.3, 1.8);
  rig.half_width = 0.8865;
  rig.half_length = 1.788;
  rig.spots["blue"] = Vec2(0.0022, 0.0041);
  rig.turn = video::Turn::counter_clockwise_90;
  rig.readout = 0.0125;
  rig.u_readout = 0.001;
  rig.readout_known = true;
  rig.residuals["nose"] = {812, 0.31, 0.0006};
  rig.covariance = Eigen::MatrixXd::Identity(17, 17) * 1e-8;
  return rig;
}

class RigFile : public testing::Test {
 protected:
  std::string write(const std::string& text) {
    const auto file = std::filesystem::temp_directory_path() /
                      (std::string(testing::UnitTest::GetInstance()->current_test_info()->name()) + ".rig.json");
    EXPECT_TRUE(write_atomically(file, text));
    files_.push_back(file);
    return file.string();
  }
  std::string error_of(const std::string& text) {
    const auto rig = read_rig(write(text));
    return rig ? "" : rig.error().what;
  }
  static std::string with(const std::string& from, const std::string& to) {
    std::string text = rig_json(sample_rig());
    const auto at = text.find(from);
    EXPECT_NE(at, std::string::npos) << from;
    return text.replace(at, from.size(), to);
  }
  void TearDown() override {
    for (const auto& f : files_) std::filesystem::remove(f);
  }
  std::vector<std::filesystem::path> files_;
};

TEST_F(RigFile, comes_back_bit_for_bit) {
  const Rig rig = sample_rig();
  const auto read = read_rig(write(rig_json(rig)));
  ASSERT_TRUE(read) << read.error().what;
  EXPECT_EQ(read->camera.width, 1920);
  EXPECT_EQ(read->camera.pose.R, rig.camera.pose.R);
  EXPECT_EQ(read->camera.pose.t, rig.camera.pose.t);
  EXPECT_EQ(read->camera.lens.distortion, rig.camera.lens.distortion);
  EXPECT_EQ(read->turn, rig.turn);
  EXPECT_EQ(read->spots.at("blue"), rig.spots.at("blue"));
  EXPECT_EQ(read->residuals.at("nose").count, 812);
  EXPECT_EQ(read->covariance, rig.covariance);
  EXPECT_EQ(rig_json(*read), rig_json(rig));
}

TEST_F(RigFile, says_what_is_wrong_and_where) {
  EXPECT_THAT(error_of("{"), HasSubstr("no valid JSON"));
  EXPECT_THAT(error_of("[1]"), HasSubstr("expected a JSON object"));
  EXPECT_THAT(error_of("{\"format\": \"other\"}"), HasSubstr("expected \"baizetrace/rig-1\""));
  EXPECT_THAT(error_of(with("\"readout\": 0.0125", "\"readout\": \"fast\"")), HasSubstr("readout: expected a number"));
  EXPECT_THAT(error_of(with("\"readout\": 0.0125", "\"readout\": -1")), HasSubstr("readout: is -1"));
  EXPECT_THAT(error_of(with("\"readout\"", "\"read_out\"")), HasSubstr("readout: is missing"));
  EXPECT_THAT(error_of(with("\"spots\"", "\"sports\"")), HasSubstr("sports: unknown key"));
  EXPECT_THAT(error_of(with("[1920,1080]", "[1920]")), HasSubstr("image: expected 2 numbers"));
  EXPECT_THAT(error_of(with("\"half_width\":0.8865", "\"half_width\":8")), HasSubstr("table.half_width: is 8"));
  Rig scaled = sample_rig();
  scaled.camera.pose.R *= 1.01;
  EXPECT_THAT(error_of(rig_json(scaled)), HasSubstr("camera_from_table.R: is no rotation"));
  EXPECT_THAT(error_of(with("\"turned_clockwise_deg\": 270", "\"turned_clockwise_deg\": 45")),
              HasSubstr("expected 0, 90, 180 or 270"));
  const auto absent = read_rig("no-such.rig.json");
  ASSERT_FALSE(absent);
  EXPECT_THAT(absent.error().what, HasSubstr("no such file"));
}

// Monte Carlo: parameters drawn from the covariance, the ball's pixel kept.
TEST(PlaceCovariance, agrees_with_drawn_parameters) {
  Rig rig = sample_rig();
  rig.covariance.setZero();
  const double sd[17] = {0.4,  0.4,  0.5,  0.5,  5e-4, 5e-4, 5e-5, 5e-5, 2e-4,
                         3e-4, 3e-4, 3e-4, 5e-4, 5e-4, 8e-4, 1e-3, 1e-3};
  for (int i = 0; i < 17; ++i) rig.covariance(i, i) = sd[i] * sd[i];
  const double radius = 0.02625;
  std::mt19937 random(3);
  std::normal_distribution<double> normal;
  for (const Vec2& at : {Vec2(0, 0), Vec2(0.7, -1.5)}) {
    const Vec2 pixel = *rig.camera.project(Vec3(at.x(), at.y(), radius));
    Mat2 sum = Mat2::Zero();
    const int n = 20000;
    for (int i = 0; i < n; ++i) {
      Camera c = rig.camera;
      c.lens.fx += sd[0] * normal(random);
      c.lens.fy += sd[1] * normal(random);
      c.lens.cx += sd[2] * normal(random);
      c.lens.cy += sd[3] * normal(random);
      for (std::size_t k = 0; k < 5; ++k) c.lens.distortion[k] += sd[4 + k] * normal(random);
      const Vec3 w(sd[9] * normal(random), sd[10] * normal(random), sd[11] * normal(random));
      c.pose.R = Eigen::AngleAxisd(w.norm(), w.normalized()).toRotationMatrix() * c.pose.R;
      for (int k = 0; k < 3; ++k) c.pose.t[k] += sd[12 + k] * normal(random);
      const Vec2 d = *c.on_plane(pixel, radius) - at;
      sum += d * d.transpose();
    }
    const Mat2 drawn = sum / n, told = rig.place_covariance(at, radius);
    // 20000 draws: a variance is good to 1 %; 4 % is four sigma.
    EXPECT_NEAR(told(0, 0) / drawn(0, 0), 1, 0.04);
    EXPECT_NEAR(told(1, 1) / drawn(1, 1), 1, 0.04);
  }
}

// A table a little larger seen from a little higher up is the same picture: what that does to a ball's place it does to
// the nose beside it.
TEST(PlaceCovariance, off_the_noses_knows_no_size) {
  Rig rig = sample_rig();
  const double sd = 0.001;  // of the scale
  Eigen::VectorXd scale = Eigen::VectorXd::Zero(17);
  scale.segment<3>(12) = sd * rig.camera.pose.t;
  scale.tail<2>() << sd * rig.half_width, sd * rig.half_length;
  rig.covariance = scale * scale.transpose();
  const double radius = 0.02625;
  for (const double side : {-1.0, 1.0}) {
    const Vec2 at = side * Vec2(rig.half_width, rig.half_length);
    const Mat2 whole = rig.place_covariance(at, radius), off = rig.place_covariance_off_noses(at, radius);
    for (int k = 0; k < 2; ++k) {
      EXPECT_NEAR(std::sqrt(whole(k, k)), std::abs(scale[15 + k]), 0.05 * std::abs(scale[15 + k]));
      EXPECT_LT(std::sqrt(off(k, k)), 0.05 * std::sqrt(whole(k, k))) << "what is left comes of the ball's height";
    }
  }
  EXPECT_EQ(rig.size_covariance(), rig.covariance.bottomRightCorner(2, 2));
}

TEST(PlaceCovariance, is_zero_when_unknown) {
  Rig rig = sample_rig();
  rig.covariance.resize(0, 0);
  EXPECT_EQ(rig.place_covariance(Vec2(0, 0), 0.02625), Mat2::Zero());
  EXPECT_EQ(rig.place_covariance_off_noses(Vec2(0, 0), 0.02625), Mat2::Zero());
  EXPECT_EQ(rig.size_covariance(), Mat2::Zero());
}

}  // namespace
}  // namespace baizetrace::camera
