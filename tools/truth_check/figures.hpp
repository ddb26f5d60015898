// A session beside the truth, as the figures of DESIGN.md section 9.
#pragma once

#include <string>
#include <vector>

#include "practice/session.hpp"
#include "truth_check/truth.hpp"

namespace baizetrace::truth_check {

// Errors of one clip, or of several pooled. Metres, seconds, radians; differences are measured less true.
struct Figures {
  int attempts_true = 0, attempts_found = 0, attempts_invented = 0;
  std::vector<double> rest;                                // distance, every ball before and after
  std::vector<double> white_rest;                          // distance, the white after
  std::vector<double> path;                                // distance of each row from truth at the same time, cue ball
  int frames_due = 0, frames_had = 0;                      // in which the cue ball moves and can be seen
  std::vector<double> contact_place, contact_time;         // cue ball, cushions and balls
  int contacts_within = 0, contacts_matched = 0;           // of DESIGN's bar
  std::vector<double> speed_in;                            // relative
  std::vector<double> speed_in_of_bar, heading_in_of_bar;  // error over its bar, after >= 0.2 s free run
  std::vector<double> heading_in;
  std::vector<double> nearest_pocket, gate_clearance, placing;
  std::vector<double> strike_speed, strike_heading, strike_right, strike_height;  // speed relative
  std::vector<double> rest_over_u, time_over_u, place_over_u;  // error in standard uncertainties, each axis
  std::vector<double> u_rest, u_rest_of_bar;                   // stated, each axis
  std::vector<std::string> wrong;  // in words: orders, pots, in-offs, missing and extra balls, gates, score parts
  double rest_bar_scale = 1;       // mm per pixel over 2.3, at least 1
  bool hard_view = false;

  void pool(const Figures& other);
};

[[nodiscard]] Figures compare(const practice::Session& session, const Truth& truth);

[[nodiscard]] double rms(const std::vector<double>& v);          // NaN when empty
[[nodiscard]] double quantile(std::vector<double> v, double p);  // of absolute values; NaN when empty
[[nodiscard]] double share_within(const std::vector<double>& v, double limit);

// The rows of DESIGN.md section 9: what, bar, measured, met or not.
[[nodiscard]] std::string table_of(const std::string& title, const Figures& f);

}  // namespace baizetrace::truth_check
