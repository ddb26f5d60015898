#include "drawn/film.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "drawn/ground.hpp"

namespace baizetrace::drawn {

namespace {
constexpr std::size_t kGrains = 1U << 20U;
constexpr int kMargin = 8;  // px about a part, for blur
constexpr double kGamma = 1 / 2.2;

// Limited-range levels, BT.709's weights.
struct Levels {
  float y, cb, cr;
};
class Tone {
 public:
  Tone() {
    for (std::size_t i = 0; i < curve_.size(); ++i) {
      const double x = 1.5 * static_cast<double>(i) / static_cast<double>(curve_.size() - 1);
      // Bright light is pressed together before it clips, as phones do.
      const double pressed = x < 0.7 ? x : 0.7 + 0.3 * (1 - std::exp(-(x - 0.7) / 0.3));
      curve_[i] = static_cast<float>(std::pow(pressed, kGamma));
    }
  }
  [[nodiscard]] float at(float x) const {
    const float f = std::clamp(x / 1.5F, 0.0F, 1.0F) * static_cast<float>(curve_.size() - 2);
    const auto i = static_cast<std::size_t>(f);
    const float a = f - static_cast<float>(i);
    return (1 - a) * curve_[i] + a * curve_[i + 1];
  }
  [[nodiscard]] Levels levels(const cv::Vec3f& c, float gain) const {
    const float r = at(c[0] * gain), g = at(c[1] * gain), b = at(c[2] * gain);
    const float y = 0.2126F * r + 0.7152F * g + 0.0722F * b;
    return {16 + 219 * y, 128 + 224 * (b - y) / 1.8556F, 128 + 224 * (r - y) / 1.5748F};
  }

