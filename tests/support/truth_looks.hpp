// Looks made from a clip's truth: what a good eye would have seen, with noise, gaps, false sightings and confusions.
// Random numbers are our own, so that every machine sees the same.
#pragma once

#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "base/sighting.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"

namespace baizetrace::support {

struct Dice {
  std::uint64_t state = 1;
  double uniform() {  // splitmix64
    std::uint64_t z = (state += 0x9e3779b97f4a7c15ULL);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
    return static_cast<double>((z ^ (z >> 31)) >> 11) * 0x1.0p-53;
  }
  double normal() {
    const double u = 1.0 - uniform(), v = uniform();
    return std::sqrt(-2 * std::log(u)) * std::cos(2 * kPi * v);
  }
};

struct LookOptions {
  double sd = 0.0005;      // m, of a sighting, each axis
  double shared = 0.0002;  // m, of the error that a place in the picture has (the same at rest, slow when moving)
  double outliers = 0.01;  // share of sightings that are off by centimetres
  double missed = 0.02;    // share of sightings that are not there
  double confused = 0.03;  // share of sightings whose colour says another kind
  double false_sightings = 0.02;  // a frame, anywhere on the bed
  double jitter = 0.0;            // s, of the frames' timestamps (sd)
  int every = 1;                  // every n-th frame only
  bool hide_strike = false;       // the cue ball is hidden from 0.2 s before the strike to 0.1 s after it
  bool bump = true;               // the mount's knock shows as a shift of everything until the rig is found again
  std::uint64_t seed = 1;
};

inline std::filesystem::path footage_folder() {
  if (const char* f = std::getenv("BAIZETRACE_FOOTAGE")) return f;
  return std::filesystem::path(BAIZETRACE_SOURCE) / ".." / "shared" / "footage";
}

inline nlohmann::json read_truth(const std::string& clip) {
  std::ifstream in(footage_folder() / (clip + ".truth.json"));
  if (!in) return nullptr;
  return nlohmann::json::parse(in);
}

// The table of the truth: its size and where its spots are drawn do not matter to paths.
inline table::Table truth_table(const nlohmann::json& truth) {
  const auto spec = table::read_spec(std::string(BAIZETRACE_SOURCE) + "/calibration/tables/full-size.table.toml");
  return table::Table(*spec).resized(truth["table"]["half_width_m"], truth["table"]["half_length_m"]);
}

inline table::BallSet truth_balls() {
  return *table::read_ball_set(std::string(BAIZETRACE_SOURCE) + "/calibration/balls/snooker.balls.toml");
}

// The share of a sighting's error that hangs on where it is in the picture.
inline Vec2 place_error(const Vec2& p, double size, std::uint64_t seed) {
  const double a = 7.0 + 0.1 * static_cast<double>(seed % 17);
  return size * std::sqrt(2.0) * Vec2(std::sin(a * 9 * p.x() + 5 * p.y() + 1), std::cos(a * 8 * p.y() - 6 * p.x() + 2));
}

inline std::vector<Look> looks_from(const nlohmann::json& truth, const table::Table& table, const table::BallSet& balls,
                                    const LookOptions& o) {
  std::vector<Look> out;
  Dice dice{o.seed * 7919 + 13};
  const double height = truth["camera"]["image_size"][1], readout = truth["camera"]["readout_s"];
  double bump = 1e18;
  if (o.bump && truth["camera"].contains("mount_bump") && !truth["camera"]["mount_bump"].is_null())
    bump = truth["camera"]["mount_bump"]["t_s"];
  int frame = -1;
  for (const auto& f : truth["frames"]) {
    ++frame;
    if (frame % o.every != 0) continue;
    Look look;
    look.frame = frame / o.every;
    const double pts = f[0].get<double>() + o.jitter * dice.normal();
    look.time = f[0];
    look.cover.half_width = table.half_width() + 0.15;
    look.cover.half_length = table.half_length() + 0.15;
    // A knocked mount rings for a second; the rig is found again after two.
    Vec2 shift = Vec2::Zero();
    if (pts > bump && pts < bump + 2.0) {
      const double t = pts - bump;
      shift = Vec2(0.018, -0.014) * (1 - std::exp(-4 * t) * std::cos(18 * t));
    }
    const auto cover_round = [&](const Vec2& p, double r) {
      for (double x = -r; x <= r; x += 0.03)
        for (double y = -r; y <= r; y += 0.03) look.cover.cover(p + Vec2(x, y));
    };
    const auto colour_of = [&](std::size_t kind) {
      if (dice.uniform() < o.confused)
        kind = static_cast<std::size_t>(dice.uniform() * static_cast<double>(balls.kinds.size()));
      std::vector<float> c;
      for (std::size_t k = 0; k < balls.kinds.size(); ++k)
        c.push_back(k == kind ? 0.0F : static_cast<float>(-std::max(0.5, 6.0 + 2.0 * dice.normal())));
      return c;
    };
    for (const auto& r : f[1]) {
      const int state = r[6];
      if (r[1].is_null() || state == 2) continue;
      const Vec2 true_place(r[1].get<double>(), r[2].get<double>());
      const double z = r[3], visible = r[4], radius = truth["table"]["ball_radius_m"];
      const bool moving = r[5].get<int>() != 0;
      if (state == 3 || (visible < 0.5 && state == 0)) cover_round(true_place, 0.10);
      bool hidden = false;
      if (o.hide_strike && r[0] == "white")
        for (const auto& a : truth["attempts"]) {
          const double d = pts - a["t_strike_s"].get<double>();
          hidden = hidden || (d > -0.2 && d < 0.1);
        }
      if (hidden) {
        cover_round(true_place, 0.06);
        continue;
      }
      const bool in_hand = state == 3;
      if (!in_hand && visible < 0.5) continue;
      if (in_hand && dice.uniform() < 0.6) continue;  // mostly covered by the fingers
      if (dice.uniform() < o.missed) continue;
      Sighting s;
      s.frame = look.frame;
      s.row = (std::clamp(r[8].get<double>(), 0.0, height) + 0.5) / height;
      s.time = look.time + readout * s.row;
      s.visible = in_hand ? 0.6 : visible;
      // Higher or lower than on the bed, it looks shifted away from the camera's foot or towards it.
      const double camera_height = 3.3;
      Vec2 at = true_place * (1 + (z - radius) / camera_height);
      const double sd = o.sd * (visible < 0.95 ? 2.5 : moving ? 1.3 : 1.0);
      at += place_error(true_place, o.shared, o.seed) + sd * Vec2(dice.normal(), dice.normal()) + shift;
      if (dice.uniform() < o.outliers) at += Vec2(0.02 * dice.normal(), 0.02 * dice.normal());
      s.at = at;
      s.covariance = (sd * sd + o.shared * o.shared) * Mat2::Identity();
      s.streak = moving;
      const std::string name = r[0];
      const auto kind = balls.kind_of(name.starts_with("red") ? "red-1" : name);
      s.colour = colour_of(kind.value_or(0));
      look.sightings.push_back(s);
    }
    if (dice.uniform() < o.false_sightings) {
      Sighting s;
      s.at = Vec2((2 * dice.uniform() - 1) * table.half_width(), (2 * dice.uniform() - 1) * table.half_length());
      s.row = dice.uniform();
      s.time = look.time + readout * s.row;
      s.frame = look.frame;
      s.covariance = 1e-6 * Mat2::Identity();
      s.colour = colour_of(static_cast<std::size_t>(dice.uniform() * 7.99));
      look.sightings.push_back(s);
    }
    out.push_back(std::move(look));
  }
  return out;
}

}  // namespace baizetrace::support
