// Whether a rig that was made earlier still fits: yesterday's, or this evening's after the phone was taken down.
#pragma once

#include <string>

#include "camera/register.hpp"
#include "camera/rig.hpp"
#include "camera/scene.hpp"
#include "table/table.hpp"

namespace baizetrace::camera {

struct Recheck {
  enum class Answer {
    fits,         // to within what can be told
    corrected,    // the camera stands a little elsewhere; lens and table are the rig's
    found_anew,   // it stands far elsewhere, and was found by the rig's lens
    cannot_tell,  // neither noses nor table can be made out here
  };
  Answer answer = Answer::cannot_tell;
  Camera camera;                  // as it stands now; the rig's when it fits or cannot be told
  double pixels = 0, metres = 0;  // rms over the bed, from the rig's
};

// The scene is of the clip that is to be measured.
[[nodiscard]] Recheck recheck(const Scene& scene, const Rig& rig, const table::Spec& spec, const table::BallSet& balls);

}  // namespace baizetrace::camera
