// What of a picture may be shared: the bed with its cushions and pockets, less whoever stands or leans over it.
//
// Judged by the cloth: a part of the picture that does not look like the bare cloth there, stouter than a ball and no
// ball that is known to lie there, is somebody. What cannot be told so: a person in the cloth's own colour, and skin or
// clothes over the pockets alone.
#pragma once

#include <opencv2/core.hpp>
#include <span>
#include <vector>

#include "base/error.hpp"
#include "camera/rig.hpp"
#include "sight/cloth.hpp"
#include "sight/region.hpp"
#include "table/table.hpp"
#include "video/clip.hpp"

namespace baizetrace::sight {

// Shown beyond the noses: the cushions' cloth, no more. The wooden rails are left out, because nothing tells there who
// is over them.
inline constexpr double kShownBeyondNoses = 0.055;  // m

// CV_8U, the picture's size: 255 where bed, cushions and pockets are.
[[nodiscard]] cv::Mat shown_area(const camera::Rig& rig, const table::Table& table);

// From what differs from the bare cloth (Cloth::compare's picture, known balls already taken out of it): CV_8U, coarse
// grid, 255 over people, a margin around them included.
[[nodiscard]] cv::Mat people_in(const cv::Mat& change, const Region& region);

class People {
 public:
  People(const camera::Rig& rig, const table::Table& table, double ball_radius);
  // Learns the bare cloth from frames spread over the clip from `from` to `to` s. Error: the cloth cannot be told.
  Result<Done> learn(video::Clip& clip, double from, double to);
  // The same from frames at hand.
  Result<Done> learn(std::span<const video::Frame> frames);

  // CV_8U, the picture's size: 255 what may be shown of this frame. `balls`: places (m) where balls may be; they are
  // not taken for people, however close they lie together. Frames in the clip's order; jumps are allowed.
  [[nodiscard]] cv::Mat shown(const video::Frame& frame, std::span<const Vec2> balls);

 private:
  camera::Rig rig_;
  double ball_radius_;
  Region region_;
  Cloth cloth_;
  cv::Mat area_, halves_, change_;
  std::vector<std::pair<double, cv::Mat>> recent_;  // times and masks of the last frames
};

// People of a coarse mask (empty: nobody) in one flat dark colour.
void cover_people(cv::Mat& bgr, const cv::Mat& people);

// Everything that is not shown in one flat dark colour.
void cover(cv::Mat& bgr, const cv::Mat& shown);

}  // namespace baizetrace::sight
