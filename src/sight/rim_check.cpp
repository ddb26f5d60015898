#include "sight/rim_check.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace baizetrace::sight {
namespace {

constexpr int kPoints = 24, kLeastTold = 6;
constexpr double kOutside = 1.25, kInside = 0.80;      // ball radii, plus and less the search's slack
constexpr double kSlack = 1.5;                         // px
constexpr float kDarkest = 0.45F, kBrightest = 1.45F;  // of the bare cloth: shadows, and cloth that was learnt in one
constexpr float kDeepest = 0.12F;                      // of it, under a person who leans over the table
constexpr double kChromaLevels = 5;                    // shadows keep the cloth's colour but for this
constexpr double kSigmas = 4;
// What blur, smear and the encoder may carry of a ball beyond its outline: of its difference from the cloth. A vivid
// ball on a fast run in a bright picture had no cloth around it otherwise.
constexpr float kCarried = 0.25F;

struct Sample {
  float luma, bare_luma, chroma_off;  // chroma_off: from the bare cloth's there
  float cb, cr;
};

std::optional<Sample> sample(const View& v, const Vec2& p) {
  const int x = static_cast<int>(std::lround(p.x())), y = static_cast<int>(std::lround(p.y()));
  if (x < 0 || y < 0 || x >= v.luma.cols || y >= v.luma.rows) return std::nullopt;
  const int cx = std::min(x / 2, v.cb.cols - 1), cy = std::min(y / 2, v.cb.rows - 1);
  const float gain = v.gain.at(p.x(), p.y());
  const float bare = (v.bare_luma.at<float>(y, x) - 16.0F) * gain;
  // Light and shadow scale the cloth's colour with its brightness.
  const float luma = static_cast<float>(v.luma.at<std::uint8_t>(y, x)) - 16.0F;
  const float share = std::clamp(luma / std::max(bare, 1.0F), 0.2F, 2.0F) * gain;
  const auto off = [&](const cv::Mat& now, const cv::Mat& was) {
    return static_cast<float>(now.at<std::uint8_t>(cy, cx)) - 128.0F - (was.at<float>(cy, cx) - 128.0F) * share;
  };
  const float cb = off(v.cb, v.bare_cb), cr = off(v.cr, v.bare_cr);
  return Sample{luma, bare, std::sqrt(cb * cb + cr * cr), static_cast<float>(v.cb.at<std::uint8_t>(cy, cx)),
                static_cast<float>(v.cr.at<std::uint8_t>(cy, cx))};
}

}  // namespace

double rim_share(const View& view, const Ellipse& e, const Vec2& smear, std::span<const Ellipse> others, RimFor asked) {
  const Mat2 inverse = e.shape.inverse();
  const double out = kOutside + kSlack / e.radius, in = kInside - kSlack / e.radius;
  const auto chroma = static_cast<float>(kChromaLevels + kSigmas * view.noise_chroma);
  const auto luma = static_cast<float>(kSigmas * view.noise_luma);
  const float darkest = asked == RimFor::known ? kDeepest : kDarkest;
  int good = 0, told = 0;
  for (int i = 0; i < kPoints; ++i) {
    const double a = 2 * kPi * i / kPoints;
    const Vec2 ray = inverse * Vec2(std::cos(a), std::sin(a));
    const Vec2 swept = ray.dot(smear) >= 0 ? Vec2(0.5 * smear) : Vec2(-0.5 * smear);
    const Vec2 beyond = e.centre + out * ray + swept;
    if (std::any_of(others.begin(), others.end(), [&](const Ellipse& o) { return o.share(beyond) < kOutside; }))
      continue;
    const auto outer = sample(view, beyond), inner = sample(view, e.centre + in * ray);
    if (!outer || !inner) continue;
    ++told;
    const auto like_cloth = [&](const Sample& at, float most) {
      return at.luma > darkest * at.bare_luma - luma && at.luma < kBrightest * at.bare_luma + luma &&
             at.chroma_off < most;
    };
    const bool bare = like_cloth(*outer, std::max(chroma, kCarried * inner->chroma_off));
    // Against the picture itself as well: where a shadow was taken for the cloth, or falls on it, there is no ball.
    const bool ball = !(asked == RimFor::near_people && like_cloth(*inner, chroma)) &&
                      (std::abs(inner->luma - outer->luma) > luma ||
                       std::hypot(inner->cb - outer->cb, inner->cr - outer->cr) > chroma);
    good += bare && ball ? 1 : 0;
  }
  return told < kLeastTold ? 0.0 : static_cast<double>(good) / told;
}

