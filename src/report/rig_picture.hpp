// X.rig.png: the table as registered, drawn over the picture, with a map of how well a ball's place will be known.
#pragma once

#include <opencv2/core.hpp>

#include "camera/place_map.hpp"
#include "camera/rig.hpp"

namespace baizetrace::report {

// `drawn`: the picture (BGR) with the table's model over it. The bed is shaded, the darker the less well a place is
// known, with the number in millimetres at some places; a strip below says what is drawn.
[[nodiscard]] cv::Mat rig_picture(const cv::Mat& drawn, const camera::Rig& rig, const camera::PlaceMap& map,
                                  double ball_radius);

}  // namespace baizetrace::report
