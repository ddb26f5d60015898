// What stands still in front of a camera: the picture without the people, and a few moments of balls at rest.
#pragma once

#include <functional>
#include <opencv2/core.hpp>
#include <vector>

#include "base/error.hpp"
#include "camera/stretches.hpp"
#include "video/clip.hpp"

namespace baizetrace::camera {

// Mean of a few frames in a row: the balls as they lay then.
struct Moment {
  double time = 0;      // s, of its first frame
  cv::Mat luma;         // CV_32F, full size
  cv::Mat cb, cr;       // CV_32F, half size
  cv::Mat first, last;  // CV_8U luma of its first and last frame: what moved in between
};

struct Scene {
  int width = 0, height = 0;
  video::Turn turn = video::Turn::none;
  // Middle value over time of every pixel, then the mean of the values near it, sharp frames weighing more: people
  // leave, noise goes, cloth stays.
  cv::Mat luma;    // CV_32F, full size
  cv::Mat cb, cr;  // CV_32F, half size: pixel i of these lies at 2 i + 0.5 of the full picture
  std::vector<Moment> moments;
  int frames = 0;           // that went into the middle value
  std::vector<Snap> snaps;  // those frames

  [[nodiscard]] cv::Mat bgr() const;  // for drawing
};

struct SceneOptions {
  double from = 0;                                 // s: what comes before is left out
  double look_at = 10;                             // s, from there
  int samples = 21;                                // spans of that time, each shown by its sharpest frame
  int moments = 5;                                 // spread over that time
  int moment_frames = 5;                           // frames in a row
  std::function<void(const video::Frame&)> shown;  // every frame that is read, for whoever learns from the same
};

// Reads the clip, from where it stands. Error: no frame comes out.
[[nodiscard]] Result<Scene> gather_scene(video::Clip& clip, const SceneOptions& options = {});

}  // namespace baizetrace::camera