double rim_step(const View& view, const Ellipse& e) {
  constexpr int kRays = 48;
  constexpr std::array<double, 2> kIn{0.75, 0.85}, kOut{1.15, 1.25};  // ball radii
  const Mat2 inverse = e.shape.inverse();
  double sum = 0;
  int n = 0;
  for (int i = 0; i < kRays; ++i) {
    const double a = 2 * kPi * i / kRays;
    const Vec2 ray = inverse * Vec2(std::cos(a), std::sin(a));
    double step = 0;
    bool all = true;
    const auto add = [&](double share, double times) {
      const Vec2 p = e.centre + share * ray;
      const int x = static_cast<int>(std::lround(p.x())), y = static_cast<int>(std::lround(p.y()));
      if (x < 0 || y < 0 || x >= view.luma.cols || y >= view.luma.rows)
        all = false;
      else
        step += times * view.luma.at<std::uint8_t>(y, x);
    };
    for (const double share : kIn) add(share, 0.5);
    for (const double share : kOut) add(share, -0.5);
    if (!all) continue;
    sum += std::abs(step);
    ++n;
  }
  return n > 0 ? sum / n : 0;
}

namespace {
// One plane of a view: the picture, the bare cloth, luma's pixels to one of its own, black or grey.
struct Layer {
  const cv::Mat &now, &bare;
  double per, zero;
};

std::array<Layer, 3> layers(const View& view) {
  return {Layer{view.luma, view.bare_luma, 1, 16}, Layer{view.cb, view.bare_cb, 2, 128},
          Layer{view.cr, view.bare_cr, 2, 128}};
}

// f(x, y) of a layer's samples inside an outline scaled by `inside`.
template <class F>
void over_disc(const Layer& layer, const Ellipse& e, double inside, const F& f) {
  const Vec2 box = e.half_box(), low = (e.centre - box) / layer.per, high = (e.centre + box) / layer.per;
  const int x0 = std::max(0, static_cast<int>(low.x())), y0 = std::max(0, static_cast<int>(low.y()));
  const int x1 = std::min(layer.now.cols - 1, static_cast<int>(high.x())),
            y1 = std::min(layer.now.rows - 1, static_cast<int>(high.y()));
  for (int y = y0; y <= y1; ++y)
    for (int x = x0; x <= x1; ++x)
      if (e.share(Vec2(layer.per * x, layer.per * y)) <= inside) f(x, y);
}

// Mean size of the difference inside an outline from the bare cloth, or from the picture `off` px away; nothing: that
// lies beyond the picture.
std::optional<double> mean_apart(const View& view, const Ellipse& e, const std::optional<Vec2>& off) {
  constexpr double kOfDisc = 0.9;  // of the radius
  double square = 0;
  for (const Layer& layer : layers(view)) {
    double sum = 0;
    int count = 0;
    bool all = true;
    over_disc(layer, e, kOfDisc, [&](int x, int y) {
      double other = 0;
      if (off) {
        const int ox = static_cast<int>(std::lround(x + off->x() / layer.per)),
                  oy = static_cast<int>(std::lround(y + off->y() / layer.per));
        all = all && ox >= 0 && oy >= 0 && ox < layer.now.cols && oy < layer.now.rows;
        if (all) other = layer.now.at<std::uint8_t>(oy, ox);
      } else {
        const double gain = static_cast<double>(view.gain.at(layer.per * x, layer.per * y));
        other = layer.zero + gain * (static_cast<double>(layer.bare.at<float>(y, x)) - layer.zero);
      }
      sum += std::abs(layer.now.at<std::uint8_t>(y, x) - other);
      ++count;
    });
    if (!all) return std::nullopt;
    if (count > 0) square += (sum / count) * (sum / count);
  }
  return std::sqrt(square);
}
}  // namespace

std::optional<Apart> apart_from_beside(const View& view, const Ellipse& e, const Vec2& beside) {
  const auto from_bare = mean_apart(view, e, std::nullopt), one = mean_apart(view, e, beside),
             other = mean_apart(view, e, Vec2(-beside));
  if (!one && !other) return std::nullopt;
  const double least = std::min(one.value_or(1e9), other.value_or(1e9));
  return Apart{least, least / std::max(1e-9, *from_bare)};
}

Shade shade_inside(const View& view, const Ellipse& e) {
  constexpr double kOfDisc = 0.8;       // of the radius
  std::array<double, 3> now{}, bare{};  // means over black, or grey
  const std::array<Layer, 3> planes = layers(view);
  for (std::size_t i = 0; i < planes.size(); ++i) {
    int count = 0;
    over_disc(planes[i], e, kOfDisc, [&](int x, int y) {
      now[i] += planes[i].now.at<std::uint8_t>(y, x) - planes[i].zero;
      bare[i] += static_cast<double>(planes[i].bare.at<float>(y, x)) - planes[i].zero;
      ++count;
    });
    now[i] /= std::max(1, count);
    bare[i] /= std::max(1, count);
  }
  const double share = now[0] / std::max(1.0, bare[0]);
  return {share, std::hypot(now[1] - share * bare[1], now[2] - share * bare[2])};
}

bool has_step_at_rim(const View& view, const Ellipse& outline) {
  // Of 60 drawn clips bare spots whose colour passes for their ball's had 0.4 of this step (others 0.8, one 1.0), green
  // balls on green cloth 1.2 to 5, in the dark less.
  constexpr double kStep = 1.6, kLeast = 1;  // of the noise; levels
  return rim_step(view, outline) > kStep * view.noise_luma + kLeast;
}

}  // namespace baizetrace::sight
