#include "sight/ball_fit.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <vector>

#include "base/median.hpp"
#include "sight/ball_model.hpp"
#include "sight/ball_samples.hpp"
#include "sight/rim_check.hpp"

namespace baizetrace::sight {

namespace {

constexpr int kSectors = 32;  // of the outline, for what is visible of it
constexpr double kRadiusSlack = 0.08,
                 kRadiusSlackMoving = 0.04;  // px, how far an outline may seem larger or smaller than it is,
constexpr double kRadiusMost = 1;            // and at most,
constexpr double kUsualRadius = 12;          // px, of a ball up to this size
constexpr double kHopeless = 0.6;        // of the outline asked for, once the whole ball was fitted: not worth the rest
constexpr double kNoiseCorrelation = 4;  // compression smears noise over neighbouring pixels: fewer independent ones
// px, how far shading and shadow, which are not modelled to the letter, pull a place that is read off them as well.
// The edge of a ball darker than its cloth, lying still, hardly differs from its shadow, which pulls an edge more.
constexpr double kShadingError = 0.3, kShadingErrorDark = 0.15;
constexpr float kDark = 1.15F;           // of the cloth's level: below, a ball counts as dark
constexpr double kRimOfDark = 3;         // blurs either side of the outline that are looked at alone then,
constexpr double kRimOfDarkLeast = 0.5;  // and px
constexpr double kWhiteLevels = 219;     // of black to white (ITU-R BT.709-6)
constexpr double kPlaceFloor = 0.03;     // px, what the model leaves at best, either way

// How strong the terms of shading and shadow can be: standard deviations about 0 (gain: about 1). Levels for a ball's
// shading, shares of the cloth for its shadow; order as in the model's columns.
constexpr std::array<double, kLinear> kLumaPrior{1e3, 40,   40,  60,   15,   15,  40,  40, 40,
                                                 60,  0.10, 0.6, 0.15, 0.15, 0.8, 0.4, 0.8};
constexpr std::array<double, kLinear> kChromaPrior{1e3, 6,    6,   12,   3,    3,   5,   5,  8,
                                                   12,  0.10, 0.4, 0.10, 0.10, 0.4, 0.2, 0.4};
// And how far they may be from what they were just before, of a ball that rolls on: lamps stand elsewhere to it. A
// half to half as much again is as good, four times a third worse (`sight_check`, 17 clips of both renderers).
constexpr std::array<double, kLinear> kLumaKnown{4, 2,    2,    2.5,   1.5,   1.5,  2,     2,   2,
                                                 4, 0.10, 0.04, 0.013, 0.013, 0.05, 0.025, 0.05};
constexpr std::array<double, kLinear> kChromaKnown{1,   0.4,  0.4,   0.8,   0.25,  0.25,  0.4,   0.4,  0.5,
                                                   0.8, 0.10, 0.025, 0.008, 0.008, 0.025, 0.013, 0.025};
constexpr double kSidesBlurred = 0.05;  // of the last two terms' priors

// First the whole picture of the ball leads to the place, shading and shadow as well; then the edge alone settles it.
// Wide blurs come first: a start several pixels off is still pulled in.
struct Stage {
  double wider;  // px, blur added
  bool whole;
  int passes;     // at most
  double enough;  // px: a smaller step ends the stage
};
constexpr Stage kFarOff{2.5, true, 1, 0}, kOff{1.2, true, 1, 0}, kWholeBall{0, true, 2, 0.05},
    kEdgeOnly{0, false, 5, 0.01};
constexpr double kSearchFarOff = 2.5, kSearchOff = 0.8;  // px of search that ask for the wide stages

using PlaceMatrix = Eigen::Matrix<double, kPlace, kPlace>;
using PlaceVector = Eigen::Matrix<double, kPlace, 1>;

// What one pass over the planes gives for the place: the edge's information, the equations' matrix and right side.
struct Equations {
  PlaceMatrix information = PlaceMatrix::Zero(), matrix = PlaceMatrix::Zero();
  PlaceVector right = PlaceVector::Zero();
  void operator+=(const Equations& o) {
    information += o.information;
    matrix += o.matrix;
    right += o.right;
  }
  void operator*=(double share) {
    information *= share;
    matrix *= share;
    right *= share;
  }
};

struct Scratch {
  Columns A;
  NormalMatrix N;
  std::array<Eigen::ArrayXf, 2> moved;
  std::vector<float> sizes;
};

// Shadows end sharply a little way off: of a dark ball only what is near its outline settles its place.
void weigh_rim(Plane& plane, const Ellipse& ellipse) {
  const double rim = kRimOfDark * plane.blur + kRimOfDarkLeast;
  for (Eigen::Index i = 0; i < plane.count(); ++i) {
    const Vec2 p(static_cast<double>(plane.x[i]), static_cast<double>(plane.y[i]));
    const double beyond = (std::abs(ellipse.distance(p)) - rim) / (0.5 * rim);
    if (beyond > 0) plane.weight[i] = plane.weight[i] * static_cast<float>(std::exp(-0.5 * beyond * beyond)) + 1e-4F;
  }
}

// Solves a plane's linear terms at this place, weighs its samples anew, and adds its say on the place.
void add_plane(Plane& plane, const Geometry& g, const Vec2& smear, double radius_off, const Stage& stage, bool place,
               bool moving, const Eigen::VectorXf* known, Scratch& s, Equations& to) {
  constexpr Eigen::Index kFewest = 12;
  constexpr double kStep = 0.2;  // px, of the derivative of the whole model
  const Eigen::Index n = plane.count();
  if (n < kFewest) return;
  const double blur = std::hypot(plane.blur, stage.wider);
  const auto narrow = static_cast<float>(blur), grown = static_cast<float>(radius_off);
  fill_basis(g, plane, narrow, grown, smear, s.A);
  const bool whole = place && stage.whole;
  if (whole)
    for (int axis = 0; axis < 2; ++axis)
      fill_model(g, plane, narrow, grown, smear, axis == 0 ? Vec2(kStep, 0) : Vec2(0, kStep),
                 s.moved[static_cast<std::size_t>(axis)]);
  weigh_columns(plane, whole ? &s.moved : nullptr, static_cast<float>(kStep), s.A);
  // The linear terms and the samples; for the place its own terms as well, those of a smear where there is one.
  std::array<int, kColumns> which;
  int columns = 0;
  for (int k = 0; k < kColumns; ++k) {
    const bool of_place = k >= kEdge && k < kEdge + kPlace, of_smear = k == kEdge + 2 || k == kEdge + 3;
    if (of_place ? place && (moving || !of_smear) : k < kWhole || whole) which[static_cast<std::size_t>(columns++)] = k;
  }
  normal_matrix(s.A, {which.data(), static_cast<std::size_t>(columns)}, s.N);

  // The linear part gets its prior, and is taken out.
  const double noise = std::max(plane.noise, plane.scale), n2 = noise * noise;
  const auto& prior = plane.chroma ? kChromaPrior : kLumaPrior;
  const auto& near_known = plane.chroma ? kChromaKnown : kLumaKnown;
  // A smear, and a wide blur, make one of the shadows to either side: nothing of them is left to tell.
  const double sides = smear.squaredNorm() > 1 || stage.wider > 0 ? kSidesBlurred : 1;
  const auto expect = [&](int k, double value, double sd) {
    s.N(k, k) += n2 / (sd * sd);
    s.N(k, kValue) += value * n2 / (sd * sd);
    s.N(kValue, k) = s.N(k, kValue);
  };
  for (int k = 0; k < kLinear; ++k) {
    const auto i = static_cast<std::size_t>(k);
    s.N(k, k) += 1e-6;
    expect(k, k == kGainTerm ? 1 : 0, prior[i] * (k >= kLinear - 2 ? sides : 1));
    if (known && k != kGainTerm) expect(k, static_cast<double>((*known)[k]), near_known[i]);
  }
  eliminate(s.N, kLinear);
  for (int k = kLinear - 1; k >= 0; --k) {
    double right = s.N(k, kValue);
    for (int j = k + 1; j < kLinear; ++j) right -= s.N(k, j) * static_cast<double>(plane.solution[j]);
    plane.solution[k] = static_cast<float>(right / s.N(k, k));
  }
  if (place) {
    PlaceMatrix full = s.N.block<kPlace, kPlace>(kEdge, kEdge);
    PlaceVector r = s.N.block<kPlace, 1>(kEdge, kValue);
    to.information += full / n2;
    if (whole) {
      // The whole derivative for the place, the edge's own for the rest.
      full.topLeftCorner<2, 2>() = s.N.block<2, 2>(kWhole, kWhole);
      full.topRightCorner<2, kPlace - 2>() = s.N.block<2, kPlace - 2>(kWhole, kEdge + 2);
      r.head<2>() = s.N.block<2, 1>(kWhole, kValue);
    }
    to.matrix += full / n2;
    to.right += r / n2;
  }

  // Residuals and robust weights.
  take_residuals(s.A, plane);
  constexpr Eigen::Index kEvery = 4;  // the scatter of every fourth sample will do
  s.sizes.clear();
  for (Eigen::Index i = 0; i < n; i += kEvery) s.sizes.push_back(std::abs(plane.residual[i]));
  plane.scale = 1.4826 * static_cast<double>(upper_median(s.sizes));
  if (!plane.chroma) set_levels(plane);
  if (stage.wider == 0) {
    const auto cut = static_cast<float>(5.0 * std::max(plane.noise, plane.scale));
    plane.weight = (1.0F - (plane.residual / cut).square()).max(0.0F).square().max(1e-4F);
  }
}

// How much of luma's say on the place of a ball at rest counts. A shadow on the cloth darkens it and takes of its
// chroma, but gives it no hue that it has not: where the ball has one, chroma tells its edge from a shadow's, and luma,
// in which the two run together, is led by shadows that no model has right. The numbers: 28 rendered clips of two
// renderers (`sight_check`), on which coloured balls came out a tenth to a half nearer; with less than 10 a green ball
// on green cloth in dim light is led by the encoder's chroma. A ball that is no brighter than its cloth runs together
// with its shadow altogether: with three times as much, contacts of 18 drawn shots within their bar went from 31 of 40
// to 37 of 43, reds at rest from 1.75 to 1.58 mm; with eight times, green balls of the ray-traced clips came out worse.
double luma_counts(const Plane& luma, const Plane& cb, const Plane& cr) {
  constexpr double kHue = 10, kHueOfStep = 0.3;  // levels of a hue, and of luma's step, at which half of it does
  constexpr double kOfDark = 3;                  // times that
  constexpr double kBrightest = 1.2;             // of the lit cloth
  if (cb.count() == 0 || cr.count() == 0) return 1;
  const Vec2 ball(static_cast<double>(cb.solution[0]), static_cast<double>(cr.solution[0]));
  const Vec2 cloth(static_cast<double>(cb.solution[kGainTerm] * cb.bare.mean()),
                   static_cast<double>(cr.solution[kGainTerm] * cr.bare.mean()));
  const double shade = std::clamp(ball.dot(cloth) / std::max(1.0, cloth.squaredNorm()), 0.0, kBrightest);
  const double step = kWhiteLevels * std::abs(static_cast<double>(luma.ball_level - luma.cloth_level));
  const double dark = luma.ball_level <= kDark * luma.cloth_level ? kOfDark : 1;
  const double hue = dark * (ball - shade * cloth).norm() / (kHue + kHueOfStep * step);
  return 1 / (1 + hue * hue);
}

// Where a plane by itself would have the centre, from where it was put, and how sure it is: px, px^2.
struct OwnView {
  Vec2 off = Vec2::Zero();
  double variance = 0;
};

OwnView own_view(const Equations& e, double slack) {
  PlaceMatrix P = e.information;
  P.diagonal().array() += 1e-3;
  P(2, 2) += 1e9;
  P(3, 3) += 1e9;
  P(4, 4) += 1.0 / (slack * slack);
  const PlaceMatrix C = P.inverse();
  return {(C * e.right).head<2>(), 0.5 * (C(0, 0) + C(1, 1))};
}

// What shadows and shading pull the place of a ball at rest by, px, one standard deviation each way. A ball that is as
// bright as its cloth shows by its shades more than by its edge; where luma and chroma contradict each other, or the
// edge the whole picture, one of them is led astray. The numbers: least misfit to the errors of 325 balls in 41
// rendered clips (`sight_check`), half of the weight on either renderer's.
double pulled(const std::array<Plane, 3>& planes, const Equations& by_luma, const Equations& by_chroma, double slack,
              double settled_by) {
  constexpr double kMost = 0.77, kStands = 30;  // px; levels of a step that halves it
  constexpr double kAlways = 0.40, kSettled = 0.69;
  const auto step = [](const Plane& p) {
    return static_cast<double>(p.solution[0] - p.solution[kGainTerm] * p.bare.mean());
  };
  const double luma = kWhiteLevels * static_cast<double>(planes[0].ball_level - planes[0].cloth_level);
  const double stands =
      std::hypot(luma, planes[1].count() > 0 ? step(planes[1]) : 0.0, planes[2].count() > 0 ? step(planes[2]) : 0.0);
  const OwnView a = own_view(by_luma, slack), b = own_view(by_chroma, slack);
  const double luma_share = b.variance / (a.variance + b.variance);
  return kMost * kStands / (stands + kStands) * (kAlways + luma_share * (a.off - b.off).norm() + kSettled * settled_by);
}

// A ball of its cloth's own hue is not told from its shadow, nor from how its side away from the light fades: it lies
// somewhere in what they darken together. px, one standard deviation each way; of balls that differ from every shade of
// their cloth by less than kShadeAlone levels drawn clips' were a quarter of a radius off each way, of those beyond
// kNotShade no more than others. The ray-traced clips have none.
double pulled_by_shade(const View& view, const Ellipse& e) {
  constexpr double kShadeAlone = 3, kNotShade = 8;  // levels
  constexpr double kOfRadius = 0.25;
  const double like = (kNotShade - shade_inside(view, e).beyond) / (kNotShade - kShadeAlone);
  return kOfRadius * e.radius * std::clamp(like, 0.0, 1.0);
}

// Level of the lit cloth around: the upper quartile.
float lit_level(const Plane& luma) {
  std::vector<float> bare(luma.bare.data(), luma.bare.data() + luma.bare.size());
  const auto quartile = bare.begin() + static_cast<std::ptrdiff_t>(3 * bare.size() / 4);
  std::nth_element(bare.begin(), quartile, bare.end());
  return std::max(1.0F, *quartile);
}

struct OutlineSeen {
  double share = 0;     // of the outline with an edge where the ball's should be
  double contrast = 0;  // typical step across it, in standard deviations of a pixel
};

// What of the outline is there: per sector the step across the edge, as fitted, must be seen in the samples.
OutlineSeen outline_seen(const std::array<Plane, 3>& planes, const Geometry& g, const Vec2& smear, double radius_off,
                         Eigen::ArrayXf& model) {
  std::array<double, kSectors> gain{}, energy{};
  for (const Plane& plane : planes) {
    const double noise = std::max(plane.noise, 0.5 * plane.scale);
    if (plane.count() < 12) continue;
    fill_model(g, plane, static_cast<float>(plane.blur), static_cast<float>(radius_off), smear, Vec2::Zero(), model);
    const float cloth_gain = plane.solution[kGainTerm];
    const double rim = 0.25 * g.ellipse.radius + 1.5 + 0.5 * smear.norm();
    const Mat2& s = g.ellipse.shape;
    const auto cx = static_cast<float>(g.ellipse.centre.x()), cy = static_cast<float>(g.ellipse.centre.y());
    const Eigen::ArrayXf x = plane.x - cx, y = plane.y - cy;
    const auto s00 = static_cast<float>(s(0, 0)), s01 = static_cast<float>(s(0, 1)), s11 = static_cast<float>(s(1, 1));
    // As Ellipse::distance.
    const Eigen::ArrayXf u = s00 * x + s01 * y, v = s01 * x + s11 * y;
    const Eigen::ArrayXf r = (u.square() + v.square()).sqrt();
    const Eigen::ArrayXf off =
        (r - 1) * r / ((s00 * u + s01 * v).square() + (s01 * u + s11 * v).square()).sqrt().max(1e-12F);
    const auto farthest = static_cast<float>(rim), per = static_cast<float>(1 / (noise * noise));
    for (Eigen::Index i = 0; i < plane.count(); ++i) {
      if (std::abs(off[i]) > farthest) continue;
      constexpr auto kTurn = static_cast<float>(2 * kPi);
      const auto sector =
          static_cast<std::size_t>((std::atan2(y[i], x[i]) + 0.5F * kTurn) / kTurn * kSectors) % kSectors;
      // Explained by the ball's presence: against the same cloth without it.
      const float ball = model[i] - plane.bare[i] * cloth_gain, seen = plane.value[i] - plane.bare[i] * cloth_gain;
      gain[sector] += static_cast<double>(ball * seen * per);
      energy[sector] += static_cast<double>(ball * ball * per);
    }
  }
  OutlineSeen out;
  for (std::size_t i = 0; i < kSectors; ++i) {
    out.contrast += std::sqrt(energy[i]) / kSectors;
    if (energy[i] > 9 && gain[i] > 0.7 * energy[i] && gain[i] < 1.4 * energy[i]) out.share += 1.0 / kSectors;
  }
  return out;
}

// How far a chroma sample is from the body's, as far as shading does not explain it: where a body is lit less, its
// chroma is as much nearer to grey as its luma is to black. (From the side a pink ball showed "more than one colour".)
float off_colour(float chroma, float luma, float body_chroma, float body_luma) {
  constexpr float kGrey = 128, kBlack = 16, kLeast = 0.5F, kMost = 1.3F;  // levels; shares of the body's light
  const float share = std::clamp((luma - kBlack) / std::max(1.0F, body_luma - kBlack), kLeast, kMost);
  const float a = body_chroma - kGrey, b = share * a, c = chroma - kGrey;
  return std::max({0.0F, std::min(a, b) - c, c - std::max(a, b)});
}
}  // namespace

double outline_slack(const Ellipse& outline) { return std::max(1.0, outline.radius / kUsualRadius); }

std::optional<BallFit> fit_ball(const View& view, const camera::Camera& camera, const Vec2& start, double radius,
                                const BallFitOptions& options) {
  auto geometry = geometry_at(camera, start, radius);
  if (!geometry) return std::nullopt;
  Geometry g = *geometry;
  Vec2 smear = options.smear;
  const double r_px = g.ellipse.radius;
  constexpr double kSmallest = 2.5, kLargest = 200;  // px: beyond the lens model's reach outlines are anything
  if (!(r_px > kSmallest && r_px < kLargest)) return std::nullopt;

  const bool led = options.known != nullptr;
  std::array<Plane, 3> planes{collect(view, PlaneKind::luma, g, smear, options.search, options.others, led),
                              collect(view, PlaneKind::cb, g, smear, options.search, options.others, led),
                              collect(view, PlaneKind::cr, g, smear, options.search, options.others, led)};
  if (planes[0].count() < 30) return std::nullopt;

  const bool with_smear = options.moving;
  const double larger = outline_slack(g.ellipse);
  const double slack = larger * (with_smear ? kRadiusSlackMoving : kRadiusSlack);
  std::vector<Stage> stages;
  if (options.search > kSearchFarOff) stages.push_back(kFarOff);
  if (options.search > kSearchOff) stages.push_back(kOff);
  stages.push_back(kWholeBall);
  stages.push_back(kEdgeOnly);

  // Light falls off over the table: the ball's levels go with the cloth's, of which a pocket's dark or a line is none.
  const float lit = lit_level(planes[0]);
  Shading here;
  if (options.known) here = *options.known;
  for (Eigen::VectorXf& v : here)
    if (v.size() == kLinear) v.head(kInside) *= lit;
  const auto known = [&](std::size_t i) { return here[i].size() == kLinear ? &here[i] : nullptr; };
  Scratch scratch;
  Equations eq, by_luma, by_chroma;
  Vec2 shift_total = Vec2::Zero(), anchor = Vec2::Zero();
  double radius_off = 0;
  bool first = true, dark = false;
  for (const Stage& stage : stages) {
    if (!stage.whole) {
      anchor = g.centre;
      // Both 0: too alike for the edge to be found without what lies farther off.
      dark = !with_smear && planes[0].ball_level > 0 && planes[0].ball_level <= kDark * planes[0].cloth_level;
      if (options.least_visible > 0 &&
          outline_seen(planes, g, smear, radius_off, scratch.moved[0]).share < kHopeless * options.least_visible)
        return std::nullopt;
    }
    for (int pass = 0; pass < stage.passes; ++pass) {
      // The linear terms must be known before the edge's derivative is.
      if (first)
        for (std::size_t i = 0; i < planes.size(); ++i)
          add_plane(planes[i], g, smear, radius_off, stage, false, with_smear, known(i), scratch, eq);
      eq = by_luma = by_chroma = Equations();
      for (std::size_t i = 0; i < planes.size(); ++i) {
        Plane& plane = planes[i];
        Equations own;
        add_plane(plane, g, smear, radius_off, stage, true, with_smear, known(i), scratch, own);
        if (dark) weigh_rim(plane, g.ellipse);
        if (!plane.chroma && !with_smear && options.by_hue && options.planes == FitPlanes::all)
          own *= luma_counts(planes[0], planes[1], planes[2]);
        if (options.planes == (plane.chroma ? FitPlanes::luma : FitPlanes::chroma)) continue;
        eq += own;
        (plane.chroma ? by_chroma : by_luma) += own;
      }

      // Priors of the place's own terms.
      PlaceMatrix P = eq.matrix;
      PlaceVector q = eq.right;
      if (!with_smear) {
        P(2, 2) += 1e9;
        P(3, 3) += 1e9;
      } else if (options.smear_sd > 0) {
        const double w = 1.0 / (options.smear_sd * options.smear_sd);
        for (int k = 0; k < 2; ++k) {
          P(2 + k, 2 + k) += w;
          q[2 + k] += w * (options.smear[k] - smear[k]);
        }
      }
      const double shading = dark ? kShadingErrorDark : kShadingError;
      if (!stage.whole)
        for (int k = 0; k < 2; ++k) {
          P(k, k) += 1.0 / (shading * shading);
          q[k] += (anchor[k] - g.centre[k]) / (shading * shading);
        }
      P(4, 4) += 1.0 / (slack * slack);
      q[4] -= radius_off / (slack * slack);
      P.diagonal().array() += 1e-9;
      const PlaceVector step = P.partialPivLu().solve(q);
      const double limit = std::max(1.0, stage.wider);
      Vec2 move = step.head<2>();
      if (!move.allFinite()) return std::nullopt;
      if (move.norm() > limit) move *= limit / move.norm();
      Vec2 smear_step = step.segment<2>(2);
      if (smear_step.norm() > 2 * limit) smear_step *= 2 * limit / smear_step.norm();
      g.centre += move;
      g.contact += move;
      g.ellipse.centre += move;
      shift_total += move;
      smear += smear_step;
      radius_off = std::clamp(radius_off + step[4], -larger * kRadiusMost, larger * kRadiusMost);
      if (shift_total.norm() > options.search + 1.5) return std::nullopt;
      if (first || shift_total.norm() > 1.0) {
        // The outline's shape follows the place.
        const auto at = camera.on_plane(g.centre, radius);
        if (!at) return std::nullopt;
        const auto moved = geometry_at(camera, *at, radius);
        if (!moved) return std::nullopt;
        g = *moved;
      }
      first = false;
      if (move.norm() < stage.enough && smear_step.norm() < 4 * stage.enough) break;
    }
  }

  BallFit fit;
  const auto at = camera.on_plane(g.centre, radius);
  if (!at) return std::nullopt;
  fit.at = *at;
  fit.pixel = g.centre;
  fit.smear = smear;
  fit.misfit = planes[0].scale;
  fit.misfit_chroma = std::hypot(planes[1].scale, planes[2].scale);
  fit.radius_off = radius_off;
  fit.ellipse = g.ellipse;
  for (std::size_t i = 0; i < planes.size(); ++i)
    if (planes[i].count() > 0) {
      fit.shading[i] = planes[i].solution;
      fit.shading[i].head(kInside) /= lit;
    }

  // Covariance: residual scatter is in H by way of the noise; compression correlates neighbours.
  PlaceMatrix P = eq.information / kNoiseCorrelation;
  if (!with_smear) {
    P(2, 2) += 1e9;
    P(3, 3) += 1e9;
  } else if (options.smear_sd > 0) {
    P(2, 2) += 1.0 / (options.smear_sd * options.smear_sd);
    P(3, 3) += 1.0 / (options.smear_sd * options.smear_sd);
  }
  P(4, 4) += 1.0 / (slack * slack);
  P.diagonal().array() += 1e-9;
  P(0, 0) += 1.0 / (kShadingError * kShadingError);
  P(1, 1) += 1.0 / (kShadingError * kShadingError);
  const PlaceMatrix C = P.inverse();
  const Mat2 metres = camera.plane_jacobian({at->x(), at->y(), radius}).inverse();
  fit.covariance =
      metres * (C.topLeftCorner<2, 2>() + kPlaceFloor * kPlaceFloor * Mat2::Identity()) * metres.transpose();
  fit.pulled = pulled(planes, by_luma, by_chroma, slack, (anchor - g.centre).norm());
  if (!with_smear) fit.pulled = std::hypot(fit.pulled, pulled_by_shade(view, g.ellipse));
  fit.smear_covariance = C.block<2, 2>(2, 2);

  const OutlineSeen seen = outline_seen(planes, g, smear, radius_off, scratch.moved[0]);
  fit.visible = seen.share;
  fit.contrast = seen.contrast;

  // The body's colour, highlights left out: medians over the inner disc; of chroma with the luma there.
  std::array<std::vector<float>, 3> body;
  std::array<std::vector<float>, 3> luma_there;
  const Vec2 box = g.ellipse.half_box();
  for (int k = 0; k < 3; ++k) {
    const cv::Mat& img = k == 0 ? view.luma : k == 1 ? view.cb : view.cr;
    const double per = k == 0 ? 1 : 2;
    const int x0 = std::max(0, static_cast<int>((g.ellipse.centre.x() - box.x()) / per));
    const int x1 = std::min(img.cols - 1, static_cast<int>((g.ellipse.centre.x() + box.x()) / per) + 1);
    const int y0 = std::max(0, static_cast<int>((g.ellipse.centre.y() - box.y()) / per));
    const int y1 = std::min(img.rows - 1, static_cast<int>((g.ellipse.centre.y() + box.y()) / per) + 1);
    for (int y = y0; y <= y1; ++y)
      for (int x = x0; x <= x1; ++x) {
        const Vec2 p = k == 0 ? Vec2(x, y) : chroma_place(x, y, view.chroma_offset);
        if (g.ellipse.share(p) > 0.72) continue;
        body[static_cast<std::size_t>(k)].push_back(static_cast<float>(img.at<std::uint8_t>(y, x)));
        if (k == 0) continue;
        const int at_x = std::clamp(static_cast<int>(std::lround(p.x())), 0, view.luma.cols - 1);
        const int at_y = std::clamp(static_cast<int>(std::lround(p.y())), 0, view.luma.rows - 1);
        luma_there[static_cast<std::size_t>(k)].push_back(static_cast<float>(view.luma.at<std::uint8_t>(at_y, at_x)));
      }
  }
  for (int k = 0; k < 3; ++k) {
    auto& v = body[static_cast<std::size_t>(k)];
    if (v.empty()) return fit;
    fit.colour[k] = static_cast<double>(upper_median(std::vector<float>(v)));  // a copy: it sorts
    if (k > 0) {
      for (std::size_t i = 0; i < v.size(); ++i)
        v[i] = off_colour(v[i], luma_there[static_cast<std::size_t>(k)][i], static_cast<float>(fit.colour[k]),
                          static_cast<float>(fit.colour[0]));
      fit.colour_scatter = std::max(fit.colour_scatter, static_cast<double>(upper_median(v)));
    }
  }
  return fit;
}

}  // namespace baizetrace::sight
