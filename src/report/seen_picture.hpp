// What was seen in one frame, kept and thrown away, and why: a picture for whoever wonders about a measurement.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <vector>

#include "sight/notes.hpp"

namespace baizetrace::report {

// Where a measured path has a ball at that moment.
struct OnPath {
  std::string ball;
  Vec2 at = Vec2::Zero();     // m
  Vec2 pixel = Vec2::Zero();  // px
  bool seen = true;           // whether a sighting of this frame stands behind it
};

struct SeenFrame {
  cv::Mat bgr;  // 8 bits, upright
  int frame = 0;
  double time = 0;     // s, the frame's timestamp
  std::string moment;  // why it is shown: "attempt 2: the white meets the top cushion"; or ""
  std::string blind;   // why nothing was looked for in it; "" it was looked at
  std::vector<sight::Note> notes;
  std::vector<std::string> kinds;  // names of the ball set's kinds, in the order of Note::colour
  std::vector<OnPath> paths;
};

// 8-bit BGR: the frame with every place numbered (kept: unbroken ring, thrown away: broken ring, the path: a cross),
// below it each place enlarged with what was made of it. Shows whoever was filmed.
[[nodiscard]] cv::Mat seen_picture(const SeenFrame& frame);

}  // namespace baizetrace::report
