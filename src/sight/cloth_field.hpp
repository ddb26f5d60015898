// The cloth's colour over the bed as a smooth function, and the filling in of what lies on it.
#pragma once

#include <opencv2/core.hpp>
#include <span>

#include "base/error.hpp"
#include "sight/ellipse.hpp"
#include "sight/region.hpp"

namespace baizetrace::sight {

struct Filled {
  cv::Mat known;      // CV_8U, coarse: 1 seen bare, 0 filled in
  cv::Mat thing;      // CV_8U, coarse: 255 where something lay
  cv::Vec3f typical;  // Y Cb Cr, median of the bed
};

// Finds on a still picture what is unlike the cloth (larger than a line, a spot or a chalk mark), and replaces it by
// the smooth cloth and what surrounds it. Planes are CV_32F: coarse luma and chroma of the coarse size, luma twice
// that. doubted: places that are never taken for bare cloth, whatever they look like (a ball of the cloth's own colour
// may lie there). Error: less than a third of the bed is one cloth.
Result<Filled> fill_in_things(const Region& region, cv::Mat& coarse, cv::Mat& luma, cv::Mat& cb, cv::Mat& cr,
                              double noise_luma, double noise_chroma, std::span<const Ellipse> doubted);

}  // namespace baizetrace::sight