 private:
  std::array<float, 8192> curve_{};
};
const Tone& tone() {
  static const Tone t;
  return t;
}

cv::Rect even(const cv::Rect& r, const cv::Size& whole) {
  const int x0 = std::max(0, r.x) & ~1, y0 = std::max(0, r.y) & ~1;
  const int x1 = std::min(whole.width, (r.x + r.width + 1) & ~1),
            y1 = std::min(whole.height, (r.y + r.height + 1) & ~1);
  return {x0, y0, std::max(0, x1 - x0), std::max(0, y1 - y0)};
}
cv::Rect grown(const cv::Rect& r, int by, const cv::Size& whole) {
  return even(cv::Rect(r.x - by, r.y - by, r.width + 2 * by, r.height + 2 * by), whole);
}
}  // namespace

Film::Film(const Scene& scene) : scene_(scene), random_(scene.recording.seed) {
  std::normal_distribution<float> normal;
  grain_.resize(kGrains);
  for (float& g : grain_) g = normal(random_);
  // Phones smooth their noise: a pixel's grain has a share of its neighbour's.
  for (std::size_t i = 0; i + 1 < kGrains; ++i) grain_[i] = 0.85F * grain_[i] + 0.5F * grain_[i + 1];
  const Colour middle = scene.look.cloth.cwiseProduct(light_at(scene, Vec3(0.3, 0.3, 0), Vec3(0, 0, 1)));
  const double linear = 0.2126 * middle[0] + 0.7152 * middle[1] + 0.0722 * middle[2];
  gain_ = std::pow((scene.recording.level - 16) / 219, 1 / kGamma) / linear;
  plate_.optics.width = 0;
}

Exposure Film::exposure_at(double pts) const { return {pts, scene_.recording.exposure, scene_.recording.readout}; }

void Film::develop(const cv::Mat& linear, const cv::Rect& inner, const cv::Rect& part, cv::Mat& luma, cv::Mat& cb,
                   cv::Mat& cr) const {
  cv::Mat soft;
  cv::GaussianBlur(linear, soft, {0, 0}, std::max(0.2, scene_.recording.blur), 0, cv::BORDER_REPLICATE);
  const double w = plate_.optics.width, h = plate_.optics.height, far2 = 0.25 * (w * w + h * h);
  cv::Mat y(part.size(), CV_32F), b(part.size(), CV_32F), r(part.size(), CV_32F);
  cv::parallel_for_(cv::Range(0, part.height), [&](const cv::Range& rows) {
    for (int v = rows.start; v < rows.end; ++v)
      for (int u = 0; u < part.width; ++u) {
        const double dx = u + part.x - 0.5 * w, dy = v + part.y - 0.5 * h;
        const auto gain = static_cast<float>(gain_ * (1 - scene_.recording.vignette * (dx * dx + dy * dy) / far2));
        const Levels l = tone().levels(soft.at<cv::Vec3f>(v, u), gain);
        y.at<float>(v, u) = l.y;
        b.at<float>(v, u) = l.cb;
        r.at<float>(v, u) = l.cr;
      }
  });
  if (scene_.recording.sharpen > 0) {
    cv::Mat smooth;
    cv::GaussianBlur(y, smooth, {0, 0}, 1.2, 0, cv::BORDER_REPLICATE);
    y += scene_.recording.sharpen * (y - smooth);
  }
  const cv::Rect in(inner.x - part.x, inner.y - part.y, inner.width, inner.height);
  const cv::Rect half(inner.x / 2, inner.y / 2, inner.width / 2, inner.height / 2);
  y(in).copyTo(luma(inner));
  cv::resize(b(in), cb(half), half.size(), 0, 0, cv::INTER_AREA);
  cv::resize(r(in), cr(half), half.size(), 0, 0, cv::INTER_AREA);
}

void Film::lay(Plate& plate, const std::vector<int>& resting, double time) {
  plate.with_balls = plate.ground.clone();
  const cv::Rect whole(0, 0, plate.optics.width, plate.optics.height);
  for (const int i : resting)
    draw_ball(plate.with_balls, whole, plate.sight, scene_, plate.optics, scene_.balls[static_cast<std::size_t>(i)],
              {time, 0, 0});
  plate.resting = resting;
  plate.luma.create(whole.size(), CV_32F);
  plate.cb.create(whole.height / 2, whole.width / 2, CV_32F);
  plate.cr.create(whole.height / 2, whole.width / 2, CV_32F);
  plate.cover = cv::Mat::zeros(whole.size(), CV_8U);
  cv::Mat covered = plate.with_balls.clone();
  draw_boards(covered, plate.cover, whole, scene_, plate.optics);
  develop(covered, whole, whole, plate.luma, plate.cb, plate.cr);
}

Picture Film::take(double pts) {
  const Recording& rec = scene_.recording;
  const Exposure e = exposure_at(pts);
  const Optics now = optics_at(scene_, pts + 0.5 * rec.readout);
  bool fresh = false;
  if (plate_.optics.width == 0 || now.turn != plate_.optics.turn) {
    plate_.optics = now;
    plate_.sight = sightlines(now);
    plate_.ground = draw_ground(scene_, now);
    fresh = true;
  }
  const cv::Rect whole(0, 0, now.width, now.height);
  // Balls that stay where they are during this frame belong to the plate.
  std::vector<int> resting, moving;
  std::vector<Vec2> places;
  const double begin = pts - rec.exposure, end = pts + rec.readout + rec.exposure;
  for (std::size_t i = 0; i < scene_.balls.size(); ++i) {
    const Ball& ball = scene_.balls[i];
    const BallNow a = ball.now(begin), b = ball.now(end);
    if (a.state == 2 && b.state == 2) continue;
    if (a.state == 0 && b.state == 0 && !a.moving && !b.moving && (a.at - b.at).norm() < 1e-9) {
      resting.push_back(static_cast<int>(i));
      places.emplace_back(a.at.x(), a.at.y());
    } else {
      moving.push_back(static_cast<int>(i));
    }
  }
  if (fresh || resting != plate_.resting || places != plate_.places) {
    lay(plate_, resting, pts);
    plate_.places = places;
  }
  cv::Mat luma = plate_.luma.clone(), cb = plate_.cb.clone(), cr = plate_.cr.clone();
  Picture out;
  out.optics = now;
  out.cover = plate_.cover.clone();
  const std::vector<Limb> limbs = limbs_at(scene_.people, pts + 0.5 * rec.readout);
  std::vector<cv::Rect> parts;
  if (const cv::Rect r = reach_of_people(now, limbs); r.area() > 0) parts.push_back(r);
  for (const int i : moving)
    if (const cv::Rect r = reach_of_ball(now, scene_, scene_.balls[static_cast<std::size_t>(i)], e); r.area() > 0)
      parts.push_back(r);
  for (bool again = true; again;) {  // parts that overlap become one
    again = false;
    for (std::size_t i = 0; i < parts.size() && !again; ++i)
      for (std::size_t j = i + 1; j < parts.size() && !again; ++j)
        if ((grown(parts[i], 2 * kMargin, whole.size()) & parts[j]).area() > 0) {
          parts[i] |= parts[j];
          parts.erase(parts.begin() + static_cast<long>(j));
          again = true;
        }
  }
  for (const cv::Rect& p : parts) {
    const cv::Rect inner = grown(p, kMargin, whole.size()), part = grown(inner, kMargin, whole.size());
    cv::Mat linear = plate_.with_balls(part).clone();
    for (const int i : moving)
      draw_ball(linear, part, plate_.sight, scene_, now, scene_.balls[static_cast<std::size_t>(i)], e);
    draw_people(linear, out.cover, part, scene_, now, limbs);
    draw_boards(linear, out.cover, part, scene_, now);
    develop(linear, inner, part, luma, cb, cr);
  }
  // Light that changes, grain, and whole levels.
  const double slow = 1 + rec.drift * std::sin(2 * kPi * pts / rec.drift_time);
  out.luma.create(whole.size(), CV_8U);
  out.cb.create(cb.size(), CV_8U);
  out.cr.create(cr.size(), CV_8U);
  const auto wobble = [&](double v) {
    const double t = e.of_row(v, now.height), x = kPi * rec.flicker_rate * rec.exposure;
    const double smeared = x > 1e-6 ? std::sin(x) / x : 1;  // the exposure averages over the lamp's swing
    return std::pow(slow * (1 + rec.flicker * smeared * std::sin(2 * kPi * rec.flicker_rate * t)), kGamma);
  };
  const auto draw_grain = [&](const cv::Mat& from, cv::Mat& to, double zero, double share, int scale) {
    std::vector<std::size_t> starts(static_cast<std::size_t>(from.rows));
    for (std::size_t& s : starts) s = random_() % (kGrains - static_cast<std::size_t>(from.cols) - 2);
    cv::parallel_for_(cv::Range(0, from.rows), [&](const cv::Range& rows) {
      for (int v = rows.start; v < rows.end; ++v) {
        const auto gain = static_cast<float>(wobble(v * scale));
        const float* in = from.ptr<float>(v);
        const float* g = grain_.data() + starts[static_cast<std::size_t>(v)];
        std::uint8_t* o = to.ptr(v);
        const auto base = static_cast<float>(zero), sd = static_cast<float>(share * rec.noise);
        for (int u = 0; u < from.cols; ++u) {
          const float x = base + (in[u] - base) * gain + sd * g[u] + 0.5F;
          o[u] = static_cast<std::uint8_t>(std::clamp(x, 1.0F, 254.0F));
        }
      }
    });
  };
  draw_grain(luma, out.luma, 16, 1, 1);
  draw_grain(cb, out.cb, 128, 0.5, 2);
  draw_grain(cr, out.cr, 128, 0.5, 2);
  return out;
}

}  // namespace baizetrace::drawn
