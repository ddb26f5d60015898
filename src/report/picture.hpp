// attempt-NN.png: the picture of the table with the real path and the predicted one over it.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <vector>

#include "camera/rig.hpp"
#include "practice/session.hpp"
#include "table/table.hpp"

namespace baizetrace::report {

// The picture (8-bit BGR, upright, the rig's size) with everything but bed, cushions and pockets in one flat dark
// colour, whatever was there (sight::shown_area), because faces and children stay out of what is shared. People *over*
// the bed are not covered here: `measure` has covered them (sight::cover_people) before it hands a picture in.
[[nodiscard]] cv::Mat only_the_bed(const cv::Mat& bgr, const camera::Rig& rig, const table::Table& table);

// Pixels of the outline that a picture is cropped to (what lies inside the picture of it; the order of walking round).
[[nodiscard]] std::vector<Vec2> outline_of_the_bed(const camera::Rig& rig, const table::Table& table);

struct PictureOptions {
  std::string caption;           // one line; "" leaves it out
  double ball_radius = 0.02625;  // m
  bool legend = true;
  bool prediction = true;
  bool crop = true;  // to the table
  int gates = 3;     // at most so many, the narrowest first
};

// The picture of an attempt, drawn over only_the_bed(bgr): the white's path as measured (unbroken; dotted where it was
// out of sight), other balls' thinner, the predicted one dashed, contacts numbered, resting places, gates; caption and
// legend on a strip below. Letters are as large as a phone 390 px wide needs.
// Requires: bgr has the rig's size.
[[nodiscard]] cv::Mat attempt_picture(const cv::Mat& bgr, const camera::Rig& rig, const table::Table& table,
                                      const practice::Attempt& attempt, const PictureOptions& options = {});

// Where a gate's post stands in this attempt: a ball at rest before the strike, a spot, a pocket. nullopt: unknown.
[[nodiscard]] std::optional<Vec2> post_place(const std::string& post, const practice::Attempt& attempt,
                                             const table::Table& table);

}  // namespace baizetrace::report
