#include "drawn/truth.hpp"

#include <fmt/format.h>

#include <cmath>

namespace baizetrace::drawn {

namespace {
using Json = nlohmann::json;

double cut(double x, double grain = 1e-6) { return std::round(x / grain) * grain; }
Json pair(const Vec2& p) { return {cut(p.x()), cut(p.y())}; }
Json matrix(const Mat3& m) {
  Json out = Json::array();
  for (int r = 0; r < 3; ++r) out.push_back({cut(m(r, 0), 1e-9), cut(m(r, 1), 1e-9), cut(m(r, 2), 1e-9)});
  return out;
}
Json triple(const Vec3& v) { return {cut(v.x(), 1e-9), cut(v.y(), 1e-9), cut(v.z(), 1e-9)}; }

const std::array<const char*, 6> kPockets{"baulk-left",   "baulk-right", "middle-left",
                                          "middle-right", "top-left",    "top-right"};

Json table_json(const TableShape& t) {
  Json out{{"present", true},
           {"half_width_m", t.half_width},
           {"half_length_m", t.half_length},
           {"ball_radius_m", 0.02625},
           {"nose_height_m", t.nose_height},
           {"centre_to_nose_at_contact_m", std::sqrt(0.02625 * 0.02625 - std::pow(t.nose_height - 0.02625, 2))},
           {"baulk_line_y_m", -t.half_length + 0.737},
           {"d_radius_m", 0.292},
           {"pink_spot_y_m", 0.5 * t.half_length},
           {"black_spot_y_m", t.half_length - 0.324},
           {"corner_arc_radius_m", t.corner_jaw_radius},
           {"corner_tangent_m", t.corner_jaw_start},
           {"middle_arc_radius_m", t.middle_jaw_radius},
           {"middle_tangent_m", t.middle_jaw_start}};
  for (const char* name : kPockets) {
    const std::string n = name;
    const bool middle = n.substr(0, 6) == "middle";
    const double side = n.find("left") != std::string::npos ? -1 : 1, end = n.substr(0, 5) == "baulk" ? -1 : 1;
    const double x = side * (t.half_width + (middle ? t.middle_fall_offset : t.corner_fall_offset));
    const double y = middle ? 0 : end * (t.half_length + t.corner_fall_offset);
    out["pockets"].push_back(
        {{"name", n}, {"fall_circle", {x, y, middle ? t.middle_fall_radius : t.corner_fall_radius}}});
  }
  Json spots;
  for (const auto& [name, at] : t.spots) spots[name] = pair(at);
  out["drawn_marks"] = {
      {"baulk_line_y_m", t.line_y}, {"d_centre_m", pair(t.d_centre)}, {"d_radius_m", t.d_radius}, {"spots_m", spots}};
  return out;
}

double to_fall(const TableShape& t, const std::string& pocket, const Vec2& at) {
  const bool middle = pocket.substr(0, 6) == "middle";
  const double side = pocket.find("left") != std::string::npos ? -1 : 1, end = pocket.substr(0, 5) == "baulk" ? -1 : 1;
  const Vec2 centre(side * (t.half_width + (middle ? t.middle_fall_offset : t.corner_fall_offset)),
                    middle ? 0 : end * (t.half_length + t.corner_fall_offset));
  return (at - centre).norm() - (middle ? t.middle_fall_radius : t.corner_fall_radius);
}

Json velocity(double speed, double heading) {
  const Vec2 v = speed * along_heading(heading);
  return {cut(v.x()), cut(v.y()), 0.0};
}

Json attempt_json(const Story& story, const TrueAttempt& a) {
  Json start = Json::array(), final = Json::array(), potted = Json::array(), cushions = Json::array();
  std::vector<Json> events;
  for (const auto& [name, at] : a.start) start.push_back({name, cut(at.x()), cut(at.y())});
  bool made = false, in_off = false;
  std::string first;
  Json rest = nullptr, closest = Json::object();
  double first_time = 1e9;
  for (const BallPath& path : a.went.balls) {
    for (const Contact& c : path.contacts) {
      events.push_back({{"t_s", cut(a.strike_time + c.time)},
                        {"kind", word_of(c.kind)},
                        {"ball", path.ball},
                        {"other", c.with},
                        {"xy", pair(c.at)},
                        {"v0", velocity(c.speed_in, c.heading_in)},
                        {"v1", velocity(c.speed_out, c.heading_out)}});
      if (path.ball == "white" && c.kind == ContactKind::cushion) cushions.push_back(c.with);
      if (path.ball == "white" && c.kind == ContactKind::ball && c.time < first_time) {
        first_time = c.time;
        first = c.with;
      }
    }
    const Vec2 end = path.rest             ? path.rest->at
                     : path.pieces.empty() ? a.start.at(path.ball)
                                           : path.pieces.back().at(path.pieces.back().to);
    if (path.pocket) {
      final.push_back({path.ball, nullptr, nullptr});
      if (path.ball == "white") {
        in_off = true;
      } else {
        potted.push_back({path.ball, *path.pocket});
      }
      made = made || (path.ball == story.object_ball && *path.pocket == story.pocket);
    } else {
      final.push_back({path.ball, cut(end.x()), cut(end.y())});
      if (!path.pieces.empty())
        events.push_back({{"t_s", cut(a.strike_time + path.pieces.back().to)},
                          {"kind", "rest"},
                          {"ball", path.ball},
                          {"other", ""},
                          {"xy", pair(end)},
                          {"v0", {0, 0, 0}},
                          {"v1", {0, 0, 0}}});
    }
    if (path.ball != "white") continue;
    if (!path.pocket) rest = pair(end);
    for (const char* pocket : kPockets) {
      double least = to_fall(story.scene.table, pocket, a.start.at("white")), when = 0;
      for (const Piece& p : path.pieces)
        for (double t = p.from; t <= p.to && t < 60; t += 0.0005) {
          const double far = to_fall(story.scene.table, pocket, p.at(t));
          if (far < least) least = far, when = t;
        }
      closest[pocket] = {{"centre_to_fall_line_m", cut(std::max(0.0, least))},
                         {"edge_to_fall_line_m", cut(least - 0.02625)},
                         {"t_s", cut(a.strike_time + when, 1e-4)}};
    }
  }
  std::stable_sort(events.begin(), events.end(),
                   [](const Json& x, const Json& y) { return x["t_s"].get<double>() < y["t_s"].get<double>(); });
  const Vec2 v = a.strike.speed * along_heading(a.strike.heading);
  const bool in_zone =
      !rest.is_null() && (Vec2(rest[0].get<double>(), rest[1].get<double>()) - story.zone).norm() <= story.zone_radius;
  return {{"t_player_enters_s", cut(a.enters)},
          {"t_address_s", cut(a.address)},
          {"t_strike_s", cut(a.strike_time)},
          {"t_all_rest_s", cut(a.strike_time + a.went.total_time)},
          {"start", start},
          {"strike",
           {{"t_s", cut(a.strike_time)},
            {"ball_speed_m_s", a.strike.speed},
            {"ball_direction_deg", degrees(wrap_angle(kPi / 2 - a.strike.heading))},
            {"tip_offset_right_m", a.strike.right * 0.02625},
            {"tip_offset_up_m", a.strike.height * 0.02625},
            {"elevation_deg", degrees(a.strike.elevation)},
            {"v", {v.x(), v.y(), 0.0}}}},
          {"events", events},
          {"final", final},
          {"potted", potted},
          {"outcome",
           {{"intended_pot_made", made},
            {"in_off", in_off},
            {"cue_ball_cushions", cushions},
            {"cue_ball_first_ball", first.empty() ? Json(nullptr) : Json(first)},
            {"cue_ball_rest", rest},
            {"in_landing_zone", in_zone},
            {"gates_passed", Json::array()},
            {"cue_ball_closest_to_pockets", closest}}}};
}

// Share of a ball's picture that nothing hides: people and boards by the cover, nearer balls by their own place.
double visible_share(const Picture& picture, const Scene& scene, const Ball& ball, const BallNow& now, double time) {
  const Optics& o = picture.optics;
  int inside = 0, free = 0;
  for (int j = -3; j <= 3; ++j)
    for (int i = -3; i <= 3; ++i) {
      if (i * i + j * j > 10) continue;
      const Vec3 right = o.turn.row(0), down = o.turn.row(1);
      const Vec3 at = now.at + ball.radius * 0.3 * (i * right + j * down);
      const auto p = o.pixel_of(at);
      if (!p) continue;
      const int u = static_cast<int>(std::lround(p->x())), v = static_cast<int>(std::lround(p->y()));
      if (u < 0 || v < 0 || u >= o.width || v >= o.height) continue;
      ++inside;
      bool hidden = picture.cover.at<std::uint8_t>(v, u) > 127;
      for (const Ball& other : scene.balls) {
        if (hidden) break;
        if (&other == &ball) continue;
        const BallNow there = other.now(time);
        if (there.state == 2 || (there.at - o.eye).norm() > (now.at - o.eye).norm()) continue;
        const Vec3 d = (at - o.eye).normalized(), from = o.eye - there.at;
        hidden = std::pow(from.dot(d), 2) - from.squaredNorm() + other.radius * other.radius > 0;
      }
      free += !hidden;
    }
  return inside == 0 ? 0 : static_cast<double>(free) / inside;
}
}  // namespace

void TruthWriter::add(double pts, const Picture& picture) {
  const Scene& scene = story_.scene;
  const Recording& rec = scene.recording;
  const Optics& o = picture.optics;
  Json rows = Json::array();
  for (const Ball& ball : scene.balls) {
    double time = pts + 0.5 * rec.readout;
    BallNow now = ball.now(time);
    std::optional<Vec2> seen;
    for (int round = 0; round < 5; ++round) {
      now = ball.now(time);
      seen = o.pixel_of(now.at);
      if (!seen) break;
      time = pts + rec.readout * (std::clamp(seen->y(), 0.0, static_cast<double>(o.height)) + 0.5) / o.height;
    }
    if (now.state == 2) {
      rows.push_back({ball.name, nullptr, nullptr, nullptr, 0.0, 0, 2, nullptr, nullptr});
      continue;
    }
    Json u, v;
    if (seen.has_value()) {
      u = cut(seen.value().x(), 1e-2);
      v = cut(seen.value().y(), 1e-2);
    }
    rows.push_back({ball.name, cut(now.at.x(), 1e-5), cut(now.at.y(), 1e-5), cut(now.at.z(), 1e-5),
                    cut(visible_share(picture, scene, ball, now, time), 1e-2), now.moving ? 1 : 0, now.state, u, v});
  }
  frames_.push_back({cut(pts), rows});
  if (scene.knock.time >= 0 && pts > scene.knock.time - 0.1 && pts < scene.knock.time + 1.3)
    knocked_.push_back({cut(pts), matrix(o.turn)});
}

std::string TruthWriter::truth() const {
  const Scene& s = story_.scene;
  const Optics& o = s.optics;
  const motion::Conditions& c = story_.conditions;
  Json camera{{"image_size", {o.width, o.height}},
              {"display_rotation_deg", s.recording.rotation},
              {"K", {{o.fx, 0, o.cx}, {0, o.fy, o.cy}, {0, 0, 1}}},
              {"dist_k1k2p1p2k3", {o.k1, o.k2, o.p1, o.p2, o.k3}},
              {"R_world_to_camera", matrix(o.turn)},
              {"t", triple(-o.turn * o.eye)},
              {"position_m", triple(o.eye)},
              {"readout_s", s.recording.readout},
              {"exposure_s", s.recording.exposure},
              {"variable_frame_rate", s.recording.jitter > 0 || s.recording.drop > 0},
              {"nominal_fps", s.recording.rate},
              {"lamp_flicker", s.recording.flicker}};
  if (s.knock.time >= 0) {
    Optics after = o;
    Scene settled = s;
    after = optics_at(settled, s.knock.time + 100);
    camera["mount_bump"] = {{"t_s", s.knock.time},
                            {"settled_after_s", 1.2},
                            {"angle_deg", degrees(s.knock.angle)},
                            {"axis_camera", triple(s.knock.axis.normalized())},
                            {"R_after", matrix(after.turn)},
                            {"t_after", triple(-after.turn * after.eye)}};
    camera["camera_R_per_frame_near_bump"] = knocked_;
  }
  Json attempts = Json::array(), placements = Json::array();
  for (const TrueAttempt& a : story_.attempts) attempts.push_back(attempt_json(story_, a));
  for (const Placement& p : story_.placements)
    placements.push_back(
        {{"ball", p.ball}, {"how", p.how}, {"t_from_s", cut(p.from)}, {"t_to_s", cut(p.to)}, {"to", pair(p.at)}});
  const std::string name = fmt::format("{}-{}", story_.kind, story_.seed);
  Json out{{"clip", name},
           {"kind", story_.kind},
           {"table", table_json(s.table)},
           {"camera", camera},
           {"physics",
            {{"mu_slide", c.sliding},
             {"mu_roll", c.rolling},
             {"spin_decay_rad_s2", c.spin_decay},
             {"ball_restitution", c.ball_restitution},
             {"ball_friction", c.ball_friction},
             {"cushion_restitution", c.cushion_restitution},
             {"cushion_friction", c.cushion_friction}}},
           {"intended",
            {{"setup", name},
             {"object_ball", story_.object_ball.empty() ? Json(nullptr) : Json(story_.object_ball)},
             {"pocket", story_.pocket.empty() ? Json(nullptr) : Json(story_.pocket)},
             {"cue_ball_cushions", story_.cushions},
             {"landing_zone", {story_.zone.x(), story_.zone.y(), story_.zone_radius}}}},
           {"attempts", attempts},
           {"hand_placements", placements},
           {"row_time", "t(v) = pts_s + readout_s * (v + 0.5) / image_height is the mid-exposure time of image row v"},
           {"frames", frames_}};
  return out.dump();
}

std::string TruthWriter::setup() const {
  const std::string name = fmt::format("{}-{}", story_.kind, story_.seed);
  Json balls = Json::array();
  for (const auto& [ball, at] : story_.marks) balls.push_back({{"name", ball}, {"mark", pair(at)}});
  return Json{{"clip", name}, {"setup", name}, {"balls", balls}, {"attempts", story_.attempts.size()}}.dump(1);
}

}  // namespace baizetrace::drawn
