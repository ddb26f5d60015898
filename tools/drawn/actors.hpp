// Balls, people and boards drawn over the ground.
#pragma once

#include <opencv2/core.hpp>

#include "drawn/scene.hpp"

namespace baizetrace::drawn {

// Where every pixel looks: CV_32FC3 directions in the table's frame; zero where nothing is seen.
[[nodiscard]] cv::Mat sightlines(const Optics& optics);

// One exposure: row v is exposed around start + readout (v + 0.5) / height, for `exposure`.
struct Exposure {
  double start = 0, exposure = 0, readout = 0;
  [[nodiscard]] double of_row(double v, int height) const { return start + readout * (v + 0.5) / height; }
};

// `picture`: the part `part` of the whole, linear light. Balls that are off the table or in no place are not drawn.
void draw_ball(cv::Mat& picture, const cv::Rect& part, const cv::Mat& sight, const Scene& scene, const Optics& optics,
               const Ball& ball, const Exposure& exposure);
// Where the ball and its shade may change the picture.
[[nodiscard]] cv::Rect reach_of_ball(const Optics& optics, const Scene& scene, const Ball& ball,
                                     const Exposure& exposure);

// `cover`: CV_8U of the whole picture, how much of each pixel people and boards hide (255: all); only `part` is
// written.
void draw_people(cv::Mat& picture, cv::Mat& cover, const cv::Rect& part, const Scene& scene, const Optics& optics,
                 const std::vector<Limb>& limbs);
[[nodiscard]] cv::Rect reach_of_people(const Optics& optics, const std::vector<Limb>& limbs);
void draw_boards(cv::Mat& picture, cv::Mat& cover, const cv::Rect& part, const Scene& scene, const Optics& optics);

}  // namespace baizetrace::drawn
