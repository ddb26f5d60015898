#include "table/table.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <filesystem>

#include "base/toml.hpp"
#include "table/lookup.hpp"

namespace baizetrace::table {

Result<Spec> read_spec(const std::string& name_or_path) {
  const auto file = calibration_file(name_or_path, "tables", ".table.toml");
  if (!file) return pass_on(file);
  auto toml = TomlTable::read(*file, "table");
  if (!toml) return pass_on(toml);
  Spec s;
  s.name = std::filesystem::path(*file).stem().stem().string();
  s.title = toml->text("title");
  s.balls = toml->text("balls");
  const auto within = [](TomlTable& t, std::string_view key, double low, double high) {
    const double v = t.number(key);
    if (!(v >= low && v <= high)) t.fault(key, fmt::format("is {}, expected {} to {} m", v, low, high));
    return v;
  };
  if (auto bed = toml->maybe_table("bed")) {
    s.half_width = within(*bed, "width", 0.5, 3.0) / 2;
    s.half_length = within(*bed, "length", 1.0, 6.0) / 2;
    s.nose_height = within(*bed, "nose_height", 0.02, 0.06);
  } else {
    toml->fault("bed", "is missing, expected a table [bed]");
  }
  if (auto jaws = toml->maybe_table("jaws")) {
    s.corner_jaw_radius = within(*jaws, "corner_radius", 0.001, 0.3);
    s.corner_jaw_start = within(*jaws, "corner_start", 0.02, 0.3);
    s.middle_jaw_radius = within(*jaws, "middle_radius", 0.001, 0.3);
    s.middle_jaw_start = within(*jaws, "middle_start", 0.02, 0.3);
  } else {
    toml->fault("jaws", "is missing, expected a table [jaws]");
  }
  if (auto falls = toml->maybe_table("falls")) {
    s.corner_fall_offset = within(*falls, "corner_offset", -0.05, 0.2);
    s.corner_fall_radius = within(*falls, "corner_radius", 0.02, 0.15);
    s.middle_fall_offset = within(*falls, "middle_offset", -0.05, 0.2);
    s.middle_fall_radius = within(*falls, "middle_radius", 0.02, 0.15);
  } else {
    toml->fault("falls", "is missing, expected a table [falls]");
  }
  if (auto marks = toml->maybe_table("marks")) {
    if (marks->has("baulk_line")) s.baulk_line = within(*marks, "baulk_line", 0.05, std::max(0.05, s.half_length));
    if (marks->has("d_radius")) s.d_radius = within(*marks, "d_radius", 0.02, std::max(0.02, s.half_width));
  }
  for (TomlTable& t : toml->tables("spots")) {
    Spec::Spot spot;
    spot.name = t.text("name");
    spot.x = t.number("x");
    spot.from = t.number("from");
    spot.of = t.text("of");
    if (spot.of != "baulk" && spot.of != "top" && spot.of != "centre" && spot.of != "between")
      t.fault("of", "expected \"baulk\", \"top\", \"centre\" or \"between\"");
    // On the bed: measured from a nose within the table's length, from the middle or between within half of it.
    const bool from_nose = spot.of == "baulk" || spot.of == "top";
    const double low = from_nose ? 0 : -s.half_length, high = from_nose ? 2 * s.half_length : s.half_length;
    if (!(std::abs(spot.x) <= s.half_width))
      t.fault("x", fmt::format("is {}, expected -{} to {} m", spot.x, s.half_width, s.half_width));
    if (!(spot.from >= low && spot.from <= high))
      t.fault("from", fmt::format("is {}, expected {} to {} m", spot.from, low, high));
    s.spots.push_back(spot);
  }
  if (auto done = toml->finish(); !done) return pass_on(done);
  return s;
}

Table::Table(Spec spec) : spec_(std::move(spec)) {
  const double w = spec_.half_width, l = spec_.half_length;
  const double cs = spec_.corner_jaw_start, cr = spec_.corner_jaw_radius;
  const double ms = spec_.middle_jaw_start, mr = spec_.middle_jaw_radius;
  assert(w > 0 && l > 0);

  const auto straight = [&](const char* cushion, Vec2 a, Vec2 b) {
    noses_.push_back({cushion, a, b, left_of((b - a).normalized())});
  };
  straight("baulk", {-w + cs, -l}, {w - cs, -l});
  straight("right", {w, -l + cs}, {w, -ms});
  straight("right", {w, ms}, {w, l - cs});
  straight("top", {w - cs, l}, {-w + cs, l});
  straight("left", {-w, l - cs}, {-w, ms});
  straight("left", {-w, -ms}, {-w, -l + cs});

  const auto pocket = [&](const std::string& name, double sx, double sy) {
    Pocket p;
    p.name = name;
    Jaw first, second;
    if (sy != 0) {  // a corner: one jaw on the side cushion, one on the end cushion
      const Vec2 corner(sx * w, sy * l);
      p.fall_centre = corner + spec_.corner_fall_offset * Vec2(sx, sy);
      p.fall_radius = spec_.corner_fall_radius;
      const Vec2 towards = Vec2(-sx, sy).normalized();  // from the side jaw's centre to the middle of its arc
      first = {name,   sx > 0 ? "right" : "left",  corner + Vec2(sx * cr, -sy * cs),
               cr,     corner + Vec2(0, -sy * cs), towards,
               kPi / 4};
      second = {name,   sy > 0 ? "top" : "baulk",   corner + Vec2(-sx * cs, sy * cr),
                cr,     corner + Vec2(-sx * cs, 0), -towards,
                kPi / 4};
    } else {
      p.fall_centre = Vec2(sx * (w + spec_.middle_fall_offset), 0);
      p.fall_radius = spec_.middle_fall_radius;
      const std::string cushion = sx > 0 ? "right" : "left";
      first = {name, cushion, Vec2(sx * (w + mr), -ms), mr, Vec2(sx * w, -ms), Vec2(-sx, 1).normalized(), kPi / 4};
      second = {name, cushion, Vec2(sx * (w + mr), ms), mr, Vec2(sx * w, ms), Vec2(-sx, -1).normalized(), kPi / 4};
    }
    const Vec2 across = (second.centre - first.centre).normalized();
    p.mouth_a = first.centre + across * first.radius;
    p.mouth_b = second.centre - across * second.radius;
    pockets_.push_back(p);
    jaws_.push_back(first);
    jaws_.push_back(second);
  };
  pocket("baulk-left", -1, -1);
  pocket("baulk-right", 1, -1);
  pocket("middle-left", -1, 0);
  pocket("middle-right", 1, 0);
  pocket("top-left", -1, 1);
  pocket("top-right", 1, 1);

  for (const Spec::Spot& s : spec_.spots) {
    double y = s.from;
    if (s.of == "baulk") y = -l + s.from;
    if (s.of == "top") y = l - s.from;
    if (s.of == "between") y = l / 2 + s.from;
    spots_[s.name] = Vec2(s.x, y);
  }
}

Table Table::resized(double half_width, double half_length) const {
  Spec spec = spec_;
  spec.half_width = half_width;
  spec.half_length = half_length;
  return Table(std::move(spec));
}

double Table::touch_distance(double r) const {
  const double up = spec_.nose_height - r;
  return std::sqrt(std::max(0.0, r * r - up * up));
}

const Pocket* Table::pocket(std::string_view name) const {
  for (const Pocket& p : pockets_)
    if (p.name == name) return &p;
  return nullptr;
}

double Table::baulk_line_y() const {
  assert(spec_.baulk_line);
  return -spec_.half_length + *spec_.baulk_line;
}

bool Table::on_bed(const Vec2& centre, double ball_radius, double slack) const {
  const double d = touch_distance(ball_radius) - slack;
  return std::abs(centre.x()) <= spec_.half_width - d && std::abs(centre.y()) <= spec_.half_length - d;
}

const Pocket* Table::between_jaws(const Vec2& centre, double ball_radius) const {
  if (on_bed(centre, ball_radius, touch_distance(ball_radius) - ball_radius)) return nullptr;
  for (const Jaw& j : jaws_) {
    const Pocket* p = pocket(j.pocket);
    if ((centre - p->fall_centre).norm() < (j.start - p->fall_centre).norm()) return p;
  }
  return nullptr;
}

bool Table::can_lie(const Vec2& centre, double ball_radius, double slack) const {
  if (on_bed(centre, ball_radius, slack)) return true;
  const double touch = touch_distance(ball_radius) - slack;
  for (const Nose& n : noses_) {
    const double along = (centre - n.a).dot((n.b - n.a).normalized());
    if (along > 0 && along < (n.b - n.a).norm() && (centre - n.a).dot(n.inward) < touch) return false;
  }
  for (const Jaw& j : jaws_)
    if ((centre - j.centre).norm() < j.radius + touch) return false;
  return between_jaws(centre, ball_radius) != nullptr;
}

std::string trade_name_of_cushion(std::string_view cushion) {
  if (cushion == "left") return "green-side cushion";
  if (cushion == "right") return "yellow-side cushion";
  if (cushion == "baulk") return "baulk cushion";
  if (cushion == "top") return "top cushion";
  return std::string(cushion);
}

std::string trade_name_of_pocket(std::string_view pocket) {
  if (pocket == "baulk-left") return "green pocket";
  if (pocket == "baulk-right") return "yellow pocket";
  if (pocket == "middle-left") return "green-side middle";
  if (pocket == "middle-right") return "yellow-side middle";
  if (pocket == "top-left") return "black pocket on the green side";
  if (pocket == "top-right") return "black pocket on the yellow side";
  return std::string(pocket);
}

}  // namespace baizetrace::table
