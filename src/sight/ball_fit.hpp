// Sub-pixel place of one ball: the picture around it explained as a shaded ball in front of shadowed cloth.
//
// Model of one pixel: (1 - a) S B + a F. `a` is the share of the pixel covered by the ball's outline (blurred, and
// averaged over the exposure when the ball moves); F the ball's shading, a low-order function of the surface's
// direction; B the bare cloth (with its lines, spots and marks), S its shading by the ball: the sky that a ball hides
// from a point of the cloth, and that leaning towards the lamps' far side. F and S are linear and solved together with
// the place; only the edge's own derivative moves the place, so that neither shading nor shadow can pull it.
#pragma once

#include <array>
#include <optional>
#include <span>

#include "base/units.hpp"
#include "camera/camera.hpp"
#include "sight/ellipse.hpp"
#include "sight/view.hpp"

namespace baizetrace::sight {

// Shading and shadow of a ball as one fit found them, to lead the next one: a plane's linear terms (see
// ball_model.hpp for their order), the ball's as shares of the cloth's luma around it. Empty: not known.
using Shading = std::array<Eigen::VectorXf, 3>;

enum class FitPlanes { all, luma, chroma };

struct BallFitOptions {
  FitPlanes planes = FitPlanes::all;  // that have a say on the place
  bool by_hue = true;                 // a ball of another hue than the cloth's is placed by chroma rather than luma
  bool moving = false;                // fit the smear as well
  Vec2 smear = Vec2::Zero();          // px the ball's image moves in one exposure: start value
  double smear_sd = 0;                // px, how well that is known; 0: not at all
  double search = 3;                  // px, how far the start may be off
  double least_visible = 0;           // share of the outline asked for: what falls far short is given up half way
  const Shading* known = nullptr;     // how this ball looked just before: shading and shadow stay near it
  std::span<const Ellipse> others;    // other balls: their pixels are left out
};

struct BallFit {
  Vec2 at = Vec2::Zero();                // m
  Mat2 covariance = Mat2::Zero();        // m^2
  Vec2 pixel = Vec2::Zero();             // image of the centre
  Vec2 smear = Vec2::Zero();             // px
  Mat2 smear_covariance = Mat2::Zero();  // px^2
  double visible = 0;                    // share of the outline with an edge where the ball's should be
  double contrast = 0;                   // typical step across the outline, in standard deviations of a pixel
  double misfit = 0, misfit_chroma = 0;  // levels, robust scatter of the residuals
  Eigen::Vector3d colour = Eigen::Vector3d::Zero();  // Y Cb Cr of the ball's body, highlights left out
  double colour_scatter = 0;                         // levels of chroma within the body: a ball has one colour
  // px, one standard deviation each way: what shadow and shading may pull its place by while it lies there, alike in
  // every frame. Not in `covariance`.
  double pulled = 0;
  double radius_off = 0;  // px, how much larger the outline is than the ball's
  Ellipse ellipse;
  Shading shading;
};

// How far an outline may seem to lie off a ball's, over what it may on a ball of usual size: blur, limb and shading,
// which move it, are larger in a larger picture.
[[nodiscard]] double outline_slack(const Ellipse& outline);

// Requires: `start` on the bed within options.search pixels of the ball.
[[nodiscard]] std::optional<BallFit> fit_ball(const View& view, const camera::Camera& camera, const Vec2& start,
                                              double radius, const BallFitOptions& options);

}  // namespace baizetrace::sight
