// From a scene to frames as a phone would store them.
#pragma once

#include <functional>
#include <opencv2/core.hpp>
#include <random>

#include "drawn/actors.hpp"

namespace baizetrace::drawn {

struct Picture {
  cv::Mat luma, cb, cr;  // CV_8U, limited range; chroma half size
  cv::Mat cover;         // CV_8U, full size: share of each pixel that people and boards hide
  Optics optics;         // as it was for this frame
};

// Draws frame after frame; what stands still is drawn once.
class Film {
 public:
  explicit Film(const Scene& scene);
  // The picture taken at `pts`. Its noise differs from call to call.
  [[nodiscard]] Picture take(double pts);

 private:
  struct Plate {
    Optics optics;
    cv::Mat sight, ground, with_balls;  // linear light
    cv::Mat luma, cb, cr;               // float levels of with_balls, boards over it
    cv::Mat cover;
    std::vector<int> resting;
    std::vector<Vec2> places;
  };
  void lay(Plate& plate, const std::vector<int>& resting, double time);
  void develop(const cv::Mat& linear, const cv::Rect& inner, const cv::Rect& part, cv::Mat& luma, cv::Mat& cb,
               cv::Mat& cr) const;
  [[nodiscard]] Exposure exposure_at(double pts) const;

  const Scene& scene_;
  Plate plate_;
  double gain_ = 1;
  std::vector<float> grain_;
  std::mt19937 random_;
};

}  // namespace baizetrace::drawn
