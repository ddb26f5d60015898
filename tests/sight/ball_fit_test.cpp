// Where a ball lies is told by its hue where it has one: a shadow beside it is as dark as it is. Drawn plainly, seeded.
#include "sight/ball_fit.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "sight/ball_samples.hpp"
#include "sight/rim_check.hpp"

namespace baizetrace::sight {
namespace {

constexpr double kRadius = 0.02625, kHeight = 2.0, kFocal = 900;  // m, m, px

camera::Camera overhead(double focal = kFocal) {
  camera::Camera c;
  c.width = 320;
  c.height = 240;
  c.lens.fx = c.lens.fy = focal;
  c.lens.cx = 160;
  c.lens.cy = 120;
  c.pose.R << 1, 0, 0, 0, -1, 0, 0, 0, -1;
  c.pose.t = Vec3(0, 0, kHeight);
  return c;
}

struct Colour {
  double luma, cb, cr;  // levels
};
constexpr Colour kRedCloth{88, 122, 160};

// A ball of one colour at a place, `larger` pixels beyond its outline, and on one side of it a shadow of a ball's size,
// `shadow` as bright as the cloth.
View drawn(const camera::Camera& camera, const Vec2& at, const Colour& ball, unsigned seed, double larger = 0,
           double shadow = 0.5) {
  View v;
  v.noise_luma = v.noise_chroma = 1;
  v.chroma_offset = {0.5, 0.5};
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0, 1);
  const auto pixel = *camera.project({at.x(), at.y(), kRadius});
  const double r = kRadius * camera.lens.fx / (kHeight - kRadius) + larger;
  const auto within = [&](const Vec2& p, const Vec2& centre, double blur) {
    return 0.5 * std::erfc(((p - centre).norm() - r) / (blur * std::sqrt(2.0)));
  };
  const auto plane = [&](cv::Mat& shown, cv::Mat& bare, int step, double Colour::*what, double grey) {
    shown.create(camera.height / step, camera.width / step, CV_8U);
    bare.create(shown.size(), CV_32F);
    for (int y = 0; y < shown.rows; ++y)
      for (int x = 0; x < shown.cols; ++x) {
        const Vec2 p = step == 1 ? Vec2(x, y) : chroma_place(x, y, v.chroma_offset);
        const double blur = step == 1 ? 0.7 : 1.2;
        const double shade = 1 - (1 - shadow) * within(p, pixel + Vec2(0.45 * r, 0.3 * r), 1.5),
                     cover = within(p, pixel, blur);
        const double cloth = grey + shade * (kRedCloth.*what - grey);
        shown.at<std::uint8_t>(y, x) =
            cv::saturate_cast<std::uint8_t>(cover * ball.*what + (1 - cover) * cloth + 0.7 * noise(random));
        bare.at<float>(y, x) = static_cast<float>(kRedCloth.*what);
      }
  };
  plane(v.luma, v.bare_luma, 1, &Colour::luma, 16);
  plane(v.cb, v.bare_cb, 2, &Colour::cb, 128);
  plane(v.cr, v.bare_cr, 2, &Colour::cr, 128);
  return v;
}

// Mean error over several places, px.
double off(const Colour& ball, bool by_hue) {
  const camera::Camera camera = overhead();
  double sum = 0;
  constexpr int kPlaces = 8;
  for (unsigned k = 0; k < kPlaces; ++k) {
    const Vec2 at(0.0007 * k, -0.0011 * k);
    BallFitOptions o;
    o.by_hue = by_hue;
    const auto fit = fit_ball(drawn(camera, at, ball, k + 1), camera, at + Vec2(0.001, -0.001), kRadius, o);
    if (!fit) return 1e9;
    sum += (fit->at - at).norm() * kFocal / kHeight / kPlaces;
  }
  return sum;
}

TEST(BallFit, AShadowLeadsABallOfAnotherHueLess) {
  const Colour blue{48, 165, 122};
  // With hue counting for dark balls as it does for bright ones: 0.31 px, and 0.77 of what luma alone gives.
  EXPECT_LT(off(blue, true), 0.28);
  EXPECT_LT(off(blue, true), 0.70 * off(blue, false));
}

// A ball that shows by its brightness alone is placed by that, as well as if hues were never asked for.
TEST(BallFit, AWhiteBallIsPlacedByItsBrightness) {
  const Colour white{200, 126, 131};
  EXPECT_LT(off(white, true), 0.15);
  EXPECT_NEAR(off(white, true), off(white, false), 0.05);
}

// Blur and shading lie as far beyond a ball's outline as the picture is large: at 4K they may by more than a pixel, and
// it is still that ball (a white in plain sight was none).
TEST(BallFit, HowFarAnOutlineMaySeemOffGrowsWithThePicture) {
  constexpr double kFine = 1600, kLarger = 1.5;  // px
  const camera::Camera fine = overhead(kFine);
  const Vec2 at(0.001, 0.002);
  const auto fit = fit_ball(drawn(fine, at, {200, 126, 131}, 7, kLarger), fine, at + Vec2(0.001, 0), kRadius, {});
  ASSERT_TRUE(fit);
  EXPECT_GT(fit->radius_off, 1.05) << "of a ball of usual size 1 is the most";
  EXPECT_LT((fit->at - at).norm() * kFine / kHeight, 0.2);
  EXPECT_NEAR(outline_slack(fit->ellipse), 1.75, 0.05);
  Ellipse small = fit->ellipse;
  small.radius = 6;
  EXPECT_EQ(outline_slack(small), 1) << "a small one may be off as far as one of usual size";
}

// What lies in the deep shadow of a bright ball on its way is none of its samples. (A white on dim blue cloth, led by
// what it looked like in the frame before, was fitted 10 mm into its own.) A dark ball may be as dark itself.
TEST(Collect, LeavesOutABrightBallsDeepShadowOnItsWay) {
  const camera::Camera camera = overhead();
  const auto geometry = geometry_at(camera, {0, 0}, kRadius);
  ASSERT_TRUE(geometry);
  const auto in_shadow = [&](const Colour& ball, bool on_its_way) {
    const View v = drawn(camera, {0, 0}, ball, 3, 0, 0.1);
    const Plane p = collect(v, PlaneKind::luma, *geometry, {0, 0}, 1.5, {}, on_its_way);
    return (p.value < 0.5F * p.bare).count();
  };
  const Colour white{200, 127, 130}, black{30, 127, 129};
  EXPECT_GT(in_shadow(white, false), 5);
  EXPECT_EQ(in_shadow(white, true), 0);
  EXPECT_GT(in_shadow(black, true), 5);
}

// A red ball on red cloth, darker and no more: where it ends and its shadow begins cannot be told, and is said not to
// be. (Such balls were told to 3 mm and were up to 65 mm off.)
TEST(BallFit, ABallOfItsClothsHueIsNotToldFromItsShadow) {
  const camera::Camera camera = overhead();
  const auto pulled = [&](const Colour& ball) {
    const auto fit = fit_ball(drawn(camera, {0, 0}, ball, 5), camera, {0.001, -0.001}, kRadius, {});
    return fit ? fit->pulled / fit->ellipse.radius : -1.0;
  };
  constexpr double kShare = 0.6;  // of the cloth's brightness, and of its colour
  const Colour same{16 + kShare * (kRedCloth.luma - 16), 128 + kShare * (kRedCloth.cb - 128),
                    128 + kShare * (kRedCloth.cr - 128)};
  EXPECT_GT(pulled(same), 0.2);
  EXPECT_LT(pulled({48, 165, 122}), 0.1) << "a blue one";
  EXPECT_LT(pulled({200, 126, 131}), 0.1) << "a white one";
}

// From the side a ball is brighter above than below: one colour all the same. What turns to another hue is not.
TEST(BallFit, AShadedBallHasOneColour) {
  const camera::Camera camera = overhead();
  const Colour pink{150, 116, 190};
  // Levels more at the ball's upper edge, and as many less at the lower.
  const auto scatter = [&](const Colour& more) {
    View v = drawn(camera, {0, 0}, pink, 4);
    const auto slope = [&](cv::Mat& m, int step, double by) {
      const double r = kRadius * kFocal / kHeight / step, middle = camera.lens.cy / step;
      for (int y = 0; y < m.rows; ++y)
        for (int x = 0; x < m.cols; ++x)
          if (std::hypot(x - camera.lens.cx / step, y - middle) < r)
            m.at<std::uint8_t>(y, x) =
                cv::saturate_cast<std::uint8_t>(m.at<std::uint8_t>(y, x) + by * (middle - y) / r);
    };
    slope(v.luma, 1, more.luma);
    slope(v.cb, 2, more.cb);
    slope(v.cr, 2, more.cr);
    const auto fit = fit_ball(v, camera, {0, 0}, kRadius, {});
    return fit ? fit->colour_scatter : -1;
  };
  constexpr double kShade = 0.4;
  const double plain = scatter({0, 0, 0});
  EXPECT_GE(plain, 0);
  EXPECT_LT(plain, 2);
  EXPECT_LT(scatter({kShade * (pink.luma - 16), kShade * (pink.cb - 128), kShade * (pink.cr - 128)}), plain + 2);
  EXPECT_GT(scatter({0, 0, kShade * (pink.cr - 128)}), plain + 4) << "another hue, as bright";
}

// A fast vivid ball in a bright picture: what blur, smear and encoder carry of its colour beyond its outline is no
// sleeve; a faint ball has no such colour to carry.
TEST(RimShare, AVividBallsColourGoesBeyondItsOutline) {
  const camera::Camera camera = overhead();
  const auto outline = ball_ellipse(camera, Vec2(0, 0), kRadius);
  ASSERT_TRUE(outline);
  const auto share = [&](const Colour& ball, double carried) {
    View v = drawn(camera, {0, 0}, ball, 3);
    for (int y = 0; y < v.cr.rows; ++y)
      for (int x = 0; x < v.cr.cols; ++x)
        if (outline->share(chroma_place(x, y, v.chroma_offset)) > 1.1)
          v.cr.at<std::uint8_t>(y, x) = cv::saturate_cast<std::uint8_t>(v.cr.at<std::uint8_t>(y, x) + carried);
    return rim_share(v, *outline, Vec2::Zero(), {});
  };
  const Colour vivid{110, 75, 220}, faint{150, 116, 168};
  EXPECT_GT(share(vivid, 0), 0.95);
  EXPECT_GT(share(vivid, 13), 0.95);
  EXPECT_LT(share(vivid, 30), 0.1) << "the colour goes on: a sleeve";
  EXPECT_GT(share(faint, 0), 0.95);
  EXPECT_LT(share(faint, 13), 0.1);
}

// A ball of nearly the cloth's own colour has an outline of its own; bare cloth has only noise.
TEST(RimStep, IsNoiseAloneOnBareCloth) {
  const camera::Camera camera = overhead();
  const auto outline = ball_ellipse(camera, Vec2(0, 0), kRadius);
  ASSERT_TRUE(outline);
  View bare = drawn(camera, {5, 5}, kRedCloth, 3);
  EXPECT_NEAR(rim_step(bare, *outline), 0.8 * 0.7, 0.15);
  const Colour faint{kRedCloth.luma - 9, kRedCloth.cb, kRedCloth.cr};
  EXPECT_GT(rim_step(drawn(camera, {0, 0}, faint, 3), *outline), 4);
}

// A picture of bare cloth whose shade along a cushion, a ball and a half wide, the background does not know.
void shade_along_x(View& v) {
  constexpr int kFrom = 102, kTo = 138;
  constexpr double kShare = 0.6;
  for (int y = kFrom; y < kTo; ++y)
    for (int x = 0; x < v.luma.cols; ++x) {
      auto& luma = v.luma.at<std::uint8_t>(y, x);
      luma = cv::saturate_cast<std::uint8_t>(16 + kShare * (luma - 16));
    }
}

TEST(ApartFromBeside, AShadeGoesOnAndABallDoesNot) {
  const camera::Camera camera = overhead();
  const auto outline = ball_ellipse(camera, Vec2(0, 0), kRadius);
  ASSERT_TRUE(outline);
  const Vec2 along(2.6 * outline->radius, 0);
  View shaded = drawn(camera, {5, 5}, kRedCloth, 3);
  shade_along_x(shaded);
  const auto nothing = apart_from_beside(shaded, *outline, along);
  ASSERT_TRUE(nothing);
  EXPECT_LT(nothing->share, 0.15);
  EXPECT_LT(nothing->beside, 2);
  // A ball of nearly the cloth's colour in that shade: it is not what it differs from the bare cloth by, but there.
  View ball = drawn(camera, {0, 0}, {kRedCloth.luma - 20, kRedCloth.cb + 8, kRedCloth.cr - 8}, 3);
  shade_along_x(ball);
  const auto there = apart_from_beside(ball, *outline, along);
  ASSERT_TRUE(there);
  EXPECT_GT(there->beside, 8);
  EXPECT_GT(there->share, 0.3);
  // On the other side the picture ends; with none on either, nothing can be told.
  const auto one_side = apart_from_beside(shaded, *outline, Vec2(156, 0));
  EXPECT_FALSE(one_side);
}

TEST(BeyondShade, AShadowKeepsTheClothsHueAndABallHasItsOwn) {
  const camera::Camera camera = overhead();
  const auto outline = ball_ellipse(camera, Vec2(0, 0), kRadius);
  ASSERT_TRUE(outline);
  constexpr double kShade = 0.6;
  const auto scaled = [&](double level, double grey) { return grey + kShade * (level - grey); };
  const Colour shade{scaled(kRedCloth.luma, 16), scaled(kRedCloth.cb, 128), scaled(kRedCloth.cr, 128)};
  EXPECT_LT(shade_inside(drawn(camera, {0, 0}, shade, 3), *outline).beyond, 1);
  const Colour red{kRedCloth.luma, kRedCloth.cb - 3, kRedCloth.cr + 6};
  EXPECT_NEAR(shade_inside(drawn(camera, {0, 0}, red, 3), *outline).beyond, std::hypot(3, 6), 1);
}

}  // namespace
}  // namespace baizetrace::sight
