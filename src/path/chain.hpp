// A ball's whole motion as legs joined at contacts, and what was seen of it: the thing that is fitted.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/path.hpp"
#include "path/leg.hpp"
#include "path/surfaces.hpp"

namespace baizetrace::path {

// What began a leg.
struct Touch {
  enum class Kind { start, surface, ball, unknown };
  Kind kind = Kind::start;
  Surface surface;   // kind surface: cushion or jaw
  std::string ball;  // kind ball: whom
  // Kind ball: the other's radius, mass and centre near the contact, for as long as it is not fitted together.
  double radius = 0, mass = 0, pulled = 0;
  Vec2 place = Vec2::Zero(), velocity = Vec2::Zero();
  double time = 0;
  // Kind ball: the same contact in the other's chain, once both are fitted together; -1: not.
  int other_chain = -1, other_leg = -1;
};

struct ChainLeg {
  Leg leg;      // leg.p of the first leg is free, of the others it follows
  Touch touch;  // what began it
};

// One sighting as the fit takes it.
struct Seen {
  double time = 0;
  Vec2 at = Vec2::Zero();
  Mat2 root = Mat2::Identity();  // root^T root = inverse covariance
  double sd = 0;                 // m, typical
  bool trusted = true;           // false: thrown out as false or out of place
};

struct Anchor {
  Vec2 at = Vec2::Zero();
  Mat2 root = Mat2::Identity();
};

struct Chain {
  std::string ball;
  double radius = 0, mass = 0;
  double pulled = 0;  // m, what shading and shadows may pull all of it by (BallTrack's stays)
  std::vector<ChainLeg> legs;
  std::vector<Seen> seen;       // in time's order
  std::optional<Anchor> start;  // where it lay before
  std::optional<Anchor> rest;   // where it lies after; absent: fell, taken away or not seen to rest
  bool start_free = true;       // false: place and time of the start are held

  [[nodiscard]] std::size_t leg_at(double time) const;  // index of the leg in force
  [[nodiscard]] Vec2 at(double time, const Cloth& c) const { return legs[leg_at(time)].leg.at(time, c); }
  [[nodiscard]] Vec2 velocity_at(double time, const Cloth& c) const {
    return legs[leg_at(time)].leg.velocity_at(time, c);
  }
  // Carries each leg's end into the next leg's place.
  void join(const Cloth& c);
};

}  // namespace baizetrace::path
