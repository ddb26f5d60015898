// Where the nose is in a profile across a cushion.
//
// From inside the table outwards: cloth of the bed (level B), a dark band of width w that ends at the nose (the
// undercut face and the shadow under it, level D), the cushion's lit top (level C). The picture shows it blurred by
// a Gaussian of sigma: f(d) = B + (D - B) S((d - e + w) / sigma) + (C - D) S((d - e) / sigma), S the normal
// distribution's sum. Where the band is narrower than the blur, a half-way crossing is drawn outwards by up to a
// pixel; the fit is not, once sigma and the band's darkness are known from elsewhere in the same picture.
#pragma once

#include <optional>

#include "camera/profile.hpp"

namespace baizetrace::camera {

struct NoseLook {
  double sigma_px = 1.0, u_sigma_px = 0.4;  // blur
  double dark = 0.4, u_dark = 0.25;         // D over C, of light
};

struct NoseFit {
  double edge = 0;                // m beyond the model's nose
  double u_edge = 0;              // m, from the profile's noise
  double width = 0;               // m, of the band
  double sigma_px = 0, dark = 0;  // as fitted
  double rms = 0;                 // levels
  double contrast = 0;            // levels, C - D
};

// px_per_m: of the picture across the nose there. nullopt: no nose to be seen within `reach` of d = 0.
[[nodiscard]] std::optional<NoseFit> fit_nose(const Profile& profile, double reach, double px_per_m,
                                              const NoseLook& look);

}  // namespace baizetrace::camera
