// Things on the move that are none of the balls followed: a ball that a hand sent or a bump set rolling.
//
// What was seen on its way while a ball was seen elsewhere is not that ball: a trail of it claims the sightings that
// continue it, so that no ball that is hidden, by hand and cue at the strike, is looked for there.
#pragma once

#include <optional>
#include <vector>

#include "path/episode.hpp"
#include "path/followed.hpp"

namespace baizetrace::path {

struct Trail {
  Vec2 at = Vec2::Zero(), velocity = Vec2::Zero();
  double first = 0, seen_at = 0;  // s
  int steps = 0;                  // sightings
  double visible = 0;             // sum over them
  Vec2 begun = Vec2::Zero();
  std::vector<double> colour;  // sum of the log likelihoods, each bounded
  struct Other {
    std::string name;
    std::size_t kind = 0;
    int looks = 0;
  };
  std::vector<Other> beside;   // balls seen elsewhere at the same time, and in how many looks
  std::vector<Sighting> seen;  // the first of them, kMostKept
};
inline constexpr std::size_t kMostKept = 600;

// The ball is on the move, as the trail was when last seen; `seen` and the episode's part are left to the caller.
void run_on(Followed& ball, const Trail& trail);

class Trails {
 public:
  explicit Trails(const table::BallSet& set) : set_(set) {}
  // Requires: before a look's sightings are given to balls. For each sighting the established trail that it continues,
  // or nullptr; no two sightings continue one trail. Valid until the next call of a member that is not const.
  [[nodiscard]] std::vector<const Trail*> continued(const std::vector<Sighting>& sightings) const;
  // The sightings of a look at `time` that were given to no ball; `balls` as they are after it.
  void strays(const std::vector<Sighting>& given_to_none, const std::vector<Followed>& balls, double time);

  // A ball there is one of that was followed on the move and then seems to rest, or to run on as what looks less like a
  // ball of its kind (a board's edge), while a trail that set out from it is one: the ball is what left the trail. It
  // takes the trail's sightings and moves on; they are returned, empty: nothing of the kind.
  [[nodiscard]] std::vector<Sighting> hand_over(Followed& ball);

  // A ball there is one of that lay still, and since a ball came near is not seen, or as something that looks less like
  // one of its kind (what the hit left of it in the cloth), while a trail that began since is one: it was hit and set
  // off unseen. It takes the trail's sightings and moves; they are returned, empty: nothing of the kind.
  [[nodiscard]] std::vector<Sighting> set_off(Followed& ball);

  // A run of the cue ball that is under way and that no followed ball was seen beside; nullptr: none. Valid until the
  // next call of a member that is not const.
  [[nodiscard]] const Trail* white_alone() const;
  // One of them, which is followed from now on. Requires: of this object, valid.
  void forget(const Trail* trail);

  // The trails of balls that were seen since `from`, oldest first; those of before are forgotten.
  [[nodiscard]] std::vector<Passing> passing(double from);

  // Runs of the cue ball, over or not, that no followed ball was seen beside or took over: where it lay before was out
  // of sight. Oldest first.
  [[nodiscard]] std::vector<Passing> of_unseen_white() const;

  // Whether what moves along a trail is surely not this ball: it was seen beside it often enough, and has not come to
  // where the ball lies, or ran when it was last seen, which it may have set off.
  [[nodiscard]] static bool is_another(const Trail& trail, const Followed& ball, double time);

 private:
  [[nodiscard]] bool of_white_alone(const Trail& trail) const;

  table::BallSet set_;
  std::vector<Trail> trails_;
  std::vector<Trail> ended_;  // that were of balls
  std::vector<Passing> unseen_white_;
};

}  // namespace baizetrace::path
