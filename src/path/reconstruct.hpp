// From tracks to paths: pieces of free motion joined at contacts, every number with its uncertainty.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "base/path.hpp"
#include "path/episode.hpp"

namespace baizetrace::path {

// How the table plays, as read off this recording. `measured` false: an assumed value.
struct Reading {
  double value = 0, u = 0;
  bool measured = false;
  int from = 0;  // how many rolls or contacts it was read off
};
struct Play {
  Reading sliding{0.20, 0.04, false, 0};
  Reading rolling{0.0095, 0.002, false, 0};
  Reading cushion{0.83, 0.06, false, 0};  // rebound: normal speed just after over just before
};

struct ReconstructOptions {
  double u_readout = 0;                             // s: enters every u_time
  double readout = 0;                               // s
  std::function<Mat2(const Vec2&)> rig_covariance;  // the rig's share at a place; empty: none
  std::function<Mat2(const Vec2&)> rig_off_noses;   // its share in how far a place is from the noses; empty: none
  Mat2 size_covariance = Mat2::Zero();              // of the table's half width and half length, m^2
  Play play;                                        // prior of the fits
};

// A hand moves it so, and so it looks when it is hidden while it runs: which of the two is not told.
inline constexpr const char* kNoFreeRun =
    "the white moved, but was not seen to run freely: by hand, or hidden as it ran";

struct EpisodePaths {
  std::vector<BallPath> balls;  // every ball that moved
  double strike_time = 0;       // s, the cue ball's start, run back to its resting place
  bool struck = false;          // the cue ball moved first and freely, as a cue strikes it
  std::string why_not;          // when not struck: what it was (kNoFreeRun, "nudged", ...)
  // Balls that were on their way already when the cue ball was struck and did not meet it then, by name; by the name of
  // their kind where there are several; "": a ball whose colour does not tell.
  std::vector<std::string> under_way;
  bool ended_by_hand = false;  // taken away before it rested
  // Speeds and slips read off it, for Play.
  std::vector<Reading> rolls, slides, rebounds;
};

[[nodiscard]] EpisodePaths reconstruct(const Episode& episode, const table::Table& table, const table::BallSet& balls,
                                       const ReconstructOptions& options);

// Pools what several episodes told about the table.
[[nodiscard]] Play read_play(const std::vector<EpisodePaths>& episodes, const Play& prior);

}  // namespace baizetrace::path
