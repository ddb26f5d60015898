// The outline of a ball at rest, to a few hundredths of a pixel where the picture is formed as modelled here.
//
// Across the outline a picture shows the ball's limb, darker towards the edge as on any sphere lit from above
// (a + b sqrt(1 - rho^2)), then the cloth, darker near the ball (c + k d), blurred. A plain half-way crossing is off
// by 0.1-0.5 px, that is by up to 4 % of the ball's size; this fit is not, on a plain
// picture. How blur, tone curve and sharpening follow one another in a phone is not known: up to 0.3 of the blur
// remain.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "camera/camera.hpp"
#include "camera/profile.hpp"
#include "camera/scene.hpp"

namespace baizetrace::camera {

struct OutlineSector {
  double angle = 0;              // about the view's axis, as in Camera::sphere_outline
  Vec2 pixel, normal;            // on the fitted outline; outwards
  double edge = 0;               // px, outwards of the model's outline
  double u = 0;                  // px, from the profile's noise
  double rms = 0, contrast = 0;  // levels
};

struct OutlineOptions {
  int sectors = 12;
  double sigma_px = 0.8;  // blur
  double gamma = 1;       // in which the outline is read (profile.hpp)
};

// Sectors in which the outline could be told, of a ball thought to lie at `at`. plane_scale: 1 for a full-size plane,
// 0.5 for chroma.
[[nodiscard]] std::vector<OutlineSector> measure_outline(const cv::Mat& plane, double plane_scale, const Camera& camera,
                                                         const Vec2& at, double radius, const OutlineOptions& options);

// A bright ball at rest with its outline.
struct RestingBall {
  Vec2 at;              // m
  double sigma_px = 0;  // blur that explains its outline best
  std::vector<OutlineSector> sectors;
};

// Bright balls at rest in one moment, seen all round. Dark balls are left out: their limb and their shadow on the
// cloth cannot be told apart to a tenth of a pixel (measured on footage with truth: 0.4 px and more).
[[nodiscard]] std::vector<RestingBall> find_bright_balls(const Moment& moment, const Camera& camera, double half_width,
                                                         double half_length, double radius, double gamma = kBetween);

}  // namespace baizetrace::camera
