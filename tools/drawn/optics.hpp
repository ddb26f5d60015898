// The camera of a drawn clip, written for itself: nothing of src/camera is used, so that a fault there shows.
//
// A direction (X, Y, Z) in the camera's frame (x right, y down, z ahead) falls at a = X/Z, b = Y/Z; the lens moves that
// to
//   a (1 + k1 q + k2 q^2 + k3 q^3) + 2 p1 a b + p2 (q + 2 a^2), likewise b with p1 and p2 exchanged; q = a^2 + b^2
// and the sensor to (fx . + cx, fy . + cy), pixel centres at integers. Same convention as the truth files.
#pragma once

#include <optional>

#include "base/units.hpp"

namespace baizetrace::drawn {

struct Optics {
  int width = 0, height = 0;
  double fx = 1, fy = 1, cx = 0, cy = 0;
  double k1 = 0, k2 = 0, p1 = 0, p2 = 0, k3 = 0;
  Mat3 turn = Mat3::Identity();  // rows: the camera's right, down and ahead, in the table's frame
  Vec3 eye = Vec3::Zero();       // of the lens, table's frame, m

  void bend(double a, double b, double& x, double& y) const;
  // nullopt: behind the lens, or further off the axis than the lens serves.
  [[nodiscard]] std::optional<Vec2> pixel_of(const Vec3& point) const;
  // Direction (table's frame, not unit) seen at a pixel. `a`, `b`: start of the search and its result, to be handed on
  // from pixel to neighbouring pixel. False: nothing is seen there.
  bool direction(double u, double v, double& a, double& b, Vec3& out) const;
  // tan of the largest angle off the axis that the lens serves: short of where its curve turns back.
  [[nodiscard]] double widest() const { return widest_; }
  void settle();  // to be called once the lens is set

 private:
  double widest_ = 20;
};

// A lens between straight-lined (share 0: r = f tan) and one that draws angles evenly (share 1: r = f angle, what
// ultra-wide phone lenses come near to), as the k1 k2 k3 that come nearest to it up to `reach` (tan of the angle).
void shape_lens(Optics& optics, double share, double reach);

}  // namespace baizetrace::drawn
