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

  // Where the camera stands in a frame.
  struct Standing {
    camera::Camera camera;
    bool turned = false;  // since the frame before
    bool known = true;    // false: take no places from this frame
    double u = 0;         // m, of places by the camera's movement
  };
  // Every frame in the order of the clip.
  [[nodiscard]] Standing stand(const video::Frame& frame);
  // Sightings in one frame, in the order of the clip. None where the camera's pose is not known: the look is then
  // marked damaged. May run beside stand() for a later frame: the two share nothing that changes.
  [[nodiscard]] Look look(const video::Frame& frame, const Standing& standing);

  // Who stands over the table in the frame looked at last, see sight::Eye.
  [[nodiscard]] cv::Mat people() const { return eye_.people(); }
  // As it stood in that frame.
  [[nodiscard]] const camera::Camera& camera() const { return camera_; }
  [[nodiscard]] const camera::Mount& mount() const { return mount_; }
  // What happened to the mount, as a session has it: moves, and a warning for each.
  void tell(std::vector<practice::RigMove>& moves, std::vector<practice::Warning>& warnings) const;
  // Why what lies between these times cannot be trusted; nullopt: it can.
  [[nodiscard]] std::optional<std::string> untrusted(double from, double to) const;

 private:
  bool find_anew(double time);

  sight::Eye eye_;
  camera::Mount mount_;
  camera::Rig rig_;
  table::Table table_;
  table::BallSet balls_;
  std::string file_;
  camera::Camera stood_;   // in the frame that stand() saw last
  camera::Camera camera_;  // in the frame that was looked at last
  double next_try_ = 0, wait_ = 0;
  std::optional<double> trying_for_;
};

}  // namespace baizetrace::cli
