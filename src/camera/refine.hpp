// From a first guess to the registration: marks are looked for where the model says, the model is fitted to the marks,
// and so on until both hold.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "camera/outline.hpp"
#include "camera/scene.hpp"
#include "camera/solve.hpp"

namespace baizetrace::camera {

struct Fit {
  Unknowns x;
  std::vector<Mark> marks;
  SolveSummary summary;
  // Share of each side (baulk, right, top, left) along which its nose, or the cloth's outer edge, was found and fits.
  std::array<double, 4> nose_share{}, rail_share{};
  std::array<double, 4> cushion_apart{};  // each side's colour from the bed's (cushion_cloth.hpp)
  double line_share = 0, d_share = 0;     // of the baulk line and the D
  int balls = 0;
  bool size_known = false;           // the table's, before the picture was looked at: by a tape, by a rig
  std::optional<double> middle_off;  // m: the middle pockets from half way along the table; nullopt: not seen
};

struct RefineOptions {
  int rounds = 5;
  int more = 5;            // rounds at most beyond those, while noses are found and until the size stands still then
  bool rulers = true;      // look for bright balls
  bool pose_only = false;  // keep lens and table as they are
  // Whose border holds sides that show nothing else to start with.
  const Guess* guess = nullptr;
};

// What a table's file says, as beliefs.
[[nodiscard]] Beliefs beliefs_of(const table::Spec& spec);

// The same without drawn marks: for a table whose ends are not told apart yet.
[[nodiscard]] Beliefs no_marks(Beliefs beliefs);

// Baulk line and D where the beliefs have them on the table as it is now.
void place_drawn(Unknowns& x, const Beliefs& beliefs);

// How clearly the baulk line and the D are seen where this end would have them; noise comes to about 7.
[[nodiscard]] double drawn_evidence(const Scene& scene, Unknowns x, const Beliefs& beliefs);

[[nodiscard]] Fit refine(const Scene& scene, Unknowns x, const table::Spec& spec, Beliefs beliefs,
                         const RefineOptions& options = {});

}  // namespace baizetrace::camera
