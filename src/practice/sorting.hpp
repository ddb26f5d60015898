// Shots sorted: which are attempts and of which group, which were played on from where an attempt ended, which were
// none.
//
// Laws:
//  1. An attempt starts from its group's marks: the white and the ball it is played at within kOnMark of them, and at
//     least half of the other balls. Where the balls stood decides, never what came of the shot.
//  2. A shot from where the last one left the white is never an attempt, unless that is its group's mark.
//  3. A new arrangement, put there by hand, is a new group. So is a white whose mark was moved by more than kOnMark
//     while the other balls were put back.
//  4. Balls that are alike carry the names of the marks that they stand nearest to, whoever was swapped with whom.
#pragma once

#include <span>
#include <vector>

#include "practice/session.hpp"
#include "practice/setup.hpp"

namespace baizetrace::practice {

inline constexpr double kOnMark = 0.030;  // m: a first placement within this is the setup's (the trade's sheet)

struct Sorted {
  std::vector<Group> groups;
  std::vector<Attempt> attempts;     // numbered from 1, each with its group; follow-ons attached
  std::vector<std::size_t> shot_of;  // of each attempt: its index among the shots given
  std::vector<int> setup_of_group;   // of each group: index among the setups given, -1: none
  std::vector<Warning> notes;        // shots that were no attempts, and why
};

// `shots`: every shot of the session in time's order, as attempt_from() made them. `setups`: none, the one that is
// said to be played, or several to choose from.
[[nodiscard]] Sorted sort_shots(std::vector<Attempt> shots, std::span<const Setup> setups, const table::Table& table,
                                const table::BallSet& set);

// The attempt's balls that are alike, named after the marks nearest to them (law 4).
void name_after_marks(Attempt& attempt, const std::map<std::string, Vec2>& marks, const table::BallSet& set);

// A group's marks as a setup's file to keep; read_setup() accepts it.
[[nodiscard]] std::string setup_toml(const Group& group, const std::string& title, const table::Table& table,
                                     const std::string& table_name, const table::BallSet& set);

}  // namespace baizetrace::practice
