// The arithmetic of whole rows against OpenCV's; pockets' falls against their circles.
#include "sight/cloth_rows.hpp"

#include <gtest/gtest.h>

#include <opencv2/imgproc.hpp>
#include <random>

#include "sight/region.hpp"
#include "support/full_size.hpp"

namespace baizetrace::sight {
namespace {

TEST(ClothRows, SumsOfTheBedAreOpenCvsMeans) {
  std::mt19937 random(5);
  for (const int width : {3, 8, 61, 200}) {
    cv::Mat luma(1, width, CV_16U), bare(1, width, CV_32F), kind(1, width, CV_8U);
    cv::randu(luma, 64, 940);
    cv::randu(bare, 16, 235);
    for (int x = 0; x < width; ++x) kind.at<std::uint8_t>(x) = static_cast<std::uint8_t>(random() % 3);
    for (const int from : {0, 1, width / 3}) {
      const BedSums sums = bed_sums(luma.ptr<std::uint16_t>(), bare.ptr<float>(), kind.ptr(), 2, from, width);
      const cv::Range part(from, width);
      const cv::Mat on = kind.colRange(part) == 2;
      const int count = cv::countNonZero(on);
      EXPECT_EQ(sums.count, static_cast<float>(count));
      if (count == 0) continue;
      EXPECT_NEAR(static_cast<double>(sums.luma) / count, cv::mean(luma.colRange(part), on)[0], 1e-2);
      EXPECT_NEAR(static_cast<double>(sums.bare) / count, cv::mean(bare.colRange(part), on)[0], 1e-2);
    }
  }
}

TEST(ClothRows, OneValueAboveIsFoundWhereverItStands) {
  for (int at = 0; at < 32; ++at) {
    std::vector<float> row(32, 1.0F);
    EXPECT_FALSE(any_above(row.data(), 32, 2.0F));
    row[static_cast<std::size_t>(at)] = 2.0F;
    EXPECT_TRUE(any_above(row.data(), 32, 2.0F));
  }
}

TEST(ClothRows, AnOddPixelEndsAPlainRun) {
  constexpr int kWidth = 70;
  const std::vector<std::uint8_t> none(kWidth, 0), open(kWidth, 2), known(kWidth, 1), bed(kWidth, 2);
  const auto run = [&](const std::vector<std::uint8_t>& change, const std::vector<std::uint8_t>& o,
                       const std::vector<std::uint8_t>& k, const std::vector<std::uint8_t>& kind) {
    return plain_run({change.data(), o.data(), k.data(), kind.data(), 2, 0}, 1, kWidth - 1);
  };
  EXPECT_EQ(run(none, open, known, bed), 64);
  for (int at = 0; at < kWidth - 2; ++at) {
    auto odd = none;
    odd[static_cast<std::size_t>(at)] = 1;  // which counts for its neighbours too
    EXPECT_EQ(run(odd, open, known, bed), std::max(0, at - 2) / 16 * 16) << at;
    if (at == 0) continue;
    const int whole = (at - 1) / 16 * 16;
    odd = open;
    odd[static_cast<std::size_t>(at)] = 1;
    EXPECT_EQ(run(none, odd, known, bed), std::min(64, whole)) << at;
    odd = known;
    odd[static_cast<std::size_t>(at)] = 0;
    EXPECT_EQ(run(none, open, odd, bed), std::min(64, whole)) << at;
    odd = bed;
    odd[static_cast<std::size_t>(at)] = 0;
    EXPECT_EQ(run(none, open, known, odd), std::min(64, whole)) << at;
  }
}

// Masked sums of OpenCV's are the same sums.
TEST(ClothRows, AddsWhatAgrees) {
  constexpr int kWidth = 61;
  constexpr float kGain = 1.1F, kSlack = 12;
  cv::Mat row(1, kWidth, CV_8U), base(1, kWidth, CV_32F), sum(1, kWidth, CV_32F, cv::Scalar(7)),
      times(1, kWidth, CV_32F, cv::Scalar(2));
  cv::randu(row, 90, 140);
  cv::randu(base, 90, 140);
  cv::Mat now, sum_then = sum.clone();
  row.convertTo(now, CV_32F, 1 / static_cast<double>(kGain), 16 - 16 / static_cast<double>(kGain));
  cv::Mat agrees = cv::abs(now - base) < static_cast<double>(kSlack);
  cv::accumulate(now, sum_then, agrees);
  const std::vector<float> per(kWidth, 1 / kGain);
  add_agreeing(row.ptr(), per.data(), 16, base.ptr<float>(), kSlack, kWidth, sum.ptr<float>(), times.ptr<float>());
  EXPECT_LT(cv::norm(sum, sum_then, cv::NORM_INF), 1e-3);
  EXPECT_EQ(cv::sum(times)[0], 2 * kWidth + cv::countNonZero(agrees));
  EXPECT_GT(cv::countNonZero(agrees), 5);
  EXPECT_LT(cv::countNonZero(agrees), kWidth - 5);
}

// One step of OpenCV's running average is the same step.
TEST(ClothRows, FollowsAsOpenCvAccumulates) {
  constexpr int kWidth = 53;
  constexpr float kShare = 0.12F, kGain = 1.25F;
  cv::Mat luma(2, 2 * kWidth, CV_8U), chroma(2, kWidth, CV_8U), bare(2, 2 * kWidth, CV_32F),
      bare_chroma(2, kWidth, CV_32F), coarse(1, kWidth, CV_32F, cv::Scalar(-5));
  cv::randu(luma, 16, 235);
  cv::randu(chroma, 16, 240);
  cv::randu(bare, 16, 235);
  cv::randu(bare_chroma, 16, 240);
  const auto reference = [&](const cv::Mat& in, const cv::Mat& was, double zero) {
    cv::Mat now, out = was.clone();
    in.convertTo(now, CV_32F, 1 / static_cast<double>(kGain), zero - zero / static_cast<double>(kGain));
    cv::accumulateWeighted(now, out, static_cast<double>(kShare));
    return out;
  };
  const cv::Mat luma_then = reference(luma, bare, 16), chroma_then = reference(chroma, bare_chroma, 128);
  const cv::Mat bare_before = bare.clone();
  const std::vector<float> per(kWidth, 1 / kGain);
  constexpr int kFrom = 2, kTo = 51;
  follow_row({luma.ptr(0), luma.ptr(1), chroma.ptr(0), chroma.ptr(1), per.data(), bare.ptr<float>(0),
              bare.ptr<float>(1), bare_chroma.ptr<float>(0), bare_chroma.ptr<float>(1), coarse.ptr<float>()},
             kShare, kFrom, kTo);
  const cv::Range inside(kFrom, kTo), full(2 * kFrom, 2 * kTo);
  EXPECT_LT(cv::norm(bare.colRange(full), luma_then.colRange(full), cv::NORM_INF), 1e-3);
  EXPECT_LT(cv::norm(bare_chroma.colRange(inside), chroma_then.colRange(inside), cv::NORM_INF), 1e-3);
  EXPECT_EQ(cv::norm(bare.colRange(0, 2 * kFrom), bare_before.colRange(0, 2 * kFrom), cv::NORM_INF), 0);
  cv::Mat halved;
  cv::resize(luma_then, halved, {kWidth, 1}, 0, 0, cv::INTER_AREA);
  EXPECT_LT(cv::norm(coarse.colRange(inside), halved.colRange(inside), cv::NORM_INF), 1e-3);
  EXPECT_EQ(coarse.at<float>(kTo), -5);
}

// The same cloth in half the light is a shade, in its own light nothing, another hue a thing; but not outside.
TEST(ClothRows, TellsShadesFromThings) {
  constexpr int kWidth = 40;
  constexpr std::uint8_t kOutside = 0, kShade = 1, kThing = 2;
  const ShadeRule rule{16, 0.5F, 2.5F, 300, 0.6F, 1.8F, 4, kOutside, kShade, kThing};
  const std::vector<float> bare(kWidth, 100), cb(kWidth, 112), cr(kWidth, 96), gain(kWidth, 1), weight(kWidth, 0.5F);
  struct Case {
    const char* what;
    double share, cb_more;  // of the cloth's light; levels
    std::uint8_t kind, known, told;
  };
  for (const Case& c :
       {Case{"bare cloth", 1, 0, 2, 1, 0}, Case{"in a shadow", 0.7, 0, 2, 1, kShade},
        Case{"brighter lit", 1.5, 0, 2, 1, kShade}, Case{"darker than a shadow", 0.3, 0, 2, 1, kThing},
        Case{"another hue", 0.7, 30, 2, 1, kThing}, Case{"beyond the rails", 0.7, 30, kOutside, 1, 0},
        Case{"a guess, in a shadow", 0.7, 0, 2, 0, 0}, Case{"a guess, another hue", 0.7, 30, 2, 0, kThing}}) {
    const std::vector<std::uint16_t> luma(kWidth, static_cast<std::uint16_t>(4 * (16 + 84 * c.share)));
    const std::vector<std::uint8_t> fb(kWidth, static_cast<std::uint8_t>(std::lround(128 - 16 * c.share + c.cb_more))),
        fr(kWidth, static_cast<std::uint8_t>(std::lround(128 - 32 * c.share))), kind(kWidth, c.kind),
        known(kWidth, c.known);
    const ClothRow row{luma.data(), fb.data(),   fr.data(),     bare.data(), cb.data(),
                       cr.data(),   gain.data(), weight.data(), 0.7F};
    std::vector<float> score(kWidth);
    change_row(row, 0, kWidth, score.data());
    std::vector<std::uint8_t> out(kWidth, 9);
    tell_row(row, rule, kind.data(), known.data(), score.data(), 1, kWidth - 1, out.data());
    EXPECT_EQ(out[0], 9);
    EXPECT_EQ(out[kWidth - 1], 9);
    for (int x = 1; x + 1 < kWidth; ++x) ASSERT_EQ(out[static_cast<std::size_t>(x)], c.told) << c.what << ", " << x;
  }
}

TEST(ClothRows, ToleranceIsOfTheGradient) {
  cv::Mat rows(3, 40, CV_32F), x, y;
  cv::randu(rows, 0, 200);
  cv::filter2D(rows, x, CV_32F, cv::Mat(cv::Matx13f(-1, 0, 1)));
  cv::filter2D(rows, y, CV_32F, cv::Mat(cv::Matx31f(-1, 0, 1)));
  std::vector<float> out(40, -1);
  tolerance_row(rows.ptr<float>(0), rows.ptr<float>(1), rows.ptr<float>(2), 1.5F, 0.01F, 40, out.data());
  for (int i = 1; i < 39; ++i) {
    const double gx = static_cast<double>(x.at<float>(1, i)), gy = static_cast<double>(y.at<float>(1, i));
    EXPECT_NEAR(static_cast<double>(out[static_cast<std::size_t>(i)]) * (1.5 + 0.01 * (gx * gx + gy * gy)), 1, 1e-4);
  }
  EXPECT_EQ(out[0], -1);
  EXPECT_EQ(out[39], -1);
}

// A metre above the middle, as a pinhole: what lies beyond a fall is told by its circle.
TEST(Region, TellsWhatLiesBeyondAFall) {
  const table::Table table = test_support::full_size();
  camera::Rig rig;
  rig.half_width = table.half_width();
  rig.half_length = table.half_length();
  camera::Camera& c = rig.camera;
  c.width = 1920;
  c.height = 1080;
  c.lens.fx = c.lens.fy = 900;
  c.lens.cx = 959.5;
  c.lens.cy = 539.5;
  c.pose.R << 0, 1, 0, 1, 0, 0, 0, 0, -1;
  c.pose.t = Vec3(0, 0, 2);
  constexpr double kRadius = 0.02625;
  const Region region = Region::make(rig, table, kRadius);
  EXPECT_LT(region.beyond_falls({0, 0}), -0.5);
  for (const table::Pocket& p : table.pockets()) {
    const Vec2 middle = p.fall_centre;
    EXPECT_NEAR(region.beyond_falls(middle), p.fall_radius, 1e-9);
    const Vec2 in = -middle.normalized();  // towards the bed
    EXPECT_NEAR(region.beyond_falls(middle + (p.fall_radius + 0.01) * in), -0.01, 1e-9);
  }
}

}  // namespace
}  // namespace baizetrace::sight
