// What a tracker keeps from look to look: shared by its following (tracker.cpp) and its naming (tracker_names.cpp).
#pragma once

#include <deque>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "path/episode.hpp"
#include "path/followed.hpp"
#include "path/from_under.hpp"
#include "path/trails.hpp"

namespace baizetrace::path {

inline constexpr double kBefore = 1.0;       // s of frames kept before the first motion seen
inline constexpr double kNearFall = 0.05;    // m before a fall line: what goes out of sight there fell
inline constexpr double kUnderBall = 0.026;  // m: a ball is covered when a cell under any of its sides is

struct Tracker::State {
  State(const table::Table& t, const table::BallSet& b, const TrackerOptions& o)
      : table(t), set(b), options(o), names(o.names), trails(b) {
    for (const table::BallKind& k : set.kinds) {
      const auto spot = table.spots().find(k.name);
      homes.push_back(k.count == 1 && spot != table.spots().end() ? std::optional(spot->second) : std::nullopt);
    }
  }

  const table::Table table;
  const table::BallSet set;
  const TrackerOptions options;
  Names names;
  std::vector<std::optional<Vec2>> homes;  // per kind: its spot
  std::vector<Followed> balls;
  Trails trails;
  std::vector<Candidate> candidates;
  std::vector<Candidate> lay;                            // candidates that are unseen since less than kBefore
  std::vector<std::pair<std::string, Candidate>> stock;  // the balls that were admitted while stock was taken
  bool active = false;
  double begin = 0, last_motion = 0, now = 0;
  std::optional<double> started;  // first look
  std::deque<double> frames;      // timestamps since kBefore before the episode
  std::deque<std::pair<double, CoverMap>> cover;
  LongCover hidden;
  std::deque<Sighting> strays;  // of the same time
  std::optional<Episode> ready;

  void look(const Look& l);
  void match(const Look& l);
  void take_resting(Followed& b, const Sighting& s);
  void take_moving(Followed& b, const Sighting& s);
  void miss(Followed& b, const Look& l);
  void take_up_white();
  void part_exchanged();
  void give_to_none_no_more(const std::vector<Sighting>& its);
  void start(Followed& b);
  void begin_episode(double from);
  void rest(Followed& b);
  void cluster(const Sighting& s, bool covered);
  void name_candidates(const Look& l);
  void take_stock_anew();
  void admit(const Candidate& c, std::size_t kind);
  [[nodiscard]] std::optional<Episode> close(bool cut);
  [[nodiscard]] static bool covered(const Look& l, const Vec2& p, double beside = kUnderBall);
  [[nodiscard]] bool falls_at(const Vec2& p, double slack) const;
  [[nodiscard]] bool passes_a_fall(const Vec2& from, const Vec2& to) const;
  [[nodiscard]] bool has_fallen(const Vec2& p) const;
};

}  // namespace baizetrace::path
