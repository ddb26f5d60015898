#include "truth_check/truth.hpp"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "base/files.hpp"

namespace baizetrace::truth_check {
namespace {
using Json = nlohmann::json;

constexpr double kStronglyDistorted = 0.15;      // |k1| above this: straight noses bend by tens of pixels
constexpr double kOblique = 15.0 * kPi / 180.0;  // tilt of the optical axis off the vertical

Vec2 point(const Json& j) { return {j.at(0).get<double>(), j.at(1).get<double>()}; }

std::optional<ContactKind> kind_of(const std::string& word) {
  if (word == "ball") return ContactKind::ball;
  if (word == "cushion") return ContactKind::cushion;
  if (word == "jaw") return ContactKind::jaw;
  if (word == "pocket") return ContactKind::pocket;
  return std::nullopt;
}

TruthAttempt read_attempt(const Json& j, double radius) {
  TruthAttempt a;
  a.strike_time = j.at("t_strike_s").get<double>();
  a.all_rest_time = j.at("t_all_rest_s").get<double>();
  for (const Json& s : j.at("start"))
    a.start[s.at(0).get<std::string>()] = {s.at(1).get<double>(), s.at(2).get<double>()};
  for (const Json& s : j.at("final"))
    if (!s.at(1).is_null()) a.final[s.at(0).get<std::string>()] = {s.at(1).get<double>(), s.at(2).get<double>()};
  for (const Json& e : j.at("events")) {
    const auto kind = kind_of(e.at("kind").get<std::string>());
    if (!kind) continue;
    TruthContact c;
    c.time = e.at("t_s").get<double>();
    c.kind = *kind;
    const std::string other = e.at("other").get<std::string>();
    c.with = other.substr(other.find(':') == std::string::npos ? 0 : other.find(':') + 1);
    c.at = point(e.at("xy"));
    c.velocity_in = point(e.at("v0"));
    if (e.contains("v1") && !e["v1"].is_null()) c.velocity_out = point(e["v1"]);
    a.contacts[e.at("ball").get<std::string>()].push_back(c);
  }
  for (const Json& p : j.at("potted")) a.potted.emplace_back(p.at(0).get<std::string>(), p.at(1).get<std::string>());
  const Json& o = j.at("outcome");
  a.in_off = o.at("in_off").get<bool>();
  a.pot_made = o.at("intended_pot_made").get<bool>();
  a.in_zone = o.at("in_landing_zone").get<bool>();
  for (const Json& c : o.at("cue_ball_cushions")) a.cushions.push_back(c.get<std::string>());
  for (const auto& [pocket, d] : o.at("cue_ball_closest_to_pockets").items())
    a.pocket_pass[pocket] = d.at("centre_to_fall_line_m").get<double>();
  const Json& s = j.at("strike");
  a.strike_speed = s.at("ball_speed_m_s").get<double>();
  a.strike_heading = wrap_angle(kPi / 2 - radians(s.at("ball_direction_deg").get<double>()));
  a.strike_right = s.at("tip_offset_right_m").get<double>() / radius;
  a.strike_height = s.at("tip_offset_up_m").get<double>() / radius;
  return a;
}

Truth read(const Json& j) {
  Truth t;
  t.radius = j.at("table").at("ball_radius_m").get<double>();
  const Json& camera = j.at("camera");
  const double focal = camera.at("K").at(0).at(0).get<double>();
  const Json& r = camera.at("R_world_to_camera");
  const Vec3 position(camera.at("position_m").at(0).get<double>(), camera["position_m"].at(1).get<double>(),
                      camera["position_m"].at(2).get<double>());
  t.mm_per_pixel = 1000 * position.norm() / focal;
  const double tilt = std::acos(std::min(1.0, std::abs(r.at(2).at(2).get<double>())));
  t.hard_view = tilt > kOblique || std::abs(camera.at("dist_k1k2p1p2k3").at(0).get<double>()) > kStronglyDistorted;
  t.readout = camera.at("readout_s").get<double>();
  if (j.contains("intended") && j["intended"].is_object() && j["intended"].contains("cue_ball_cushions"))
    for (const Json& c : j["intended"]["cue_ball_cushions"]) t.intended_cushions.push_back(c.get<std::string>());
  for (const Json& a : j.at("attempts")) t.attempts.push_back(read_attempt(a, t.radius));

  const double height = camera.at("image_size").at(1).get<double>();
  for (const Json& frame : j.at("frames")) {
    const double pts = frame.at(0).get<double>();
    for (const Json& row : frame.at(1)) {
      if (row.at(8).is_null()) continue;
      const double v = std::clamp(row.at(8).get<double>(), 0.0, height);
      t.samples[row.at(0).get<std::string>()].push_back({pts + t.readout * (v + 0.5) / height,
                                                         {row.at(1).get<double>(), row.at(2).get<double>()},
                                                         row.at(4).get<double>(),
                                                         row.at(6).get<int>(),
                                                         true});
    }
  }
  // Contacts and strikes are corners of the path: linear interpolation must pass through them.
  for (const TruthAttempt& a : t.attempts) {
    for (const auto& [ball, contacts] : a.contacts)
      for (const TruthContact& c : contacts) t.samples[ball].push_back({c.time, c.at, 0, 0, false});
    if (const auto it = a.start.find("white"); it != a.start.end())
      t.samples["white"].push_back({a.strike_time, it->second, 0, 0, false});
  }
  for (auto& [ball, samples] : t.samples)
    std::stable_sort(samples.begin(), samples.end(), [](const auto& x, const auto& y) { return x.time < y.time; });
  return t;
}
}  // namespace

std::optional<Vec2> Truth::at(const std::string& ball, double time) const {
  const auto it = samples.find(ball);
  if (it == samples.end()) return std::nullopt;
  const auto& s = it->second;
  const auto after = std::upper_bound(s.begin(), s.end(), time, [](double t, const auto& x) { return t < x.time; });
  if (after == s.begin() || after == s.end()) return std::nullopt;
  const TruthSample &a = *(after - 1), &b = *after;
  const double f = b.time > a.time ? (time - a.time) / (b.time - a.time) : 0.0;
  return a.at + f * (b.at - a.at);
}

double Truth::seen_within(const std::string& ball, double time, double half_window) const {
  const auto it = samples.find(ball);
  double best = -1;
  if (it == samples.end()) return 1;
  for (const TruthSample& s : it->second)
    if (s.from_frame && std::abs(s.time - time) < half_window) best = std::max(best, s.visible);
  return best < 0 ? 1 : best;
}

Result<Truth> read_truth(const std::string& file) {
  const auto text = read_text(file);
  if (!text) return pass_on(text);
  try {
    Truth t = read(Json::parse(*text));
    std::string setup = file;
    if (const auto p = setup.find(".truth.json"); p != std::string::npos) setup.replace(p, 11, ".setup.json");
    if (const auto s = read_text(setup); s && setup != file)
      for (const Json marks = Json::parse(*s); const Json& b : marks.at("balls"))
        t.marks[b.at("name").get<std::string>()] = point(b.at("mark"));
    return t;
  } catch (const std::exception& e) {
    return fail("{}: cannot be read as a truth file: {}", file, e.what());
  }
}

}  // namespace baizetrace::truth_check
