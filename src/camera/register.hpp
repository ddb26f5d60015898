// Finding the table in a clip: automatic registration of lens, pose and the table's own size.
#pragma once

#include <array>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "camera/rig.hpp"
#include "camera/scene.hpp"
#include "camera/solve.hpp"
#include "table/ball_set.hpp"
#include "video/clip.hpp"

namespace baizetrace::camera {

struct RegisterOptions {
  std::optional<double> readout;  // s, when known
  // Pixels of the noses' four corners (where the straight noses' lines meet): baulk-left, baulk-right, top-right,
  // top-left. The manual way in: replaces the search, not the refinement.
  std::optional<std::array<Vec2, 4>> corners;
  // Help, when it is known: a lens solved elsewhere, the focal length (px), the lens's height above the bed (m).
  std::optional<KnownLens> lens;
  std::optional<Told> focal, height;
  // m, the table's width and length between the noses: measured with a tape, or of a rig that is found anew. The
  // picture may pull it a little where its shape is another.
  std::optional<Vec2> size;
  double look_at = 10;  // s of the clip that are looked at
  double from = 0;      // s: from there on
};

struct Registration {
  bool found = false;
  std::string why;        // one line when not found, or what limits it
  Rig rig;                // meaningful when found
  double rms_pixels = 0;  // over all hard evidence
  double rms = 0;         // m
  cv::Mat background;     // BGR, upright: the median picture it was found in (for drawing)
  cv::Mat luma;           // CV_32F, its luma: what later frames are laid over (mount.hpp)
  std::vector<std::string> warnings;
};

// Looks at a clip (seeks about in its first `look_at` seconds) and finds the table.
// Errors: what Clip::open says. Not finding a table is not an error but found == false with the reason.
[[nodiscard]] Result<Registration> register_clip(const std::string& file, const table::Spec& spec,
                                                 const table::BallSet& balls, const RegisterOptions& options = {});

// The same from a scene that was gathered already.
[[nodiscard]] Registration register_scene(const Scene& scene, const table::Spec& spec, const table::BallSet& balls,
                                          const RegisterOptions& options = {});

// The table's model (noses, jaws, pockets, line, D, spots) drawn over a picture, for the eye to check.
void draw_table(cv::Mat& bgr, const Rig& rig, const table::Spec& spec);

}  // namespace baizetrace::camera
