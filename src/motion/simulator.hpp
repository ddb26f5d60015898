// The event loop, for callers that run many shots on one table: a table prepared once, buffers used again.
#pragma once

#include <array>
#include <span>
#include <utility>
#include <vector>

#include "base/path.hpp"
#include "motion/ball_contact.hpp"
#include "motion/conditions.hpp"
#include "motion/phase.hpp"
#include "table/table.hpp"

namespace baizetrace::motion {

// The table as a ball's centre meets it.
struct Ground {
  struct Side {                                // one of the four lines that the centre of a touching ball keeps
    int axis = 0;                              // 0: x, 1: y
    double sign = 1;                           // the side's outward direction along the axis
    double nose = 0;                           // m, distance of the nose line from the table's centre
    std::vector<std::array<double, 2>> spans;  // straight parts along the other axis
    std::size_t cushion = 0;                   // into `cushions`
  };
  struct Jaw {
    Vec2 centre;
    double radius;
    std::size_t pocket;
  };
  struct Pocket {
    Vec2 fall_centre;
    double fall_radius;
    Vec2 sign;  // which corner or side: -1, 0, 1
    std::array<std::size_t, 2> jaws;
  };
  explicit Ground(const table::Table& table);
  double nose_height = 0;
  std::array<Side, 4> sides;
  std::vector<Jaw> jaws;
  std::vector<Pocket> pockets;
  std::vector<std::string> cushions, pocket_names;
  double deepest_fall = 0;  // m, how far a fall circle reaches inside the noses' lines; mostly negative
};

// Something happened to one ball. `with`: the other ball, a cushion (Ground::cushions) or a pocket.
struct Event {
  double time = 0;
  ContactKind kind = ContactKind::ball;
  std::size_t ball = 0, with = 0;
  Vec2 at = Vec2::Zero(), velocity_in = Vec2::Zero(), velocity_out = Vec2::Zero();
  State before, after;  // the same with spins, for tests and fits
};

class Simulator {
 public:
  Simulator(const table::Table& table, Conditions conditions);
  void set_conditions(Conditions conditions) { conditions_ = std::move(conditions); }
  // Turns and stretches the velocity with which a ball leaves the contact that will be events()[event], and its spin:
  // what a contact does that the model does not know of. Of ball contacts only those of two balls are turned. Empty:
  // none.
  struct Kick {
    std::size_t event = 0;
    double turn = 0;     // rad, clockwise seen from above
    double stretch = 0;  // share of the speed
    double spin = 0;     // share of the horizontal spin
  };
  void set_kicks(std::vector<Kick> kicks) { kicks_ = std::move(kicks); }

  // Plays from these states to rest. Requires: nothing overlaps by more than kOverlap, all finite, same sizes.
  // Returns false when the budget of events ran out (the result is right up to `total_time`).
  bool run(std::span<const Body> bodies, std::span<const State> start, int most_events);

  [[nodiscard]] const Ground& ground() const { return ground_; }
  [[nodiscard]] const Conditions& conditions() const { return conditions_; }
  // Of the last run:
  [[nodiscard]] std::span<const Event> events() const { return events_; }
  [[nodiscard]] std::span<const Piece> pieces(std::size_t ball) const { return pieces_[ball]; }
  [[nodiscard]] double total_time() const { return total_time_; }
  [[nodiscard]] int steps() const { return steps_; }
  // Where the ball stopped; meaningless when it fell.
  [[nodiscard]] Vec2 rest(std::size_t ball) const { return balls_[ball].motion.start.place; }
  [[nodiscard]] double rest_time(std::size_t ball) const { return balls_[ball].rest_time; }
  [[nodiscard]] bool fell(std::size_t ball) const { return balls_[ball].fell; }

 private:
  enum class Next { phase, cushion, jaw, pocket };
  struct Moving {
    Body body;
    Motion motion;
    double touch = 0;  // m, distance in plan of the centre from a nose it touches
    double next = 0;   // s, its own next event
    Next what = Next::phase;
    std::size_t with = 0;  // side, jaw or pocket
    bool fell = false;
    double rest_time = 0;
  };

  void set_motion(std::size_t i, const State& s, double time);
  void close_piece(std::size_t i, double time);
  void find_own(Moving& b, double now) const;
  void look_in_pocket(Moving& b, std::size_t pocket, double now, double& span) const;
  [[nodiscard]] double meeting(const Moving& a, const Moving& b, double now) const;
  void find_pairs(std::size_t i, double now);
  void meet_side(std::size_t i, double now);
  void meet_balls(std::size_t i, std::size_t j, double now);
  void kick(std::size_t event, State& after) const;
  void set_pair(std::size_t row, std::size_t j, double time);  // j after row
  void find_first(std::size_t row);

  Ground ground_;
  Conditions conditions_;
  std::vector<Kick> kicks_;
  std::vector<Moving> balls_;
  std::vector<double> pairs_;  // s, when each pair meets; in the row of the ball that comes first
  struct First {               // of a row: the time, and the ball of the first of several
    double time;
    std::size_t with;
  };
  std::vector<First> firsts_;
  std::vector<std::vector<Piece>> pieces_;
  std::vector<Event> events_;
  double total_time_ = 0;
  int steps_ = 0;
};

// Moved apart by this when they touch without closing (pressed together): costs no energy and keeps the bounces of a
// pressed ball a tenth of a micrometre high and finite in number.
inline constexpr double kNudge = 1e-7;    // m
inline constexpr double kPressed = 1e-6;  // m/s, closing slower than this is being pressed

}  // namespace baizetrace::motion
