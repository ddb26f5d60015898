// One clip of a session: every shot in it, measured; not yet said which are attempts of what.
#pragma once

#include <string>
#include <vector>

#include "camera/rig.hpp"
#include "cli/measuring.hpp"
#include "compare/known_play.hpp"
#include "path/reconstruct.hpp"
#include "practice/session.hpp"
#include "practice/setup.hpp"

namespace baizetrace::cli {

// Everything that must be right before the first frame is looked at.
struct Ground {
  table::Spec spec;
  table::BallSet balls;
  std::vector<practice::Setup> setups;  // the one that is played, or those to choose from
  motion::Conditions conditions;
  std::optional<camera::Rig> rig;
  std::optional<compare::KnownPlay> known_play{};  // of the conditions file, where one is given
};

struct ClipShots {
  practice::ClipInfo info;
  camera::Rig rig;
  double rms_pixels = 0, rms = 0;                    // of the registration, when the table was found here
  bool complete = false, stopped = false;            // stopped: by the person who started it
  double until = 0;                                  // s, measured so far
  std::vector<practice::Attempt> shots;              // every shot struck, in time's order
  std::vector<std::vector<unsigned char>> pictures;  // JPEG, one a shot
  std::vector<camera::Camera> cameras;               // as it stood when each picture was taken
  std::vector<practice::RigMove> moves;              // what happened to the mount
  std::vector<practice::Warning> warnings;
  std::vector<practice::Refused> refused;
};

// `play`: how the table plays, as known from the clips before; what this one tells is added to it.
// Errors (one line): the clip cannot be read, the rig is for another picture, no table found.
[[nodiscard]] Result<ClipShots> measure_clip(const std::string& file, int index, const Ground& ground,
                                             const MeasureOptions& options, path::Play& play);

}  // namespace baizetrace::cli
