// From frames to sightings: balls at rest and moving, told from the cloth, from hands and from each other.
#pragma once

#include <memory>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "base/sighting.hpp"
#include "camera/rig.hpp"
#include "sight/notes.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"
#include "video/clip.hpp"

namespace baizetrace::sight {

struct EyeOptions {
  double learn_for = 1;  // s at the start of the clip that the first cloth background is made from
};

// Frames of a clip's start that the cloth can be learnt from: show it every frame, in the clip's order.
class FirstFrames {
 public:
  explicit FirstFrames(double learn_for = EyeOptions{}.learn_for) : learn_for_(learn_for) {}
  void show(const video::Frame& frame);
  [[nodiscard]] bool enough() const;
  [[nodiscard]] const std::vector<video::Frame>& frames() const { return frames_; }

 private:
  double learn_for_, next_ = 0;
  std::vector<video::Frame> frames_;
};

// Streaming: learns the cloth once, then one Look a frame. Memory does not grow with the clip's length.
// Deterministic: same frames, same looks, bit for bit.
class Eye {
 public:
  Eye(const camera::Rig& rig, const table::Table& table, const table::BallSet& balls, const EyeOptions& options = {});
  Eye(Eye&&) noexcept;
  ~Eye();

  // Learns the cloth background and the balls' colours. Error: the cloth cannot be told (why).
  Result<Done> learn(const FirstFrames& first);
  // From the clip's start, where it is left.
  Result<Done> learn(video::Clip& clip);

  // Sightings in one frame, in the order of the clip.
  Look look(const video::Frame& frame);
  // Who stands over the table in the frame looked at last (people_in: CV_8U, coarse grid): to be covered in pictures.
  [[nodiscard]] cv::Mat people() const;

  // From the next frame on every look also writes down what it thought of and why; nullptr: no more. The looks are the
  // same either way. Requires: `notes` outlives the looking.
  void explain(std::vector<Note>* notes);

  // The camera has moved and stands so from the next frame on: the balls lie where they lay on the table, and the cloth
  // looks as it did, seen from there.
  void turn_to(const camera::Camera& now);

  // Exposure of a frame as smeared balls tell it, s; 0: not known yet.
  [[nodiscard]] double exposure() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace baizetrace::sight
