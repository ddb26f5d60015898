// A Rig made from a clip's truth file, and where the footage is. Header only.
//
// K, R, t in a truth file are those of the stored picture; a Rig's are those of the upright one.
#pragma once

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "camera/rig.hpp"

namespace baizetrace::test_support {

// $BAIZETRACE_FOOTAGE, else ../shared/footage beside the source tree; nullopt when there is none.
inline std::optional<std::filesystem::path> footage_folder() {
  const char* set = std::getenv("BAIZETRACE_FOOTAGE");
  const std::filesystem::path folder =
      set && *set ? std::filesystem::path(set) : std::filesystem::path(BAIZETRACE_SOURCE) / ".." / "shared" / "footage";
  std::error_code code;
  if (!std::filesystem::is_directory(folder, code)) return std::nullopt;
  return folder;
}

// The parsed truth file; a null value when it cannot be read.
inline nlohmann::json read_truth(const std::filesystem::path& file) {
  std::ifstream in(file);
  return nlohmann::json::parse(in, nullptr, /*allow_exceptions=*/false);
}

// Pixel of the upright picture for one of the stored picture (size of the stored one).
inline Vec2 upright_pixel(video::Turn turn, double stored_width, double stored_height, const Vec2& p) {
  switch (turn) {
    case video::Turn::none:
      return p;
    case video::Turn::clockwise_90:
      return {stored_height - 1 - p.y(), p.x()};
    case video::Turn::half:
      return {stored_width - 1 - p.x(), stored_height - 1 - p.y()};
    case video::Turn::counter_clockwise_90:
      return {p.y(), stored_width - 1 - p.x()};
  }
  return p;
}

// The camera of the upright picture.
inline camera::Camera turned(const camera::Camera& stored, video::Turn turn) {
  camera::Camera c = stored;
  const camera::Lens& s = stored.lens;
  const double p1 = s.distortion[2], p2 = s.distortion[3];
  Mat3 by = Mat3::Identity();
  switch (turn) {
    case video::Turn::none:
      return c;
    case video::Turn::clockwise_90:
      by << 0, -1, 0, 1, 0, 0, 0, 0, 1;
      c.lens = {s.fy, s.fx, stored.height - 1 - s.cy, s.cx, s.distortion};
      c.lens.distortion[2] = p2;
      c.lens.distortion[3] = -p1;
      break;
    case video::Turn::half:
      by << -1, 0, 0, 0, -1, 0, 0, 0, 1;
      c.lens = {s.fx, s.fy, stored.width - 1 - s.cx, stored.height - 1 - s.cy, s.distortion};
      c.lens.distortion[2] = -p1;
      c.lens.distortion[3] = -p2;
      break;
    case video::Turn::counter_clockwise_90:
      by << 0, 1, 0, -1, 0, 0, 0, 0, 1;
      c.lens = {s.fy, s.fx, s.cy, stored.width - 1 - s.cx, s.distortion};
      c.lens.distortion[2] = -p2;
      c.lens.distortion[3] = p1;
      break;
  }
  if (turn != video::Turn::half) std::swap(c.width, c.height);
  c.pose.R = by * stored.pose.R;
  c.pose.t = by * stored.pose.t;
  return c;
}

// How the stored picture is turned for display.
inline video::Turn turn_of(const nlohmann::json& truth) {
  const int degrees = truth.at("camera").value("display_rotation_deg", 0);
  if (degrees == 90) return video::Turn::clockwise_90;
  if (degrees == 180) return video::Turn::half;
  if (degrees == 270) return video::Turn::counter_clockwise_90;
  return video::Turn::none;
}

// True lens, pose, readout, table size and spots. `after_bump`: the pose after the mount was knocked (P7).
inline camera::Rig truth_rig(const nlohmann::json& truth, bool after_bump = false) {
  const nlohmann::json& c = truth.at("camera");
  camera::Camera stored;
  stored.width = c.at("image_size")[0];
  stored.height = c.at("image_size")[1];
  stored.lens = {c.at("K")[0][0], c.at("K")[1][1], c.at("K")[0][2], c.at("K")[1][2],
                 c.at("dist_k1k2p1p2k3").get<std::array<double, 5>>()};
  const nlohmann::json& R = after_bump ? c.at("mount_bump").at("R_after") : c.at("R_world_to_camera");
  const nlohmann::json& t = after_bump ? c.at("mount_bump").at("t_after") : c.at("t");
  for (int i = 0; i < 3; ++i) {
    for (int j = 0; j < 3; ++j) stored.pose.R(i, j) = R[static_cast<std::size_t>(i)][static_cast<std::size_t>(j)];
    stored.pose.t[i] = t[static_cast<std::size_t>(i)];
  }
  camera::Rig rig;
  rig.turn = turn_of(truth);
  rig.camera = turned(stored, rig.turn);
  rig.readout = c.at("readout_s");
  rig.u_readout = 0;
  rig.readout_known = true;
  const nlohmann::json& table = truth.at("table");
  rig.half_width = table.at("half_width_m");
  rig.half_length = table.at("half_length_m");
  if (table.contains("drawn_marks")) {
    for (const auto& [name, at] : table.at("drawn_marks").at("spots_m").items()) rig.spots[name] = Vec2(at[0], at[1]);
  } else {
    const double line = table.at("baulk_line_y_m"), d = table.at("d_radius_m");
    rig.spots = {{"yellow", {d, line}},
                 {"green", {-d, line}},
                 {"brown", {0, line}},
                 {"blue", {0, 0}},
                 {"pink", {0, table.at("pink_spot_y_m").get<double>()}},
                 {"black", {0, table.at("black_spot_y_m").get<double>()}}};
  }
  return rig;
}

}  // namespace baizetrace::test_support
