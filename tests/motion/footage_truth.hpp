// The footage's truth files, as the motion tests need them. The folder: $BAIZETRACE_FOOTAGE, else ../shared/footage
// beside the source tree.
#pragma once

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "motion/motion.hpp"
#include "table/table.hpp"

namespace baizetrace::motion {

inline std::optional<std::filesystem::path> footage_folder() {
  const char* given = std::getenv("BAIZETRACE_FOOTAGE");
  const std::filesystem::path folder =
      given ? std::filesystem::path(given) : std::filesystem::path(BAIZETRACE_SOURCE) / ".." / "shared" / "footage";
  std::error_code code;
  if (std::filesystem::exists(folder / "P1.truth.json", code)) return folder;
  return std::nullopt;
}

struct TrueEvent {
  double time = 0;  // s after the strike
  std::string kind, ball, other;
  State before, after;
  double lift = 0;  // m/s, vertical, after a ball contact
};

struct TrueAttempt {
  std::string name;  // "P3 attempt 2"
  Conditions conditions;
  table::Spec spec;
  std::vector<Ball> balls;
  Strike strike;
  State struck;
  std::vector<TrueEvent> events;
  std::vector<std::pair<std::string, Vec2>> rests;  // of balls that moved and stayed up
  std::vector<std::string> moved, potted;
};

inline Vec2 vec2(const nlohmann::json& j) { return {j[0].get<double>(), j[1].get<double>()}; }
inline Vec3 vec3(const nlohmann::json& j) { return {j[0].get<double>(), j[1].get<double>(), j[2].get<double>()}; }

inline std::vector<TrueAttempt> true_attempts(const std::filesystem::path& folder) {
  std::vector<TrueAttempt> out;
  std::vector<std::filesystem::path> files;
  for (const auto& f : std::filesystem::directory_iterator(folder))
    if (f.path().string().ends_with(".truth.json")) files.push_back(f.path());
  std::sort(files.begin(), files.end());
  for (const auto& file : files) {
    const auto j = nlohmann::json::parse(std::ifstream(file));
    const auto& ph = j["physics"];
    const auto& t = j["table"];
    int number = 0;
    for (const auto& a : j["attempts"]) {
      TrueAttempt r;
      r.name = file.filename().string().substr(0, file.filename().string().find('.')) + " attempt " +
               std::to_string(++number);
      Conditions& c = r.conditions;
      c.sliding = ph["mu_slide"];
      c.rolling = ph["mu_roll"];
      c.spin_decay = ph["spin_decay_rad_s2"];
      c.ball_restitution = ph["ball_restitution"];
      for (std::size_t k = 0; k < 3; ++k) c.ball_friction[k] = ph["ball_friction"][k];
      c.cushion_restitution = {{0.5, ph["cushion_restitution_0p5_5"][0]}, {5.0, ph["cushion_restitution_0p5_5"][1]}};
      c.cushion_friction = ph["cushion_friction"];
      c.squirt = ph["squirt_rad_per_offset"];
      table::Spec& s = r.spec;
      s.name = "footage";
      s.half_width = t["half_width_m"];
      s.half_length = t["half_length_m"];
      s.nose_height = t["nose_height_m"];
      s.corner_jaw_radius = t["corner_arc_radius_m"];
      s.corner_jaw_start = t["corner_tangent_m"];
      s.middle_jaw_radius = t["middle_arc_radius_m"];
      s.middle_jaw_start = t["middle_tangent_m"];
      for (const auto& p : t["pockets"]) {
        const auto& f = p["fall_circle"];
        if (p["name"] == "top-right") {
          s.corner_fall_offset = f[0].get<double>() - s.half_width;
          s.corner_fall_radius = f[2];
        } else if (p["name"] == "middle-right") {
          s.middle_fall_offset = f[0].get<double>() - s.half_width;
          s.middle_fall_radius = f[2];
        }
      }
      const double radius = t["ball_radius_m"];
      for (const auto& b : a["start"]) {
        Ball ball;
        ball.name = b[0];
        ball.place = Vec2(b[1].get<double>(), b[2].get<double>());
        ball.radius = radius;
        ball.mass = ph["ball_mass_kg"];
        r.balls.push_back(ball);
      }
      const auto& k = a["strike"];
      const double start = k["t_s"];
      r.struck.velocity = vec2(k["v"]);
      r.struck.spin = vec3(k["w"]);
      r.strike.speed = r.struck.velocity.norm();
      r.strike.heading = heading_of(r.struck.velocity);
      r.strike.right = k["tip_offset_right_m"].get<double>() / radius;
      r.strike.height = k["tip_offset_up_m"].get<double>() / radius;
      r.strike.elevation = radians(k["elevation_deg"].get<double>());
      for (const auto& e : a["events"]) {
        TrueEvent v;
        v.time = e["t_s"].get<double>() - start;
        v.kind = e["kind"];
        v.ball = e["ball"];
        v.other = e["other"];
        v.before = {vec2(e["xy"]), vec2(e["v0"]), vec3(e["w0"])};
        v.after = {vec2(e["xy"]), vec2(e["v1"]), vec3(e["w1"])};
        v.lift = e["v1"][2];
        if (std::find(r.moved.begin(), r.moved.end(), v.ball) == r.moved.end()) r.moved.push_back(v.ball);
        if (v.kind == "pocket") r.potted.push_back(v.ball);
        r.events.push_back(v);
      }
      for (const auto& b : a["final"]) {
        const std::string name = b[0];
        if (std::find(r.moved.begin(), r.moved.end(), name) != r.moved.end() &&
            std::find(r.potted.begin(), r.potted.end(), name) == r.potted.end())
          r.rests.emplace_back(name, Vec2(b[1].get<double>(), b[2].get<double>()));
      }
      out.push_back(r);
    }
  }
  return out;
}

}  // namespace baizetrace::motion
