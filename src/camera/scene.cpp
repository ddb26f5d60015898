#include "camera/scene.hpp"

#include <algorithm>
#include <opencv2/imgproc.hpp>

namespace baizetrace::camera {

namespace {
// Levels: samples this near to the middle value are the same thing seen with noise; a ball or a sleeve is further off.
constexpr int kSameThing = 8;

// Of each pixel over all planes: the middle value, then the mean of what lies near it.
cv::Mat settled(const std::vector<cv::Mat>& planes) {
  const int n = static_cast<int>(planes.size());
  cv::Mat out(planes[0].size(), CV_32F);
  cv::parallel_for_(cv::Range(0, out.rows), [&](const cv::Range& rows) {
    std::vector<const std::uint8_t*> in(planes.size());
    std::vector<std::uint8_t> values(planes.size());
    for (int y = rows.start; y < rows.end; ++y) {
      for (std::size_t i = 0; i < planes.size(); ++i) in[i] = planes[i].ptr(y);
      float* to = out.ptr<float>(y);
      for (int x = 0; x < out.cols; ++x) {
        for (std::size_t i = 0; i < planes.size(); ++i) values[i] = in[i][x];
        std::nth_element(values.begin(), values.begin() + n / 2, values.end());
        const int middle = values[static_cast<std::size_t>(n / 2)];
        int sum = 0, count = 0;
        for (const std::uint8_t v : values)
          if (std::abs(v - middle) <= kSameThing) {
            sum += v;
            ++count;
          }
        to[x] = static_cast<float>(sum) / static_cast<float>(count);
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
  const double announced = clip.info().duration * clip.info().time_scale;
  const double span = announced > 0 ? std::min(options.look_at, announced) : options.look_at;
  Scene scene;
  std::vector<cv::Mat> lumas, cbs, crs;
  int next_sample = 0, moment_count = 0;
  while (auto frame = clip.next()) {
    if (frame->time > options.look_at) break;
    if (frame->damaged) continue;
    scene.width = frame->width();
    scene.height = frame->height();
    scene.turn = frame->turn;
    if (frame->time >= span * next_sample / options.samples) {
      lumas.push_back(frame->luma.clone());
      cbs.push_back(frame->cb.clone());
      crs.push_back(frame->cr.clone());
      while (frame->time >= span * next_sample / options.samples) ++next_sample;
    }
    if (frame->repeated) continue;
    const auto started = static_cast<int>(scene.moments.size());
    if (moment_count == 0 && started < options.moments && frame->time >= span * started / options.moments) {
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
  if (lumas.empty()) return fail("{}: no frame could be read", clip.info().file);
  scene.frames = static_cast<int>(lumas.size());
  scene.luma = settled(lumas);
  scene.cb = settled(cbs);
  scene.cr = settled(crs);
  return scene;
}

}  // namespace baizetrace::camera
