// What the table looks like with nothing on it, and what of a frame differs from that.
#pragma once

#include <opencv2/core.hpp>
#include <span>
#include <vector>

#include "base/error.hpp"
#include "sight/ellipse.hpp"
#include "sight/region.hpp"
#include "sight/view.hpp"
#include "video/frame.hpp"

namespace baizetrace::sight {

class Cloth {
 public:
  explicit Cloth(const Region& region) : region_(&region) {}

  // From a few frames (3 to 9, the more the better) of which the people and balls in them may not move at all: what
  // is unlike the cloth around it and larger than a line is taken for something lying there and filled in with the
  // cloth around. doubted: filled in whatever they look like. Error: too little cloth is to be seen.
  Result<Done> learn(std::span<const video::Frame> frames, std::span<const Ellipse> doubted = {});

  // Sums of 2 x 2 pixels of a frame's luma (CV_16U, half size; only inside the region's box): what gain_of and compare
  // both work on.
  void halve(const video::Frame& frame, cv::Mat& halves) const;
  // Brightness of a frame against the background, from the cloth itself.
  [[nodiscard]] Gain gain_of(const video::Frame& frame, const cv::Mat& halves) const;

  // Coarse picture of what differs: 0 as the cloth, kShade a change that a shadow or a light could make, kThing not.
  static constexpr std::uint8_t kShade = 1, kThing = 2;
  // The same on any number of threads.
  void compare(const video::Frame& frame, const cv::Mat& halves, const Gain& gain, cv::Mat& change) const;

  // Follows slow changes where `change` is 0, takes over what has stood still in places that are `open` (CV_8U: kOpen
  // where nothing known lies, kPerson, kBall), and what comes out of a shadow. Call once a frame.
  static constexpr std::uint8_t kBall = 0, kPerson = 1, kOpen = 2;
  void follow(const video::Frame& frame, const Gain& gain, const cv::Mat& change, const cv::Mat& open);

  // The camera has moved: the same cloth as it looks from its new place. The region must be the new place's already.
  void seen_from(const camera::Camera& before, const camera::Camera& now);

  [[nodiscard]] View view(const video::Frame& frame, const Gain& gain) const;
  [[nodiscard]] double noise_luma() const { return noise_luma_; }
  [[nodiscard]] double noise_chroma() const { return noise_chroma_; }
  [[nodiscard]] const cv::Vec3f& typical() const { return typical_; }  // Y Cb Cr of the bed's middle
  // Whether a colour (Y Cb Cr) is the cloth's own in whatever light: what a shadow on it looks like.
  [[nodiscard]] bool shade(const Eigen::Vector3d& colour) const;
  // Whether a colour (Y Cb Cr) is hard to tell from the cloth's hue.
  [[nodiscard]] bool like(const Eigen::Vector3d& colour) const;
  // How sharp the clip's edges are and where its chroma samples sit, for the views.
  void set_optics(double blur, double siting) {
    blur_ = blur;
    siting_ = siting;
  }

 private:
  void compare_rows(const video::Frame& frame, const cv::Mat& halves, const Gain& gain, const cv::Range& rows,
                    cv::Mat& change) const;
  void refresh_tolerance(int row);
  [[nodiscard]] float best_lit() const;
  // Whether a pixel (Y Cb Cr) has the cloth's hue, in whatever light.
  [[nodiscard]] bool like_cloth(const float* now) const;
  // Whether coarse pixel (x, y) is clearly brighter than the bare cloth is taken to be.
  [[nodiscard]] bool brighter(const video::Frame& frame, int x, int y, float gain) const;

  const Region* region_;
  cv::Mat luma_, cb_, cr_;  // CV_32F: luma full size, chroma half
  cv::Mat coarse_;          // CV_32F, luma at half size
  cv::Mat weight_luma_;     // CV_32F, 1 / tolerated variance at half size (edges of lines and noses tolerate more)
  cv::Mat known_;           // CV_8U, half size: 0 filled in, 1 seen bare
  cv::Mat waiting_[3];      // CV_32F, half size: what might be taken over
  cv::Mat waited_;          // CV_8U, visits
  double noise_luma_ = 2, noise_chroma_ = 1, blur_ = 0.7, siting_ = 0.25;
  double weight_chroma_ = 1;
  cv::Vec3f typical_;
  float lit_ = 255;  // Y over black of the best lit cloth
  int visit_ = 0;
};

}  // namespace baizetrace::sight
