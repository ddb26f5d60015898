#include "camera/recheck.hpp"

#include "camera/known_lens.hpp"
#include "camera/refine.hpp"
#include "camera/verdict.hpp"
#include "camera/watch.hpp"

namespace baizetrace::camera {

namespace {
// px: less than this is what two looks at the same noses differ by, compression and all (0.1 to 0.4 on clips with
// truth); a mount that was touched is off by more.
constexpr double kFits = 0.6;
constexpr int kRounds = 4;

Unknowns unknowns_of(const Rig& rig, const table::Spec& spec, const table::BallSet& balls) {
  Unknowns x;
  x.width = rig.camera.width;
  x.height = rig.camera.height;
  x.lens = rig.camera.lens;
  x.pose = rig.camera.pose;
  x.half_width = rig.half_width;
  x.half_length = rig.half_length;
  x.nose_height = spec.nose_height;
  x.ball_radius = balls.kinds.front().radius;
  place_drawn(x, beliefs_of(spec));
  return x;
}
}  // namespace

Recheck recheck(const Scene& scene, const Rig& rig, const table::Spec& spec, const table::BallSet& balls) {
  Recheck out;
  out.camera = rig.camera;
  const table::Table table = table_of(rig, spec);
  const auto bed = bed_places(rig.camera, &table);
  const auto answer = [&](Recheck::Answer a, const Pose& pose) {
    out.answer = a;
    const Apart off = apart(rig.camera, bed, rig.camera.pose, pose);
    out.pixels = off.pixels;
    out.metres = off.metres;
    if (a == Recheck::Answer::corrected && off.pixels < kFits) {
      out.answer = Recheck::Answer::fits;
      return out;
    }
    out.camera.pose = pose;
    return out;
  };
  const Fit fit = refine(scene, unknowns_of(rig, spec, balls), spec, beliefs_of(spec),
                         {.rounds = kRounds, .more = 0, .rulers = false, .pose_only = true});
  if (fit.summary.usable && judge(fit, spec).found) return answer(Recheck::Answer::corrected, fit.x.pose);
  RegisterOptions how;
  how.lens = known_lens(rig);
  how.size = 2 * Vec2(rig.half_width, rig.half_length);  // the pose found goes with the rig's own table
  const Registration anew = register_scene(scene, spec, balls, how);
  if (anew.found) return answer(Recheck::Answer::found_anew, anew.rig.camera.pose);
  return out;
}

}  // namespace baizetrace::camera
