// The table: bed, cushion noses, jaws, pockets, spots.
//
// Frame: right-handed, origin at the centre of the bed's surface; seen from the baulk end +x to the right, +y towards
// the top cushion, +z up. The bed lies between the noses: |x| <= half_width, |y| <= half_length.
// Files: calibration/tables/*.table.toml
#pragma once

#include <array>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "base/units.hpp"

namespace baizetrace::table {

// A straight nose, from jaw to jaw, the bed on its left when walked from a to b.
struct Nose {
  std::string cushion;  // baulk, top, left, right
  Vec2 a, b;            // m, at nose height, in plan
  Vec2 inward;          // unit normal, into the bed
};

// The curved nose beyond the straight part: an arc that curves away from the bed, tangent to its nose at `start`.
struct Jaw {
  std::string pocket;
  std::string cushion;  // the nose it continues
  Vec2 centre;          // m; the cushion's rubber lies inside the circle
  double radius;        // m
  Vec2 start;           // where the straight nose ends
  Vec2 middle_of_arc;   // unit vector from centre through the middle of the arc that a ball can touch
  double half_angle;    // radians: the arc spans +- this about middle_of_arc
};

struct Pocket {
  std::string name;  // baulk-left ... top-right
  Vec2 fall_centre;  // a ball falls when its centre enters this circle
  double fall_radius;
  Vec2 mouth_a, mouth_b;  // nearest points of the two jaws
  [[nodiscard]] double mouth() const { return (mouth_b - mouth_a).norm(); }
  [[nodiscard]] Vec2 mouth_middle() const { return 0.5 * (mouth_a + mouth_b); }
  // Distance of a ball's centre to the fall line, m; 0 and below: it falls.
  [[nodiscard]] double to_fall(const Vec2& centre) const { return (centre - fall_centre).norm() - fall_radius; }
};

// What a table file says. Lengths in metres.
struct Spec {
  std::string name, title, balls;
  double half_width = 0, half_length = 0;
  double nose_height = 0;
  double corner_jaw_radius = 0, corner_jaw_start = 0;     // start: short of the noses' corner
  double middle_jaw_radius = 0, middle_jaw_start = 0;     // start: off the centre line
  double corner_fall_offset = 0, corner_fall_radius = 0;  // offset: beyond both noses' lines
  double middle_fall_offset = 0, middle_fall_radius = 0;  // offset: beyond the nose's line
  std::optional<double> baulk_line;                       // from the baulk nose
  std::optional<double> d_radius;
  struct Spot {
    std::string name;
    double x = 0;     // m
    double from = 0;  // m, distance from the cushion named by `of`
    std::string of;   // "baulk", "top" or "centre" (then `from` is y); "between": half way between centre and top
  };
  std::vector<Spot> spots;
};

[[nodiscard]] Result<Spec> read_spec(const std::string& name_or_path);

// The table made from its spec and its measured size.
class Table {
 public:
  explicit Table(Spec spec);
  // The same table, measured: its own half sizes; jaws, pockets and rule-given spots follow the noses.
  [[nodiscard]] Table resized(double half_width, double half_length) const;

  [[nodiscard]] const Spec& spec() const { return spec_; }
  [[nodiscard]] double half_width() const { return spec_.half_width; }
  [[nodiscard]] double half_length() const { return spec_.half_length; }
  [[nodiscard]] double nose_height() const { return spec_.nose_height; }
  // Plan distance of a ball's centre from the nose line while it touches it: sqrt(R^2 - (h - R)^2).
  [[nodiscard]] double touch_distance(double ball_radius) const;

  [[nodiscard]] const std::vector<Nose>& noses() const { return noses_; }
  [[nodiscard]] const std::vector<Jaw>& jaws() const { return jaws_; }
  [[nodiscard]] const std::vector<Pocket>& pockets() const { return pockets_; }
  [[nodiscard]] const Pocket* pocket(std::string_view name) const;  // nullptr: no such pocket
  [[nodiscard]] double baulk_line_y() const;                        // requires spec().baulk_line

  // Where a spot is on this table: by the rules, or where the rig says it is drawn.
  [[nodiscard]] const std::map<std::string, Vec2>& spots() const { return spots_; }
  void set_spot(const std::string& name, const Vec2& at) { spots_[name] = at; }

  // True when a ball's centre can be there: on the bed, clear of the noses by touch_distance less `slack`.
  [[nodiscard]] bool on_bed(const Vec2& centre, double ball_radius, double slack = 0.0) const;
  // The pocket between whose jaws a centre is, past where the straight noses end and over their line; nullptr: none.
  [[nodiscard]] const Pocket* between_jaws(const Vec2& centre, double ball_radius) const;
  // On the bed, or between a pocket's jaws: a ball may come to rest there, nearer to the line of the noses than one
  // that touches a nose, and not fall.
  [[nodiscard]] bool can_lie(const Vec2& centre, double ball_radius, double slack = 0.0) const;

 private:
  Spec spec_;
  std::vector<Nose> noses_;
  std::vector<Jaw> jaws_;
  std::vector<Pocket> pockets_;
  std::map<std::string, Vec2> spots_;
};

// Trade's words for a cushion or a pocket on screens ("yellow pocket", "green-side cushion").
[[nodiscard]] std::string trade_name_of_cushion(std::string_view cushion);
[[nodiscard]] std::string trade_name_of_pocket(std::string_view pocket);

}  // namespace baizetrace::table
