// What a ball's centre cannot pass: the noses and jaws, each moved in by the touch distance; and where it falls.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/path.hpp"
#include "path/leg.hpp"
#include "table/table.hpp"

namespace baizetrace::path {

// A locus that a ball's centre reaches when it touches a nose or a jaw, or falls.
struct Surface {
  ContactKind kind = ContactKind::cushion;
  std::string name;                         // the cushion's or the pocket's
  bool round = false;                       // an arc (jaw, fall); else a straight nose
  Vec2 a = Vec2::Zero(), b = Vec2::Zero();  // straight: ends of the locus
  Vec2 inward = Vec2::Zero();               // straight: unit normal into the bed
  Vec2 centre = Vec2::Zero();               // round
  double radius = 0;                        // round: of the locus
  Vec2 middle = Vec2::Zero();               // jaw: middle of the arc that can be touched
  double cos_half = -1;                     // jaw: cosine of its half angle, with slack

  // Signed distance of a centre to the locus: positive while clear of it (pocket: outside the fall circle).
  [[nodiscard]] double gap(const Vec2& p) const;
  // Unit gradient of gap.
  [[nodiscard]] Vec2 normal(const Vec2& p) const;
  // Whether the point of the locus nearest to p belongs to this nose or arc (slack: m along the locus).
  [[nodiscard]] bool reaches(const Vec2& p, double slack) const;
};

[[nodiscard]] std::vector<Surface> surfaces_of(const table::Table& table, double ball_radius);

// First time in [from, to] at which the leg's gap to the surface falls to `level` while it approaches.
[[nodiscard]] std::optional<double> first_touch(const Leg& leg, const Cloth& cloth, const Surface& s, double from,
                                                double to, double slack, double level = 0.0);

}  // namespace baizetrace::path
