#include "video/frame.hpp"

#include <algorithm>
#include <opencv2/imgproc.hpp>

namespace baizetrace::video {

namespace {
// Kr and Kb of each standard (ITU-R BT.709-6 item 3.2, BT.601-7 section 2.5.1, BT.2020-2 table 4).
struct Weights {
  double kr, kb;
};
constexpr Weights weights_of(Matrix m) {
  switch (m) {
    case Matrix::bt601:
      return {0.299, 0.114};
    case Matrix::bt2020:
      return {0.2627, 0.0593};
    case Matrix::bt709:
      break;
  }
  return {0.2126, 0.0722};
}
}  // namespace

double row_share(Turn turn, int upright_width, int upright_height, const Vec2& pixel) {
  double share = 0;
  switch (turn) {
    case Turn::none:
      share = (pixel.y() + 0.5) / upright_height;
      break;
    case Turn::half:
      share = 1 - (pixel.y() + 0.5) / upright_height;
      break;
    case Turn::clockwise_90:  // the stored top is shown at the right
      share = 1 - (pixel.x() + 0.5) / upright_width;
      break;
    case Turn::counter_clockwise_90:  // the stored top is shown at the left
      share = (pixel.x() + 0.5) / upright_width;
      break;
  }
  return std::clamp(share, 0.0, 1.0);
}

double Frame::row_share(const Vec2& pixel) const { return video::row_share(turn, width(), height(), pixel); }

cv::Mat Frame::bgr() const {
  const auto [kr, kb] = weights_of(matrix);
  const double kg = 1 - kr - kb, luma_gain = 255.0 / 219, chroma_gain = 255.0 / 224;
  cv::Mat blue, red;
  cv::resize(cb, blue, luma.size(), 0, 0, cv::INTER_LINEAR);
  cv::resize(cr, red, luma.size(), 0, 0, cv::INTER_LINEAR);
  cv::Mat yuv, out;
  cv::merge(std::vector<cv::Mat>{luma, blue, red}, yuv);
  const double r_cr = 2 * (1 - kr) * chroma_gain, b_cb = 2 * (1 - kb) * chroma_gain;
  const double g_cb = -b_cb * kb / kg, g_cr = -r_cr * kr / kg;
  const auto row = [&](double from_cb, double from_cr) {
    return cv::Vec4d(luma_gain, from_cb, from_cr, -16 * luma_gain - 128 * (from_cb + from_cr));
  };
  const cv::Vec4d b = row(b_cb, 0), g = row(g_cb, g_cr), r = row(0, r_cr);
  const cv::Matx34d m(b[0], b[1], b[2], b[3], g[0], g[1], g[2], g[3], r[0], r[1], r[2], r[3]);
  cv::transform(yuv, out, m);
  return out;
}

}  // namespace baizetrace::video
