#include "camera/scene.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace baizetrace::camera {

namespace {
// Levels: samples this near to the middle value are the same thing seen with noise; a ball or a sleeve is further off.
constexpr int kSameThing = 8;

// An encoder short of bits smears: dark bands a few pixels wide fade by half, and their edges seem to move by a pixel.
// Pictures weigh by their sharpness over the sharpest one's, to this power.
constexpr double kSharpnessPower = 3;
constexpr int kRowStep = 4;  // rows that sharpness is read from

// One picture of the clip, the sharpest of its span of time.
struct Sample {
  cv::Mat luma, cb, cr;
  double sharpness = 0;
  double time = 0;  // s
};

// Mean size of the second difference along rows, levels: fine detail and the sensor's own grain, both of which an
// encoder drops first.
double sharpness_of(const cv::Mat& luma) {
  std::int64_t sum = 0, count = 0;
  for (int y = 0; y < luma.rows; y += kRowStep) {
    const std::uint8_t* v = luma.ptr(y);
    int row = 0;
    for (int x = 1; x + 1 < luma.cols; ++x) row += std::abs(2 * v[x] - v[x - 1] - v[x + 1]);
    sum += row;
    count += luma.cols - 2;
  }
  return count > 0 ? static_cast<double>(sum) / static_cast<double>(count) : 0;
}

std::vector<float> weights_of(const std::vector<Sample>& samples) {
  double best = 0;
  for (const Sample& s : samples) best = std::max(best, s.sharpness);
  std::vector<float> out;
  for (const Sample& s : samples)
    out.push_back(best > 0 ? static_cast<float>(std::pow(std::max(0.05, s.sharpness / best), kSharpnessPower)) : 1.0F);
  return out;
}

// Of each pixel over all samples: the middle value, then the weighted mean of what lies near it.
cv::Mat settled(const std::vector<Sample>& samples, cv::Mat Sample::*plane, const std::vector<float>& weights) {
  const std::size_t n = samples.size();
  cv::Mat out((samples[0].*plane).size(), CV_32F);
  cv::parallel_for_(cv::Range(0, out.rows), [&](const cv::Range& rows) {
    std::vector<const std::uint8_t*> in(n);
    std::vector<std::uint8_t> values(n);
    for (int y = rows.start; y < rows.end; ++y) {
      for (std::size_t i = 0; i < n; ++i) in[i] = (samples[i].*plane).ptr(y);
      float* to = out.ptr<float>(y);
      for (int x = 0; x < out.cols; ++x) {
        for (std::size_t i = 0; i < n; ++i) values[i] = in[i][x];
        std::nth_element(values.begin(), values.begin() + static_cast<long>(n / 2), values.end());
        const int middle = values[n / 2];
        float sum = 0, weight = 0;
        for (std::size_t i = 0; i < n; ++i)
          if (std::abs(in[i][x] - middle) <= kSameThing) {
            sum += weights[i] * static_cast<float>(in[i][x]);
            weight += weights[i];
          }
        to[x] = sum / weight;
      }
    }
  });
  return out;
}

void add(cv::Mat& sum, const cv::Mat& plane) {
  cv::Mat f;
  plane.convertTo(f, CV_32F);
  if (sum.empty())
    sum = f;
  else
    sum += f;
}
}  // namespace

cv::Mat Scene::bgr() const {
  // BT.709, limited range: what most phones write; a shade off elsewhere does not matter for drawing.
  cv::Mat up_cb, up_cr, y = (luma - 16) * (255.0 / 219.0);
  cv::resize(cb, up_cb, luma.size(), 0, 0, cv::INTER_LINEAR);
  cv::resize(cr, up_cr, luma.size(), 0, 0, cv::INTER_LINEAR);
  up_cb = (up_cb - 128) * (255.0 / 224.0);
  up_cr = (up_cr - 128) * (255.0 / 224.0);
  std::vector<cv::Mat> planes(3);
  planes[0] = y + 1.8556 * up_cb;
  planes[1] = y - 0.1873 * up_cb - 0.4681 * up_cr;
  planes[2] = y + 1.5748 * up_cr;
  cv::Mat out;
  cv::merge(planes, out);
  out.convertTo(out, CV_8UC3);
  return out;
}

Result<Scene> gather_scene(video::Clip& clip, const SceneOptions& options) {
  if (options.from > 0)
    if (const auto there = clip.seek(options.from); !there) return pass_on(there);
  const double announced = clip.info().duration * clip.info().time_scale - options.from;
  const double span = announced > 0 ? std::min(options.look_at, announced) : options.look_at;
  Scene scene;
  std::vector<Sample> samples;
  int slot = -1, moment_count = 0;
  while (auto frame = clip.next()) {
    if (options.shown) options.shown(*frame);
    const double time = frame->time - options.from;
    if (time < 0) continue;
    if (time > options.look_at) break;
    if (frame->damaged) continue;
    scene.width = frame->width();
    scene.height = frame->height();
    scene.turn = frame->turn;
    const double sharpness = sharpness_of(frame->luma);
    const int now = std::clamp(static_cast<int>(time / span * options.samples), 0, options.samples - 1);
    if (now > slot || sharpness > samples.back().sharpness) {
      if (now > slot) samples.emplace_back();
      slot = std::max(slot, now);
      frame->luma.copyTo(samples.back().luma);
      frame->cb.copyTo(samples.back().cb);
      frame->cr.copyTo(samples.back().cr);
      samples.back().sharpness = sharpness;
      samples.back().time = frame->time;
    }
    if (frame->repeated) continue;
    const auto started = static_cast<int>(scene.moments.size());
    if (moment_count == 0 && started < options.moments && time >= span * started / options.moments) {
      scene.moments.emplace_back();
      scene.moments.back().time = frame->time;
      frame->luma.copyTo(scene.moments.back().first);
    }
    if (static_cast<int>(scene.moments.size()) > 0 &&
        (moment_count > 0 || started < static_cast<int>(scene.moments.size()))) {
      Moment& m = scene.moments.back();
      add(m.luma, frame->luma);
      add(m.cb, frame->cb);
      add(m.cr, frame->cr);
      if (++moment_count == options.moment_frames) {
        frame->luma.copyTo(m.last);
        m.luma /= moment_count;
        m.cb /= moment_count;
        m.cr /= moment_count;
        moment_count = 0;
      }
    }
  }
  if (moment_count > 0) scene.moments.pop_back();  // cut off by the end
  if (samples.empty()) return fail("{}: no frame could be read", clip.info().file);
  scene.frames = static_cast<int>(samples.size());
  for (const Sample& s : samples) scene.snaps.push_back({s.time, s.luma, s.sharpness});
  const std::vector<float> weights = weights_of(samples);
  scene.luma = settled(samples, &Sample::luma, weights);
  scene.cb = settled(samples, &Sample::cb, weights);
  scene.cr = settled(samples, &Sample::cr, weights);
  return scene;
}

}  // namespace baizetrace::camera
