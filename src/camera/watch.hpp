// Whether the camera still stands where a picture was taken from, and where it stands if not.
//
// Small patches of what does not move (noses, the cloth's outer edge, pockets, baulk line and D) are laid over a new
// picture; each tells how far it lies off, and all together tell one pose, the lens kept: registration of a picture to
// a picture by the gradients of the first (inverse compositional alignment: S. Baker, I. Matthews, "Lucas-Kanade 20
// years on", 2004), with patches as measurements and a robust fit of six degrees of freedom over them. Each patch
// carries its own brightness and contrast, so that light may change; patches that something covers fall out.
//
// Everything watched lies within a hand's width of the bed, as the balls do: what the six cannot tell apart there
// (turning against shifting) does not matter for them either.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "camera/camera.hpp"
#include "table/table.hpp"

namespace baizetrace::camera {

// How far two poses lie apart: rms over the bed, px and m.
struct Apart {
  double pixels = 0, metres = 0;
};
// Places of the bed that this is told by; without a table (nullptr), of the picture.
[[nodiscard]] std::vector<Vec3> bed_places(const Camera& camera, const table::Table* table);
[[nodiscard]] Apart apart(const Camera& camera, const std::vector<Vec3>& bed, const Pose& a, const Pose& b);

// What one picture tells.
struct Glance {
  bool tells = false;       // enough of what was watched is recognised
  Pose pose;                // of the camera; as it was thought to be when !tells
  double share = 0;         // of the patches in the picture that were recognised, 0..1
  double shift_pixels = 0;  // rms over the bed, from the pose it was thought to have
  double shift = 0;         // the same on the bed, m
  double u_pixels = 0;      // of that, 1 sigma
};

class Watch {
 public:
  // reference: luma (CV_32F) of a picture in which the camera stood as `camera` says; averaged over frames if it can
  // be had. Nothing but the table is watched; without a table (nullptr) whatever has edges, for pictures of which no
  // camera is known yet.
  Watch(const cv::Mat& reference, const Camera& camera, const table::Table* table);

  // The camera stands near `near`: to within two pixels. Some 0.3 ms. luma: CV_8U.
  [[nodiscard]] Glance glance(const cv::Mat& luma, const Pose& near) const;
  // It may stand anywhere from which most of what was watched is still seen, a few degrees off. Some 15 ms.
  [[nodiscard]] Glance search(const cv::Mat& luma, const Pose& near) const;

  [[nodiscard]] const Camera& camera() const { return camera_; }
  // How far each of some places of the bed lies in the picture of b from where it lies in that of a, px.
  [[nodiscard]] std::vector<Vec2> shifts(const Pose& a, const Pose& b) const;
  using Apart = camera::Apart;
  [[nodiscard]] Apart apart(const Pose& a, const Pose& b) const { return camera::apart(camera_, bed_, a, b); }
  [[nodiscard]] std::size_t patches() const { return levels_.empty() ? 0 : levels_[0].patches.size(); }

 private:
  struct Patch {
    Vec3 in_table;
    std::vector<float> value, dx, dy;  // zero mean; slopes with what brightness and contrast could do taken out
    Mat2 structure;                    // of those slopes
    double energy = 0;                 // sum of squares of `value`
  };
  struct Level {
    double scale = 1;  // of the picture: 1, 1/2, ..
    cv::Mat picture;   // CV_32F
    std::vector<Patch> patches;
  };
  struct Reading;

  void choose(Level& level, const table::Table* table, int cell, int most) const;
  [[nodiscard]] Glance align(const Level& level, const cv::Mat& luma, Pose pose, int rounds, bool turn_only) const;

  [[nodiscard]] Vec3 whole_turn(const cv::Mat& small) const;

  static constexpr std::size_t kWholeLevel = 2;
  Camera camera_;
  std::vector<Level> levels_;
  cv::Mat whole_;          // CV_32F, a quarter of the picture's size
  std::vector<Vec3> bed_;  // places at which shifts are told
};

// Where the camera is after x_cam <- exp(w) x_cam + v.
[[nodiscard]] Pose stepped(const Pose& pose, const Vec3& w, const Vec3& v);

}  // namespace baizetrace::camera
