// Where the cloth is in a picture: the largest region of one colour, whatever the colour.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "camera/scene.hpp"

namespace baizetrace::camera {

// Where on the table a region's border is thought to lie: the cloth's outer edge, or the foot of the cushions.
enum class ClothBorder { outer_edge, bed };

// A region that may be the cloth (bed and cushions wear the same), in half-size pixels.
struct ClothRegion {
  cv::Mat mask;                 // CV_8U, 255 cloth, holes filled
  std::vector<Vec2> border;     // its outer border, full-size pixels, without what runs along the picture's edge
  std::array<Vec2, 4> corners;  // of the largest quadrangle in its hull, full-size pixels, in order round it
  double share = 0;             // of the picture
  double solidity = 0;          // area over hull's area
  ClothBorder at = ClothBorder::outer_edge;
  double luma = 0, cb_ratio = 0, cr_ratio = 0;  // its colour: luma, chroma over luma
};

// Candidates, the likeliest first. Empty: nothing in the picture is a large region of one colour.
[[nodiscard]] std::vector<ClothRegion> find_cloth(const Scene& scene);

// The same where the cloth has the colour of floor or wood: large even regions, each bounded by edges all round, which
// for a bed are its cushions' dark feet. The largest first.
[[nodiscard]] std::vector<ClothRegion> find_even_regions(const Scene& scene);

// The same in a dim picture, where noise cuts what is even to pieces and edges are too faint to stop it: smoothed, and
// with finer and finer steps.
[[nodiscard]] std::vector<ClothRegion> find_even_regions_in_the_dim(const Scene& scene);

}  // namespace baizetrace::camera
