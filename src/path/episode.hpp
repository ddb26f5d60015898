// From sightings to tracks: who is who, who rests, who moves; the recording cut into episodes from rest to rest.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "base/path.hpp"
#include "base/sighting.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"

namespace baizetrace::path {

// A stay of one ball at one place.
struct Stay {
  Vec2 at = Vec2::Zero();
  Mat2 covariance = Mat2::Zero();  // of the mean, random share
  double pulled = 0;               // m, one standard deviation each way: what shading and shadows may pull it by
  double from = 0, to = 0;         // s, first and last sighting of the stay
  int sightings = 0;               // 0: nobody saw it there, it came out from under what hides the bed
  [[nodiscard]] bool seen() const { return sightings > 0; }
  // Of the place, all but the rig's share: m^2.
  [[nodiscard]] Mat2 place_covariance() const { return covariance + pulled * pulled * Mat2::Identity(); }
};

// One ball through one episode.
struct BallTrack {
  std::string ball;            // "white", "red-1"
  std::optional<Stay> before;  // where it lay when the episode began
  std::optional<Stay> after;   // where it lay when it ended; absent: gone
  bool moved = false;
  std::vector<Sighting> seen;  // while it moved, in time's order, and a few of the stays around it
};

// A ball on its way that is none of the episode's: a hand sent it, or a bump.
struct Passing {
  double from = 0, to = 0;          // s, first and last sighting
  std::optional<std::size_t> kind;  // which ball by its colour; absent: cannot be told
};

// From all balls at rest, through motion, to all at rest again (or to the end of the recording).
struct Episode {
  double begin = 0, end = 0;                       // s: first motion seen, last motion seen
  bool cut = false;                                // the recording ended while balls moved
  std::vector<BallTrack> balls;                    // every ball on the table at its begin or end
  std::vector<Sighting> strays;                    // sightings given to no ball while it lasted
  std::vector<Passing> passing;                    // and those of them that were a ball on its way, from before on
  std::vector<double> frame_times;                 // timestamps of the frames in it
  std::vector<std::pair<double, CoverMap>> cover;  // per frame, what was covered
};

struct TrackerOptions {
  double still_speed = 0.012;  // m/s: slower than this over `still_for` is at rest
  double still_for = 0.30;     // s
  // Names for balls of which there are many: given marks (a setup's) name the nearest; naming only, never places.
  std::vector<std::pair<std::string, Vec2>> names;
};

class Tracker {
 public:
  Tracker(const table::Table& table, const table::BallSet& balls, const TrackerOptions& options = {});
  Tracker(Tracker&&) noexcept;
  ~Tracker();
  // Takes the looks in time's order; hands out an episode when one is over.
  [[nodiscard]] std::optional<Episode> push(const Look& look);
  // The recording has ended.
  [[nodiscard]] std::optional<Episode> finish();
  // When the cue ball ran though where it had lain was out of sight: no episode follows it.
  [[nodiscard]] std::vector<Passing> unseen_white() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace baizetrace::path
