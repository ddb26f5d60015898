// The camera over time: whether its mount stays as it was registered, sags, or is knocked.
//
// Every frame (some 40 a second at most) is laid over a picture in which the camera's pose is known (watch.hpp). What
// a single frame says is not believed: a knock shows in two frames in a row, a sag in the middle value of a second.
// From a knock on each frame has its own pose until the camera is still again.
#pragma once

#include <deque>
#include <optional>
#include <string>
#include <vector>

#include "camera/watch.hpp"
#include "video/frame.hpp"

namespace baizetrace::camera {

// The camera stood elsewhere afterwards, or shook.
struct Move {
  double from = 0, to = 0;  // s: first seen to move, still again
  double pixels = 0;        // rms over the bed, before against after
  double metres = 0;        // the same on the bed
  bool slow = false;        // a sag: many small corrections from `from` to `to`
  bool settled = true;      // false: it still moved when the recording ended
  Pose before, after;
};

// Where the camera stands could not be told. Open at the end of the recording: to is infinite.
struct Lost {
  double from = 0, to = 0;
};

class Mount {
 public:
  // The reference is as Watch wants it.
  Mount(const cv::Mat& reference, const Camera& camera, const table::Table& table);

  struct Now {
    Camera camera;
    bool changed = false;  // since the frame before
    bool known = true;     // false: this frame's pose is not known, take no places from it
    double u = 0;          // m, of places by the camera's movement in this frame; 0: it stands still
  };
  // Every frame in the clip's order.
  Now push(const video::Frame& frame);

  // What has happened so far; a move under way is in it.
  [[nodiscard]] std::vector<Move> moves() const;
  [[nodiscard]] std::vector<Lost> lost() const;
  // Not told where it stands for longer than a person covers the table: from when. It should be found anew.
  [[nodiscard]] std::optional<double> lost_since() const;
  // It was found anew, as of `time`.
  void found(const cv::Mat& reference, const Camera& camera, const table::Table& table, double time);

  // How far two poses lie apart over the bed.
  [[nodiscard]] Watch::Apart apart(const Pose& a, const Pose& b) const { return watch_.apart(a, b); }
  // False: the reference shows too little of the table to tell a knock by; nothing is corrected then.
  [[nodiscard]] bool can_tell() const { return watch_.patches() >= kFewestPatches; }

 private:
  struct Seen {
    double time = 0;
    Pose pose;
  };
  enum class State { still, moving };
  static constexpr std::size_t kFewestPatches = 40;

  void stand(const video::Frame& frame, Now& now);
  void shake(const video::Frame& frame, Now& now);
  void follow_sag(double time, Now& now);
  [[nodiscard]] std::optional<Move> sag_so_far() const;
  [[nodiscard]] std::optional<Glance> look_wide(const video::Frame& frame);
  [[nodiscard]] Pose middle_of_recent() const;
  [[nodiscard]] double jolt() const;
  void begin_lost(double time);
  void end_lost(double time, bool elsewhere);

  Watch watch_;
  table::Table table_;
  Pose pose_;    // as of now
  Pose before_;  // before the move under way
  State state_ = State::still;
  std::deque<Seen> recent_;
  double noise_ = 0.1;  // px, of one frame's pose
  double looked_ = -1, searched_ = -1;
  int suspicious_ = 0;
  double suspicious_since_ = 0;
  std::optional<double> blind_since_;
  int blind_ = 0;
  double move_from_ = 0;
  std::optional<Move> sag_;
  std::vector<Move> moves_;
  std::vector<Lost> lost_;
};

}  // namespace baizetrace::camera
