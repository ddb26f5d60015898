// A shot played by the model beside what was measured of it: the same places at the same times, flight by flight.
#pragma once

#include <Eigen/Dense>
#include <vector>

#include "compare/evidence.hpp"
#include "compare/known_play.hpp"
#include "motion/simulator.hpp"

namespace baizetrace::compare {

// All numbers of a shot that a fit turns.
struct ShotNumbers {
  motion::Strike strike;
  double delay = 0;          // s, of the strike after Evidence::begin
  std::vector<Vec2> places;  // of the moved balls before the strike
  PlayVector play = PlayVector::Zero();
};

class Replay {
 public:
  // Requires: evidence and table outlive it.
  Replay(const Evidence& evidence, const table::Table& table, const motion::Conditions& conditions);

  // Plays the shot; false: it cannot be played (balls overlap, no end).
  bool run(const ShotNumbers& numbers, std::vector<motion::Simulator::Kick> kicks = {});

  // Of the last run. Places of the facts, all x and then all y. A flight that the model did not come to (its order of
  // contacts differs before) is compared with where the ball was instead, at most kFarOff off.
  [[nodiscard]] Eigen::VectorXd places() const;
  // How many of each moved ball's contacts came in the measured order.
  [[nodiscard]] const std::vector<std::size_t>& matched() const { return matched_; }
  [[nodiscard]] bool all_matched() const;
  // Contacts in the measured order after which something was measured.
  struct Turn {
    std::size_t event = 0;
    ContactKind kind = ContactKind::cushion;
    std::size_t ball = 0;
  };
  [[nodiscard]] std::vector<Turn> turns() const;

 private:
  [[nodiscard]] Vec2 place(const Fact& fact) const;
  // The first hair of a jaw turns a ball as the nose does that it continues: either may have been what was seen.
  [[nodiscard]] bool is(const Touched& wanted, const motion::Event& event) const;

  const Evidence& evidence_;
  const table::Table& table_;
  motion::Conditions conditions_;
  motion::Simulator simulator_;
  std::vector<motion::Body> bodies_;
  std::vector<motion::State> states_;
  ShotNumbers numbers_;
  std::vector<std::vector<std::size_t>> events_;  // of each moved ball, into the simulator's
  std::vector<std::size_t> matched_;
};

inline constexpr double kFarOff = 0.2;  // m

}  // namespace baizetrace::compare
