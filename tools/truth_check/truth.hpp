// The exact truth beside a drawn clip, as its truth file tells it (footage README: metres, seconds, stored picture).
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "base/path.hpp"

namespace baizetrace::truth_check {

struct TruthContact {
  double time = 0;
  ContactKind kind = ContactKind::cushion;
  std::string with;
  Vec2 at = Vec2::Zero(), velocity_in = Vec2::Zero(), velocity_out = Vec2::Zero();
};

// A ball at its own row's mid-exposure.
struct TruthSample {
  double time = 0;
  Vec2 at = Vec2::Zero();
  double visible = 0;
  int state = 0;  // 0 on the table, 1 falling, 2 off, 3 in the hand
  bool from_frame = true;
};

struct TruthAttempt {
  double strike_time = 0, all_rest_time = 0;
  std::map<std::string, Vec2> start, final;
  std::map<std::string, std::vector<TruthContact>> contacts;  // by ball
  std::vector<std::pair<std::string, std::string>> potted;    // ball, pocket; the white too
  bool in_off = false;
  bool pot_made = false, in_zone = false;
  std::vector<std::string> cushions;          // the cue ball's
  std::map<std::string, double> pocket_pass;  // least distance of the cue ball's centre to each fall line
  double strike_speed = 0, strike_heading = 0, strike_right = 0, strike_height = 0;  // right, height in R
};

struct Truth {
  double radius = 0;
  double mm_per_pixel = 0;  // at the middle of the bed
  bool hard_view = false;   // strongly distorted or oblique: DESIGN's wider bar for rest
  double readout = 0;
  std::vector<std::string> intended_cushions;
  std::map<std::string, Vec2> marks;  // from the setup file beside it, when there is one
  std::vector<TruthAttempt> attempts;
  std::map<std::string, std::vector<TruthSample>> samples;  // by ball, in time's order

  // Where a ball was: linear between samples and contacts; nullopt outside them.
  [[nodiscard]] std::optional<Vec2> at(const std::string& ball, double time) const;
  [[nodiscard]] double seen_within(const std::string& ball, double time, double half_window) const;
};

// Error: no such file, not such a file.
[[nodiscard]] Result<Truth> read_truth(const std::string& truth_file);

}  // namespace baizetrace::truth_check
