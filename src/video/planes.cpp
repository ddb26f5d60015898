#include "video/planes.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

extern "C" {
#include <libavutil/pixdesc.h>
}

namespace baizetrace::video {

namespace {

// Lets a cv::Mat own a reference to a decoded picture: the buffer lives until its last plane goes.
class PictureAllocator : public cv::MatAllocator {
 public:
  cv::UMatData* allocate(int dims, const int* sizes, int type, void* data, std::size_t* step, cv::AccessFlag flags,
                         cv::UMatUsageFlags usage) const override {
    return cv::Mat::getStdAllocator()->allocate(dims, sizes, type, data, step, flags, usage);
  }
  bool allocate(cv::UMatData* data, cv::AccessFlag flags, cv::UMatUsageFlags usage) const override {
    return cv::Mat::getStdAllocator()->allocate(data, flags, usage);
  }
  void deallocate(cv::UMatData* u) const override {
    if (!u) return;
    auto* picture = static_cast<AVFrame*>(u->userdata);
    av_frame_free(&picture);
    delete u;
  }
};

cv::Mat view(const AVFrame& picture, int plane, int rows, int columns, int type, int offset = 0) {
  return cv::Mat(rows, columns, type, picture.data[plane] + offset, static_cast<std::size_t>(picture.linesize[plane]));
}

cv::Mat shared_plane(const AVFrame& picture, int plane, int rows, int columns) {
  static const PictureAllocator allocator;
  cv::Mat m = view(picture, plane, rows, columns, CV_8UC1);
  auto* u = new cv::UMatData(&allocator);
  u->data = u->origdata = picture.data[plane];
  u->size = static_cast<std::size_t>(picture.linesize[plane]) * static_cast<std::size_t>(rows);
  u->userdata = av_frame_clone(&picture);
  u->refcount = 1;
  m.u = u;
  return m;
}

// One component at its own resolution, 8 bits; shared when it already is that.
cv::Mat component(const AVFrame& picture, const AVPixFmtDescriptor& d, int which, int rows, int columns) {
  const AVComponentDescriptor& c = d.comp[which];
  const int bytes = c.depth > 8 ? 2 : 1;
  const int channels = c.step / bytes;
  if (bytes == 1 && channels == 1) return shared_plane(picture, c.plane, rows, columns);
  const int type = CV_MAKETYPE(bytes == 2 ? CV_16U : CV_8U, channels);
  // From the plane's start: a negative or odd offset would read past the row's end.
  const cv::Mat whole = view(picture, c.plane, rows, columns, type);
  cv::Mat one = whole;
  if (channels > 1) cv::extractChannel(whole, one, c.offset / bytes);
  if (bytes == 1) return one;
  cv::Mat eight;
  one.convertTo(eight, CV_8U, 1.0 / (1 << (c.depth - 8 + c.shift)));
  return eight;
}

// 4:2:2, 4:4:4 and the like brought to 4:2:0: the mean of the samples under each.
cv::Mat halved(const cv::Mat& plane, int rows, int columns) {
  if (plane.rows == rows && plane.cols == columns) return plane;
  cv::Mat out;
  cv::resize(plane, out, {columns, rows}, 0, 0, cv::INTER_AREA);
  return out;
}

// Full range -> limited range (ITU-R BT.709, section 6.10: 219 steps of luma from 16, 224 of chroma about 128).
cv::Mat limited(const cv::Mat& plane, bool chroma) {
  static const auto table = [](double steps, double from, double about) {
    cv::Mat t(1, 256, CV_8U);
    for (int i = 0; i < 256; ++i) t.at<uchar>(i) = cv::saturate_cast<uchar>(from + (i - about) * steps / 255);
    return t;
  };
  static const cv::Mat luma_table = table(219, 16, 0), chroma_table = table(224, 128, 128);
  cv::Mat out;
  cv::LUT(plane, chroma ? chroma_table : luma_table, out);
  return out;
}

cv::Mat turned(const cv::Mat& plane, Turn turn) {
  if (turn == Turn::none) return plane;
  cv::Mat out;
  cv::rotate(plane, out,
             turn == Turn::clockwise_90 ? cv::ROTATE_90_CLOCKWISE
             : turn == Turn::half       ? cv::ROTATE_180
                                        : cv::ROTATE_90_COUNTERCLOCKWISE);
  return out;
}

bool is_plain_yuv(const AVPixFmtDescriptor& d) {
  constexpr std::uint64_t kOther = AV_PIX_FMT_FLAG_RGB | AV_PIX_FMT_FLAG_PAL | AV_PIX_FMT_FLAG_BITSTREAM |
                                   AV_PIX_FMT_FLAG_HWACCEL | AV_PIX_FMT_FLAG_BE | AV_PIX_FMT_FLAG_FLOAT |
                                   AV_PIX_FMT_FLAG_BAYER;
  return !(d.flags & kOther) && d.comp[0].depth >= 8 && d.comp[0].depth <= 16;
}

bool is_full_range(const AVFrame& picture) {
  return picture.color_range == AVCOL_RANGE_JPEG || picture.format == AV_PIX_FMT_YUVJ420P ||
         picture.format == AV_PIX_FMT_YUVJ422P || picture.format == AV_PIX_FMT_YUVJ444P;
}

}  // namespace

Matrix matrix_of(AVColorSpace space, int height) {
  switch (space) {
    case AVCOL_SPC_BT709:
      return Matrix::bt709;
    case AVCOL_SPC_BT470BG:
    case AVCOL_SPC_SMPTE170M:
    case AVCOL_SPC_FCC:
      return Matrix::bt601;
    case AVCOL_SPC_BT2020_NCL:
    case AVCOL_SPC_BT2020_CL:
      return Matrix::bt2020;
    default:
      return height >= 720 ? Matrix::bt709 : Matrix::bt601;
  }
}

Result<Done> PlaneMaker::make(const AVFrame& picture, Frame& frame) {
  const AVPixFmtDescriptor* d = av_pix_fmt_desc_get(static_cast<AVPixelFormat>(picture.format));
  if (!d) return fail("its pixel format is unknown");
  const int w = picture.width, h = picture.height, half_w = (w + 1) / 2, half_h = (h + 1) / 2;
  frame.turn = turn_;
  frame.matrix = matrix_of(picture.colorspace, std::min(w, h));

  std::array<cv::Mat, 3> planes;
  bool full = is_full_range(picture);
  if (is_plain_yuv(*d)) {
    planes[0] = component(picture, *d, 0, h, w);
    for (std::size_t i = 1; i < 3; ++i) {
      if (d->nb_components < 3) {  // grey
        planes[i] = cv::Mat(half_h, half_w, CV_8U, cv::Scalar(128));
        continue;
      }
      const int rows = -((-h) >> d->log2_chroma_h), columns = -((-w) >> d->log2_chroma_w);
      planes[i] = halved(component(picture, *d, static_cast<int>(i), rows, columns), half_h, half_w);
    }
  } else {
    scaler_.reset(sws_getCachedContext(scaler_.release(), w, h, static_cast<AVPixelFormat>(picture.format), w, h,
                                       AV_PIX_FMT_YUV420P, SWS_BILINEAR | SWS_ACCURATE_RND | SWS_FULL_CHR_H_INP,
                                       nullptr, nullptr, nullptr));
    if (!scaler_) return fail("its pixel format {} cannot be read", d->name);
    const int* weights = sws_getCoefficients(SWS_CS_ITU709);
    const int* source = (d->flags & AV_PIX_FMT_FLAG_RGB) ? weights : sws_getCoefficients(picture.colorspace);
    sws_setColorspaceDetails(scaler_.get(), source, full, weights, 0, 0, 1 << 16, 1 << 16);
    frame.matrix = Matrix::bt709;
    full = false;
    planes = {cv::Mat(h, w, CV_8U), cv::Mat(half_h, half_w, CV_8U), cv::Mat(half_h, half_w, CV_8U)};
    const std::array<std::uint8_t*, 4> data{planes[0].data, planes[1].data, planes[2].data, nullptr};
    const std::array<int, 4> steps{static_cast<int>(planes[0].step), static_cast<int>(planes[1].step),
                                   static_cast<int>(planes[2].step), 0};
    sws_scale(scaler_.get(), picture.data, picture.linesize, 0, h, data.data(), steps.data());
  }
  for (std::size_t i = 0; i < 3; ++i) {
    if (full) planes[i] = limited(planes[i], i > 0);
    planes[i] = turned(planes[i], turn_);
  }
  frame.luma = planes[0];
  frame.cb = planes[1];
  frame.cr = planes[2];
  return Done{};
}

}  // namespace baizetrace::video
