// The journal: sessions remembered over time, in one SQLite file (write-ahead log, foreign keys, full sync).
//
// Laws:
//  1. What add() returned from stays, whatever happens to the process after it; what it did not return from is wholly
//     there or not at all.
//  2. A session is known by its recordings (file names, frames, durations): adding it again replaces what was measured
//     and keeps the players that were assigned.
//  3. An older file is brought up to date when it is opened; a newer one, or one that is no journal, is refused.
#pragma once

#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "practice/session.hpp"
#include "practice/setup.hpp"
#include "practice/statistics.hpp"

namespace baizetrace::journal {

struct SessionRow {
  int id = 0;
  std::string recorded;  // "2026-03-14", UTC date of the first recording's file; "": not known
  std::string clip;
  int attempts = 0, pots = 0, pots_of = 0, hits = 0, judged = 0;
  std::string setups, players;  // joined by ", "
};

struct AttemptRow {
  int session = 0, number = 0;
  std::string recorded, setup, player;  // "" where not known
  double strike_time = 0;
  std::string ended;
  std::optional<bool> pot, hit, in_off;
  std::optional<double> points, of, from_mark, along, across, pace, direction, white_placed_off;  // m, m/s, rad
  std::optional<Vec2> rest;
  // Where the tip struck and its standard uncertainty, ball radii; absent: not known well enough to be a number.
  std::optional<double> tip_right, u_tip_right, tip_height, u_tip_height;
};

// Which attempts: all when empty. A setup by its title, exactly.
struct Filter {
  std::string setup, player;
  std::optional<int> session;
};

// One evening (one session) of a trend. Led by the spread; see practice/statistics.hpp for the interval.
struct TrendRow {
  int session = 0;
  std::string recorded;
  int attempts = 0;
  std::optional<double> median_from_mark;  // m
  int pots = 0, pots_of = 0, hits = 0, judged = 0;
  practice::Interval pot_interval;
  std::optional<double> along_mean, along_sd, across_mean, across_sd, pace_sd;
  std::optional<double> tiring;  // m per attempt: slope of the distance from the mark over the evening
};
struct Trend {
  std::vector<TrendRow> evenings;            // oldest first
  bool one_shot = true;                      // all of one setup: only then the rest is told
  std::optional<double> spread_per_evening;  // m, median slope; absent below kFewestEvenings
  double spread_by_chance = 1;               // see practice::by_chance
  // Mean slope within an evening with its 95 % interval; only over kFewestEvenings evenings of one setup.
  std::optional<practice::MeanSd> tiring;
  std::optional<practice::Interval> tiring_interval;
  // First half of the evenings against the second: pots; only when each side has kFewestForPercent attempts.
  std::optional<std::pair<practice::Interval, practice::Interval>> halves;
};
inline constexpr int kFewestEvenings = 4;
inline constexpr int kFewestForPercent = 100;  // the trade's sheet: fewer cannot show a change in percentage
inline constexpr int kFewestForTiring = 10;    // attempts an evening

class Journal {
 public:
  // Opens, makes or brings up to date. Errors: the folder is missing, no journal, made by a newer version, locked.
  [[nodiscard]] static Result<Journal> open(const std::string& file);
  Journal(Journal&&) noexcept;
  Journal& operator=(Journal&&) noexcept;
  ~Journal();

  // `players`: in turns; empty: nobody is named. `setups`: of each group, where known. Returns the session's id.
  Result<int> add(const practice::Session& session, std::span<const std::string> players,
                  std::span<const std::optional<practice::Setup>> setups = {});

  [[nodiscard]] Result<std::vector<SessionRow>> sessions() const;
  [[nodiscard]] Result<std::vector<AttemptRow>> attempts(const Filter& filter = {}) const;
  [[nodiscard]] Result<Trend> trend(const Filter& filter = {}) const;
  // The path of a ball as it was added; empty: not there.
  [[nodiscard]] Result<std::vector<PathRow>> path(int session, int attempt, const std::string& ball) const;

  // Names the player of attempts of a session; `numbers` empty: of all. Error: no such session or attempt.
  Result<int> assign(int session, const std::string& player, std::span<const int> numbers = {});

  // Comma-separated values (RFC 4180), one line an attempt, a head line first. SI units, named in the head.
  [[nodiscard]] Result<std::string> csv(const Filter& filter = {}) const;

  // A copy that is whole, also while others write. Error: `to` exists or cannot be written.
  Result<Done> backup(const std::string& to) const;

  // The file's own check of itself: "ok".
  [[nodiscard]] Result<std::string> integrity() const;
  [[nodiscard]] int version() const;

 private:
  struct State;
  explicit Journal(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace baizetrace::journal
