// An eye whose camera may be knocked: sightings stay on the table whatever the mount does.
#pragma once

#include <optional>
#include <string>

#include "camera/mount.hpp"
#include "practice/session.hpp"
#include "sight/eye.hpp"
#include "table/ball_set.hpp"

namespace baizetrace::cli {

class SteadyEye {
 public:
  // reference: luma (CV_32F) of a picture in which the camera stands as the rig says.
  // file: the clip, looked at again where the camera has to be found anew.
  SteadyEye(sight::Eye eye, const cv::Mat& reference, const camera::Rig& rig, const table::Table& table,
            const table::BallSet& balls, std::string file);

  // Sightings in one frame, in the order of the clip. None where the camera's pose is not known: the look is then
  // marked damaged.
  [[nodiscard]] Look look(const video::Frame& frame);

  // Who stands over the table in the frame looked at last, see sight::Eye.
  [[nodiscard]] cv::Mat people() const { return eye_.people(); }
  // As it stands now.
  [[nodiscard]] const camera::Camera& camera() const { return camera_; }
  [[nodiscard]] const camera::Mount& mount() const { return mount_; }
  // What happened to the mount, as a session has it: moves, and a warning for each.
  void tell(std::vector<practice::RigMove>& moves, std::vector<practice::Warning>& warnings) const;
  // Why what lies between these times cannot be trusted; nullopt: it can.
  [[nodiscard]] std::optional<std::string> untrusted(double from, double to) const;

 private:
  void find_anew(double time);

  sight::Eye eye_;
  camera::Mount mount_;
  camera::Rig rig_;
  table::Table table_;
  table::BallSet balls_;
  std::string file_;
  camera::Camera camera_;
  double next_try_ = 0, wait_ = 0;
  std::optional<double> trying_for_;
};

}  // namespace baizetrace::cli
