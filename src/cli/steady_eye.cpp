#include "cli/steady_eye.hpp"

#include <cmath>

#include "camera/known_lens.hpp"
#include "camera/register.hpp"

namespace baizetrace::cli {

namespace {
constexpr double kBeforeAnew = 3;   // s that it must be lost before the table is looked for anew
constexpr double kLookAnew = 6;     // s of the clip that are looked at for it
constexpr double kFirstWait = 10;   // s between tries, doubled each time: a search costs seconds
constexpr double kTurnFrom = 0.02;  // px: smaller changes of the pose are not worth a new background
constexpr double kTellFrom = 0.3;   // px: a shake that ends where it began is told all the same when it lasted
constexpr double kShakeTold = 0.2;  // s
}  // namespace

SteadyEye::SteadyEye(sight::Eye eye, const cv::Mat& reference, const camera::Rig& rig, const table::Table& table,
                     const table::BallSet& balls, std::string file)
    : eye_(std::move(eye)),
      mount_(reference, rig.camera, table),
      rig_(rig),
      table_(table),
      balls_(balls),
      file_(std::move(file)),
      stood_(rig.camera),
      camera_(rig.camera) {}

SteadyEye::Standing SteadyEye::stand(const video::Frame& frame) {
  camera::Mount::Now now = mount_.push(frame);
  bool anew = false;
  if (const auto since = mount_.lost_since(); since && frame.time - *since > kBeforeAnew) {
    if (trying_for_ != since) trying_for_ = since, next_try_ = frame.time, wait_ = kFirstWait;
    if (frame.time >= next_try_) {
      anew = find_anew(frame.time);
      next_try_ = frame.time + wait_;
      wait_ *= 2;
      now = mount_.push(frame);
    }
  }
  Standing out{stood_, false, now.known, now.u};
  if (anew || mount_.apart(stood_.pose, now.camera.pose).pixels > kTurnFrom) {
    out.camera = stood_ = now.camera;
    out.turned = true;
  }
  return out;
}

Look SteadyEye::look(const video::Frame& frame, const Standing& standing) {
  if (standing.turned) {
    camera_ = standing.camera;
    eye_.turn_to(camera_);
  }
  if (!standing.known) {
    Look blind;
    blind.frame = frame.index;
    blind.time = frame.time;
    blind.damaged = true;
    return blind;
  }
  Look look = eye_.look(frame);
  if (standing.u > 0) {
    for (Sighting& s : look.sightings) s.covariance += standing.u * standing.u * Mat2::Identity();
    for (Mend& m : look.mends) m.instead.covariance += standing.u * standing.u * Mat2::Identity();
  }
  return look;
}

// The table is looked for from here on, by the lens that is known. Not found: it stays lost.
bool SteadyEye::find_anew(double time) {
  camera::RegisterOptions how;
  how.from = time;
  how.look_at = kLookAnew;
  how.lens = camera::known_lens(rig_);
  const auto anew = camera::register_clip(file_, table_.spec(), balls_, how);
  if (!anew || !anew->found) return false;
  // Lens and table are as they were: only the camera has moved.
  camera::Camera camera = rig_.camera;
  camera.pose = anew->rig.camera.pose;
  camera.lens = anew->rig.camera.lens;
  mount_.found(anew->luma, camera, table_, time);
  return true;
}

void SteadyEye::tell(std::vector<practice::RigMove>& moves, std::vector<practice::Warning>& warnings) const {
  for (const camera::Move& m : mount_.moves()) {
    moves.push_back({m.from, m.to, m.pixels, m.metres, m.after.R, m.after.t, 0});
    const std::string size = fmt::format("{:.1f} px, {:.0f} mm on the bed", m.pixels, 1e3 * m.metres);
    if (m.slow)
      warnings.push_back(
          {m.from, fmt::format("the camera's mount gave way slowly until {:.0f} s: the picture moved by {}; corrected",
                               m.to, size)});
    else if (!m.settled)
      warnings.push_back(
          {m.from, fmt::format("the camera was knocked and was not still again by the end: the picture has moved by "
                               "{}; followed from frame to frame",
                               size)});
    else if (m.pixels > kTellFrom)
      warnings.push_back({m.from, fmt::format("the camera was knocked, and still again at {:.1f} s: the "
                                              "picture moved by {}; corrected",
                                              m.to, size)});
    else if (m.to - m.from > kShakeTold)
      warnings.push_back({m.from, fmt::format("the camera shook until {:.1f} s and came back to where it was", m.to)});
  }
  for (const camera::Lost& l : mount_.lost())
    warnings.push_back(
        {l.from, std::isfinite(l.to)
                     ? fmt::format("where the camera stands could not be told until {:.1f} s", l.to)
                     : std::string("from here to the end it could not be told where the camera stands")});
  if (!mount_.can_tell())
    warnings.push_back(
        {0, "too little of the table's edges is to be seen to tell a knocked camera by: only the balls can"});
}

std::optional<std::string> SteadyEye::untrusted(double from, double to) const {
  for (const camera::Lost& l : mount_.lost())
    if (l.from < to && l.to > from)
      return fmt::format("where the camera stands cannot be told {}: the table's edges are not where they were",
                         std::isfinite(l.to) ? fmt::format("from {:.1f} to {:.1f} s", l.from, l.to)
                                             : fmt::format("from {:.1f} s on", l.from));
  return std::nullopt;
}

}  // namespace baizetrace::cli
