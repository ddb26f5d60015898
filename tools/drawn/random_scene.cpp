#include "drawn/random_scene.hpp"

#include <fmt/format.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

#include "drawn/dice.hpp"

namespace baizetrace::drawn {

namespace {

const std::array<const char*, 4> kHues{"green", "blue", "red", "grey"};

void dress(Scene& s, Dice& d, std::string& what) {
  const double r = d.between(0, 1);
  const int hue = r < 0.55 ? 0 : r < 0.73 ? 1 : r < 0.88 ? 2 : 3;
  const std::array<Colour, 4> cloths{Colour(0.02, 0.17, 0.07), Colour(0.02, 0.09, 0.26), Colour(0.26, 0.02, 0.04),
                                     Colour(0.13, 0.13, 0.13)};
  Look& l = s.look;
  l.cloth = cloths[static_cast<std::size_t>(hue)].cwiseProduct(
      Colour(d.between(0.7, 1.5), d.between(0.8, 1.25), d.between(0.7, 1.5)));
  const std::array<Colour, 4> woods{Colour(0.14, 0.05, 0.025), Colour(0.05, 0.03, 0.02), Colour(0.20, 0.11, 0.05),
                                    Colour(0.03, 0.03, 0.03)};
  l.wood = woods[static_cast<std::size_t>(d.one_of(4))] * d.between(0.7, 1.3);
  const std::array<Colour, 4> floors{Colour(0.12, 0.09, 0.06), Colour(0.10, 0.10, 0.10), Colour(0.04, 0.05, 0.06),
                                     Colour(0.16, 0.04, 0.04)};
  l.floor = floors[static_cast<std::size_t>(d.one_of(4))] * d.between(0.6, 1.4);
  // A floor of the very colour of the cloth is left to other sets.
  l.floor_kind = d.one_of(3);
  l.chalk = Colour::Constant(d.between(0.35, 0.75));
  l.specks = d.one_of(50);
  l.grain = d.between(0.02, 0.10);
  l.nap = d.between(0.0, 0.08);
  l.seed = static_cast<unsigned>(d.one_of(100000));
  what += kHues[static_cast<std::size_t>(hue)];

  s.ambient = d.between(0.15, 0.6);
  const int lamps = 1 + d.one_of(4);
  const bool low = d.chance(0.5);
  const double height = low ? d.between(0.85, 1.3) : d.between(1.8, 2.6);
  for (int i = 0; i < lamps; ++i) {
    Lamp lamp;
    const double share = lamps == 1 ? 0.0 : 2.0 * i / (lamps - 1) - 1;
    lamp.at = Vec3(d.normal(low ? 0.1 : 0.5), share * d.between(0.9, 1.5), height);
    lamp.power = d.between(0.8, 1.3) * height * height / lamps;
    lamp.size = d.between(0.12, 0.45);
    lamp.colour = Colour(1, d.between(0.88, 1), d.between(0.7, 1));
    s.lamps.push_back(lamp);
  }
  if (d.chance(0.25)) {  // a window or a room light off to one side
    Lamp lamp;
    const double a = d.between(0, 2 * kPi);
    lamp.at = Vec3(3 * std::cos(a), 3 * std::sin(a), d.between(1.2, 2.2));
    lamp.power = d.between(1, 4);
    lamp.size = d.between(0.3, 0.8);
    s.lamps.push_back(lamp);
  }
}

void build_table(Scene& s, Dice& d) {
  TableShape& t = s.table;
  // The rules allow 13 mm either way on the whole; most tables are set up better.
  const bool wild = d.chance(0.25);
  const double most = 0.0065;
  t.half_width += wild ? d.between(-most, most) : std::clamp(d.normal(0.0012), -most, most);
  t.half_length += wild ? d.between(-most, most) : std::clamp(d.normal(0.0015), -most, most);
  t.nose_round = d.between(0.002, 0.006);
  t.undercut = d.between(0.012, 0.026);
  t.cloth_edge = d.between(0.044, 0.056);
  t.rail_top = d.between(0.036, 0.046);
  t.rail_width = d.between(0.09, 0.15);
  // Pockets are cut a little differently everywhere.
  t.corner_jaw_radius = d.between(0.060, 0.075);
  t.corner_jaw_start += t.corner_jaw_radius - 0.070 + d.between(-0.002, 0.002);
  t.middle_jaw_radius = d.between(0.035, 0.045);
  t.middle_jaw_start += t.middle_jaw_radius - 0.040 + d.between(-0.002, 0.002);
  const double drawn = d.chance(0.5) ? 0.002 : 0.005;
  t.line_y = -t.half_length + 0.737 + std::clamp(d.normal(0.6 * drawn), -2 * drawn, 2 * drawn);
  t.line_slope = d.normal(0.0008);
  t.line_width = d.between(0.0015, 0.0035);
  t.d_centre = Vec2(d.normal(0.5 * drawn), t.line_y);
  t.d_radius = 0.292 + d.normal(0.4 * drawn);
  const auto spot = [&](const char* name, double x, double y) {
    t.spots[name] = Vec2(x + d.normal(0.5 * drawn), y + d.normal(0.5 * drawn));
  };
  const double line = -t.half_length + 0.737;
  spot("yellow", 0.292, line);
  spot("green", -0.292, line);
  spot("brown", 0, line);
  spot("blue", 0, 0);
  spot("pink", 0, 0.5 * t.half_length);
  spot("black", 0, t.half_length - 0.324);
  t.spot_radius = d.between(0.003, 0.005);
}

const std::map<std::string, Colour>& colours() {
  static const std::map<std::string, Colour> c{
      {"white", Colour(0.80, 0.78, 0.68)},    {"yellow", Colour(0.75, 0.52, 0.04)}, {"green", Colour(0.01, 0.12, 0.06)},
      {"brown", Colour(0.16, 0.06, 0.02)},    {"blue", Colour(0.02, 0.06, 0.40)},   {"pink", Colour(0.80, 0.30, 0.36)},
      {"black", Colour(0.012, 0.012, 0.012)}, {"red", Colour(0.42, 0.02, 0.02)}};
  return c;
}

void set_balls(Scene& s, Dice& d) {
  const auto add = [&](const std::string& name, const Vec2& at) {
    for (const Ball& b : s.balls)
      if ((b.spans[0].place - at).norm() < 0.0535) return false;
    Ball b;
    b.name = name;
    b.colour = colours().at(name.substr(0, 3) == "red" ? "red" : name);
    BallSpan rest;
    rest.from = -1e9;
    rest.place = at;
    b.spans = {rest};
    s.balls.push_back(b);
    return true;
  };
  const auto anywhere = [&] {
    return Vec2(d.between(-1, 1) * (s.table.half_width - 0.06), d.between(-1, 1) * (s.table.half_length - 0.06));
  };
  const bool all_colours = d.chance(0.5);
  for (const auto& [name, at] : s.table.spots)
    if (all_colours || d.chance(0.5)) add(name, at + Vec2(d.normal(0.001), d.normal(0.001)));
  if (!d.chance(0.08))
    for (int tries = 0; tries < 30 && !add("white", anywhere()); ++tries) {
    }
  const int reds = d.chance(0.4) ? 0 : d.chance(0.5) ? 1 + d.one_of(5) : d.one_of(16);
  for (int i = 0; i < reds; ++i)
    for (int tries = 0; tries < 30 && !add(i == 0 ? "red" : "red" + std::to_string(i + 1), anywhere()); ++tries) {
    }
}

// Pixels of the outer corners of the cushions; nullopt: not all can be seen.
std::optional<std::array<Vec2, 8>> corners_in(const Optics& o, const TableShape& t, double beyond) {
  std::array<Vec2, 8> out;
  const double w = t.half_width + beyond, l = t.half_length + beyond;
  const std::array<Vec3, 8> at{Vec3(-w, -l, 0.04), Vec3(w, -l, 0.04), Vec3(w, l, 0.04), Vec3(-w, l, 0.04),
                               Vec3(0, -l, 0.04),  Vec3(w, 0, 0.04),  Vec3(0, l, 0.04), Vec3(-w, 0, 0.04)};
  for (std::size_t i = 0; i < 8; ++i) {
    const auto p = o.pixel_of(at[i]);
    if (!p) return std::nullopt;
    out[i] = *p;
  }
  return out;
}

bool place_camera(Scene& s, Dice& d, const Wishes& wishes, bool end_hidden, std::string& what) {
  for (int tries = 0; tries < 200; ++tries) {
    Optics o;
    const double size = d.between(0, 1);
    o.width = size < 0.25 ? 1280 : size < 0.85 ? 1920 : size < 0.93 ? 2560 : 3840;
    o.height = o.width * 9 / 16;
    if (wishes.most_pixels > 0 && o.width * o.height > wishes.most_pixels) continue;
    const bool portrait = d.chance(0.12);
    if (portrait) std::swap(o.width, o.height);
    const double tilt =
        radians(d.chance(0.6) ? d.between(0, std::min(18.0, wishes.steepest)) : d.between(15, wishes.steepest));
    const double azimuth = d.between(0, 2 * kPi), height = d.between(1.5, 4.0);
    // Aimed near the table's middle; an oblique view looks a little short of it.
    const Vec2 aim(d.normal(0.08), d.normal(0.12));
    const Vec2 to_side(std::sin(azimuth), std::cos(azimuth));
    o.eye =
        Vec3(aim.x() - to_side.x() * height * std::tan(tilt), aim.y() - to_side.y() * height * std::tan(tilt), height);
    const Vec3 ahead = (Vec3(aim.x(), aim.y(), 0) - o.eye).normalized();
    // The table's long side runs along the picture's long side, as near as the view lets it; then a little askew.
    const Vec3 long_way(0, d.chance(0.5) ? 1 : -1, 0);
    Vec3 along = (long_way - ahead * ahead.dot(long_way)).normalized();
    const Vec3 other = ahead.cross(along);
    Vec3 right = portrait ? Vec3(-other) : along;
    if (tilt > radians(25)) {
      // A tall stand keeps its own horizon.
      const Vec3 level = ahead.cross(Vec3(0, 0, 1)).normalized();
      right = portrait && std::abs(level.y()) > 0.7 ? Vec3(ahead.cross(level)) : level;
    }
    const double askew = d.normal(radians(4));
    right = Eigen::AngleAxisd(askew, ahead) * right;
    o.turn.row(0) = right;
    o.turn.row(1) = ahead.cross(right);
    o.turn.row(2) = ahead;
    const double share = d.chance(0.55) ? d.between(0.7, 1.0) : d.between(-0.12, 0.25);
    const double margin = end_hidden ? 0.0 : d.between(0.015, 0.08);
    // The longest focal length at which the table still fits.
    double low = 0.30, high = 1.25;
    const double longer = std::max(o.width, o.height);
    o.cx = 0.5 * (o.width - 1) + d.normal(0.006 * longer);
    o.cy = 0.5 * (o.height - 1) + d.normal(0.006 * longer);
    const double p1 = d.normal(0.0006), p2 = d.normal(0.0006);
    const auto fits = [&](double focal) {
      o.fx = focal * longer;
      o.fy = o.fx;
      double reach = 0.3;
      for (const double x : {-0.5, 0.5})
        for (const double y : {-0.5, 0.5}) {
          const double r = std::hypot(x * o.width, y * o.height) / o.fx;
          reach = std::max(reach, share > 0.5 ? std::min(2.4, std::tan(std::min(1.18, r))) : r);
        }
      shape_lens(o, share, reach);
      const auto c = corners_in(o, s.table, 0.07);
      if (!c) return false;
      for (const Vec2& p : *c)
        if (p.x() < margin * o.width || p.y() < margin * o.height || p.x() > (1 - margin) * o.width ||
            p.y() > (1 - margin) * o.height)
          return false;
      return true;
    };
    if (!fits(low)) continue;
    if (fits(high)) low = high;
    for (int i = 0; i < 24 && low < high; ++i) {
      const double middle = 0.5 * (low + high);
      (fits(middle) ? low : high) = middle;
    }
    if (low < 0.36) continue;  // no phone sees that wide
    fits(low);
    o.fy = o.fx * (1 + d.normal(0.0007));
    o.p1 = p1;
    o.p2 = p2;
    o.settle();
    // Balls at the far end must be seen at all: 8 px across.
    double least = 1e9;
    for (const double x : {-0.8, 0.8})
      for (const double y : {-1.7, 1.7})
        least = std::min(least, o.fx / o.turn.row(2).dot(Vec3(x, y, 0) - o.eye) * 0.0525);
    if (least < 8) continue;
    s.optics = o;
    what += fmt::format(" {}x{} {:.2f} m {:2.0f} deg f {:.2f}{}", o.width, o.height, height, degrees(tilt), low,
                        share > 0.5 ? " ultra-wide" : "");
    return true;
  }
  return false;
}

// A canopy between camera and table that hides the part of the bed from y0 to y1, x0 to x1.
Board board_over(const Optics& o, double x0, double x1, double y0, double y1, double height) {
  Board b;
  for (const Vec2& q : {Vec2(x0, y0), Vec2(x1, y0), Vec2(x1, y1), Vec2(x0, y1)}) {
    const Vec3 foot(q.x(), q.y(), 0.02);
    b.corners.push_back(foot + (o.eye - foot) * (height / o.eye.z()));
  }
  return b;
}

void hide_something(Scene& s, Dice& d, int what_kind, std::string& what) {
  const TableShape& t = s.table;
  const double w = t.half_width, l = t.half_length, height = std::min(0.9, 0.55 * s.optics.eye.z());
  const Colour dark = Colour::Constant(d.between(0.005, 0.2));
  Board b;
  if (what_kind == 1) {
    const int pocket = d.one_of(6);
    const double r = d.between(0.12, 0.25), x = (pocket % 2 != 0 ? 1 : -1) * w, y = (pocket / 2 - 1) * l;
    b = board_over(s.optics, x - r, x + r, y - r, y + r, 0.3 * height);
    what += fmt::format(", pocket {} hidden", pocket);
  } else if (what_kind == 2) {
    const double wide = d.between(0.10, 0.40), at = d.between(-0.75, 0.75) * l;
    const bool across = d.chance(0.6);
    const double middle = d.between(-0.5, 0.5) * w;
    b = across ? board_over(s.optics, -w - 0.3, w + 0.3, at - wide / 2, at + wide / 2, height)
               : board_over(s.optics, middle - wide / 2, middle + wide / 2, -l - 0.3, l + 0.3, height);
    what += across ? ", strip across hidden" : ", strip along hidden";
  } else {
    const int end = d.one_of(4);
    const double deep = d.between(0.02, 0.25);
    const double far = 0.6;
    if (end == 0) b = board_over(s.optics, -w - far, w + far, l - deep, l + far, height);
    if (end == 1) b = board_over(s.optics, -w - far, w + far, -l - far, -l + deep, height);
    if (end == 2) b = board_over(s.optics, w - deep, w + far, -l - far, l + far, height);
    if (end == 3) b = board_over(s.optics, -w - far, -w + deep, -l - far, l + far, height);
    what += std::array<const char*, 4>{", top end hidden", ", baulk end hidden", ", right side hidden",
                                       ", left side hidden"}[static_cast<std::size_t>(end)];
  }
  b.colour = dark;
  s.boards.push_back(b);
}

void people_about(Scene& s, Dice& d) {
  const int count = d.one_of(4);
  const std::array<Colour, 5> shirts{Colour(0.08, 0.12, 0.3), Colour(0.3, 0.05, 0.05), Colour(0.02, 0.02, 0.02),
                                     Colour(0.05, 0.25, 0.15), Colour(0.5, 0.5, 0.5)};
  for (int i = 0; i < count; ++i) {
    Person p;
    p.shirt = shirts[static_cast<std::size_t>(d.one_of(5))];
    p.skin = Colour(0.45, 0.28, 0.2) * d.between(0.3, 1.2);
    p.from = d.between(-1, s.duration * 0.6);
    p.to = p.from + d.between(1.5, 5);
    if (d.chance(0.5)) {
      p.kind = Person::Kind::walks;
      const double side = d.chance(0.5) ? 1 : -1;
      p.start = Vec2(side * (s.table.half_width + 0.55), -2.4);
      p.end = Vec2(side * (s.table.half_width + 0.55), 2.4);
      if (d.chance(0.5)) std::swap(p.start, p.end);
    } else {
      p.kind = Person::Kind::leans;
      const double a = d.between(0, 2 * kPi);
      p.ahead = Vec2(std::cos(a), std::sin(a));
      p.ball = Vec2(d.between(-0.6, 0.6), d.between(-1.3, 1.3));
      p.bridge = p.ball - 0.25 * p.ahead;
      p.strike = p.to + 1;
    }
    s.people.push_back(p);
  }
}

void set_recording(Scene& s, Dice& d, std::string& what) {
  Recording& r = s.recording;
  const std::array<double, 5> rates{30, 60, 25, 50, 120};
  const double c = d.between(0, 1);
  r.rate = rates[c < 0.45 ? 0U : c < 0.75 ? 1U : c < 0.85 ? 2U : c < 0.95 ? 3U : 4U];
  if (r.rate > 100 && s.optics.width * s.optics.height > 1920 * 1080) r.rate = 60;
  r.exposure = std::min(0.9 / r.rate, d.between(0.001, 0.014));
  r.readout = d.between(0.005, std::min(0.025, 0.95 / r.rate));
  r.jitter = d.chance(0.3) ? d.between(0.0002, 0.003) : 0;
  r.drop = d.chance(0.25) ? d.between(0.005, 0.04) : 0;
  r.blur = d.between(0.45, 1.0) * std::max(1.0, s.optics.width / 2400.0);
  r.sharpen = d.chance(0.35) ? d.between(0.1, 0.6) : 0;
  const bool dim = d.chance(0.2);
  r.level = dim ? d.between(45, 65) : d.between(65, 135);
  // A red or a blue cloth is dark to the eye of a camera that is set for white.
  const Colour& c3 = s.look.cloth;
  if (c3[1] < 0.6 * std::max(c3[0], c3[2])) r.level = 16 + 0.6 * (r.level - 16) + 8;
  r.noise = dim ? d.between(2, 5) : d.between(0.6, 2.5);
  if (d.chance(0.3)) {
    r.flicker = d.between(0.02, 0.25);
    r.flicker_rate = d.chance(0.7) ? 100 : 120;
  }
  if (d.chance(0.3)) {
    r.drift = d.between(0.02, 0.12);
    r.drift_time = d.between(3, 15);
  }
  r.vignette = d.between(0, 0.4);
  r.quality = 18 + d.one_of(12);
  r.codec = d.chance(0.2) ? "libx265" : "libx264";
  r.seed = static_cast<unsigned>(d.one_of(1000000));
  what += fmt::format(" {:.0f}/s level {:.0f} noise {:.1f} crf {}", r.rate, r.level, r.noise, r.quality);
}
}  // namespace

Scene random_scene(unsigned seed, const Wishes& wishes, std::string& what) {
  Dice d(seed);
  Scene s;
  what.clear();
  s.duration = 10;
  dress(s, d, what);
  build_table(s, d);
  set_balls(s, d);
  const double h = d.between(0, 1);
  const int hidden = !wishes.hidden_parts || h < 0.4 ? 0 : h < 0.65 ? 1 : h < 0.92 ? 2 : 3;
  while (!place_camera(s, d, wishes, false, what)) {
  }
  if (hidden > 0) hide_something(s, d, hidden, what);
  set_recording(s, d, what);
  people_about(s, d);
  return s;
}

}  // namespace baizetrace::drawn
