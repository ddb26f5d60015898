// A found rig beside the true one, in millimetres over the bed.
#pragma once

#include <string>
#include <vector>

#include "camera/register.hpp"
#include "drawn/random_scene.hpp"

namespace baizetrace::register_check {

struct RigError {
  double rms = 0, worst = 0;   // m, a ball's place on a grid over the bed; nothing is aligned
  double silent = 0;           // m, the worst error among those beyond 3 of the rig's own u there
  double u = 0;                // m, rms of what the rig says of itself (both coordinates together)
  double u_median = 0;         // m, of one coordinate
  int inside = 0, values = 0;  // coordinates within 1.96 u, and how many
};
[[nodiscard]] RigError rig_error(const camera::Rig& truth, const camera::Rig& found, double ball_radius = 0.02625);

// The rig that a drawn scene truly is. Its numbers are copied, none of its arithmetic.
[[nodiscard]] camera::Rig rig_of(const drawn::Scene& scene);

struct Outcome {
  unsigned seed = 0;
  std::string what;  // the scene
  bool found = false;
  std::string why;  // when refused
  RigError error;   // when found
  std::vector<std::string> warnings;
  double size_width = 0, size_length = 0;  // m, found less true half sizes
  double off_width = 0, off_length = 0;    // m, true less the file's half sizes
  double mm_per_pixel = 0, seconds = 0, drawing = 0;
  bool wrong = false;  // somewhere further off than kSilentlyWrong and than the rig says of itself
};
inline constexpr double kSilentlyWrong = 0.005;  // m
inline constexpr double kUsualPixel = 2.3;       // mm: where pixels are coarser the bar of u grows with them

// Draws the scene of a seed as `file` (unless it is there already: of the same seed and wishes, by an earlier run),
// registers it without help and lays the result beside the truth. `pictures`: a
// folder for a picture of what was found, or "". Errors: the clip cannot be written or read.
[[nodiscard]] Result<Outcome> check_scene(unsigned seed, const drawn::Wishes& wishes, const std::string& file,
                                          const table::Spec& spec, const table::BallSet& balls,
                                          const std::string& pictures);

struct Tally {
  int scenes = 0, found = 0, wrong = 0, refused = 0, inside = 0, values = 0;
  double seconds = 0;
  std::vector<double> u, rms;  // a scene each, m; u of one coordinate, as it would be at kUsualPixel
};
void add(Tally& tally, const Outcome& outcome);
[[nodiscard]] std::string line_of(const Outcome& outcome);
[[nodiscard]] std::string summary_of(Tally tally);

}  // namespace baizetrace::register_check
