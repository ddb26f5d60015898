// One ball followed through the looks: at rest, moving, or gone.
#pragma once

#include <bitset>
#include <deque>
#include <optional>
#include <string>
#include <vector>

#include "path/roster.hpp"
#include "path/stays.hpp"
#include "table/table.hpp"

namespace baizetrace::path {

inline constexpr std::size_t kNobodys = static_cast<std::size_t>(-1);  // the kind of one that is followed no more

struct Followed {
  enum class State { resting, moving, gone };
  std::string name;
  std::size_t kind = 0;
  double radius = 0;
  State state = State::resting;

  bool lies = false;               // its last known state is at rest at `stay`, also when it is gone
  StayMean stay;                   // at rest: where
  std::deque<Sighting> recent;     // the last sightings, whatever the state (kRecent of them)
  std::vector<Sighting> off;       // at rest: sightings away from the place, in a row
  std::vector<Sighting> doubtful;  // at rest: sightings a little off the place though nothing came near it, in a row
  double seen_at = 0;              // s, last sighting taken for it
  int missed = 0;                  // looks in a row without it, its place no more covered than when it was seen whole
  int whole = 0;                   // at rest: looks that showed all of it; and what lay about it in
  std::bitset<9> cover_then;       // every one of those, a lamp's frame
  int in_the_open = 0;             // looks at it with nothing that covers there; at rest, nor beside it

  Vec2 at = Vec2::Zero(), velocity = Vec2::Zero();
  double quality = 1;  // running mean over sightings at rest: how much they look like a ball of its kind
  int steps = 0;       // sightings since it began to move
  // In the look under way: whether something can have set it moving, or turned it.
  bool may_start = true, may_turn = true;
  // On the move: the mouth that it runs into, in sight, as it was last seen; where it drops (m).
  std::optional<Vec2> into;
  int unlike = 0;     // on the move: sightings in a row that look like no ball of its kind
  bool back = false;  // was out of sight until a few sightings ago: its colour must tell that it is the same

  // In the episode under way.
  std::optional<Stay> before;
  bool moved = false;
  bool in_episode = false;  // it was on the table when the episode began
  std::vector<Sighting> seen;
  int after_rest = 0;  // sightings kept since it came to rest
  // When what moves last was near enough to set it off, from and to, s.
  struct Near {
    double from = 0, to = 0;
  };
  std::optional<Near> near;
};

inline constexpr std::size_t kRecent = 15;

// Which of a place and eight around it, `beside` m off, are covered.
[[nodiscard]] std::bitset<9> cover_around(const CoverMap& cover, const Vec2& place, double beside);
// A ball at rest was seen whole with so much cover around it; what of it may hide it when it is not seen.
void seen_whole(Followed& ball, const std::bitset<9>& cover);
[[nodiscard]] bool may_be_hidden(const Followed& ball, const std::bitset<9>& cover);

// Whether a mouth near `place` was hidden then and is now: by a board or a lamp, not by whoever leans over it. A ball
// that goes out of sight there may come back.
[[nodiscard]] bool mouth_never_seen(const table::Table& table, const CoverMap& then, const CoverMap& now,
                                    const Vec2& place);

// Whether a sighting, of a ball that went out of sight on the move, is of something that already lay there while the
// ball was still seen elsewhere: it is another thing, however like it looks. Two things at rest do not overlap.
[[nodiscard]] bool lay_beside(const Followed& ball, const Sighting& s, const std::vector<Candidate>& candidates);

// Whether the cue ball, which went out of sight on the move under what is known to hide it, would have come to a place
// over open cloth, and been seen on its way: what is seen there is another thing.
[[nodiscard]] bool out_of_the_open(const Followed& ball, const Vec2& place, double time, const CoverMap& cover);

// Sets may_start, may_turn and into for a look at `time`. A ball other than the cue ball is set moving by a ball that
// moves or is out of sight near it (what hands do is seen when it rests again); a moving ball turns at noses and other
// balls.
void tell_causes(std::vector<Followed>& balls, const table::Table& table, double time, const CoverMap& cover);

// The cost of taking a sighting for a ball, in natural logarithms: its place against where the ball can be, its colour
// against the ball's kind. kForbidden: out of reach.
[[nodiscard]] double cost_of(const Followed& ball, const Sighting& s);
// More than this and the sighting is rather nobody's.
inline constexpr double kNobody = 14.0;

// How much a sighting looks like a whole ball of a kind: 1 best.
[[nodiscard]] double quality_of(const Sighting& s, std::size_t kind);
// So much better, and another thing is the ball instead.
inline constexpr double kRatherThat = 0.08;

// Whether a sighting is beside the resting place of a ball that nothing can have moved: the ball, badly seen. Not one
// that moved in this episode: it may still creep.
[[nodiscard]] bool badly_seen(const Followed& ball, const Sighting& s);

// A sighting taken for a ball on the move: counts those in a row that look like no ball of its kind. After kUnlike of
// them they are taken back: they were cloth or shadow where the ball had been. They are returned, the ball is where it
// was before, and needs its colour to be seen again.
inline constexpr int kUnlike = 4;
[[nodiscard]] std::vector<Sighting> take_back_unlike(Followed& ball, const Sighting& s);

// Something that was seen at rest, never to move, and is gone: little of it was seen, or it was only ever seen beside
// a person, and vanished with that person. A cue's butt, a cuff.
[[nodiscard]] bool never_was(const Followed& ball);

// Whether a sighting is at the ball's resting place.
[[nodiscard]] bool at_place(const Followed& ball, const Sighting& s);

}  // namespace baizetrace::path
