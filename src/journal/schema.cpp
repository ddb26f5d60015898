#include "journal/schema.hpp"

#include <array>

namespace baizetrace::journal {
namespace {

constexpr const char* kFirst = R"sql(
CREATE TABLE players (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
CREATE TABLE setups (id INTEGER PRIMARY KEY, title TEXT NOT NULL UNIQUE, file TEXT NOT NULL);
CREATE TABLE tables (id INTEGER PRIMARY KEY, name TEXT NOT NULL, half_width REAL, half_length REAL,
                     UNIQUE (name, half_width, half_length));
CREATE TABLE sessions (
  id INTEGER PRIMARY KEY,
  recording TEXT NOT NULL UNIQUE,      -- what it is known by: file names, frames, durations
  clip TEXT NOT NULL,
  complete INTEGER NOT NULL,
  attempts INTEGER NOT NULL,           -- how many were added with it
  table_id INTEGER NOT NULL REFERENCES tables (id)
);
CREATE TABLE attempts (
  id INTEGER PRIMARY KEY,
  session_id INTEGER NOT NULL REFERENCES sessions (id) ON DELETE CASCADE,
  number INTEGER NOT NULL,
  setup_id INTEGER REFERENCES setups (id),
  player_id INTEGER REFERENCES players (id),
  strike_time REAL NOT NULL, ended TEXT NOT NULL,
  pot INTEGER, hit INTEGER, in_off INTEGER NOT NULL, points REAL, of REAL,
  rest_x REAL, rest_y REAL, from_mark REAL, along REAL, across REAL,
  pace REAL, direction REAL, white_placed_off REAL,
  UNIQUE (session_id, number)
);
CREATE TABLE paths (
  attempt_id INTEGER NOT NULL REFERENCES attempts (id) ON DELETE CASCADE,
  ball TEXT NOT NULL,
  rows BLOB NOT NULL,                  -- time after the strike, x, y of each row; 32-bit floats, little-endian
  PRIMARY KEY (attempt_id, ball)
) WITHOUT ROWID;
)sql";

// Evenings are told by the date of their recording; trends go through attempts by setup.
constexpr const char* kSecond = R"sql(
ALTER TABLE sessions ADD COLUMN recorded TEXT NOT NULL DEFAULT '';
CREATE INDEX attempts_by_setup ON attempts (setup_id, session_id, number);
CREATE INDEX attempts_by_player ON attempts (player_id, session_id, number);
)sql";

// Where the tip struck, ball radii, with its standard uncertainty: what a player's own scatter there is read off.
constexpr const char* kThird = R"sql(
ALTER TABLE attempts ADD COLUMN tip_right REAL;
ALTER TABLE attempts ADD COLUMN tip_right_u REAL;
ALTER TABLE attempts ADD COLUMN tip_height REAL;
ALTER TABLE attempts ADD COLUMN tip_height_u REAL;
)sql";

constexpr std::array kSteps{kFirst, kSecond, kThird};

}  // namespace

std::span<const char* const> steps() { return kSteps; }

}  // namespace baizetrace::journal
