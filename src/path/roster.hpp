// Which balls are on the table: clusters of sightings that stay, named by their colour and place.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "path/stays.hpp"
#include "table/ball_set.hpp"

namespace baizetrace::path {

// Something that stays at a place and is not a known ball (yet).
struct Candidate {
  StayMean stay;
  std::vector<double> colour;  // sum over sightings of the log likelihoods, each bounded
  double first = 0, last = 0;  // s
  int covered = 0;             // sightings while something lay over the place
  double visible = 0;          // sum over sightings
};

// The least of a sighting's log likelihoods that is believed: one bad reading never rules a kind out.
inline constexpr double kWorstColour = -8.0;
void add_colour(std::vector<double>& sum, const Sighting& s);
// How a sighting's colour speaks against a kind: 0 (best) to -kWorstColour.
[[nodiscard]] double against(const Sighting& s, std::size_t kind);

// The kind that so many sightings' colours look like, when they look less like every other by `clearly` each; `colour`
// is the sum of their log likelihoods.
[[nodiscard]] std::optional<std::size_t> clear_kind(const std::vector<double>& colour, int sightings, double clearly);
// For the white: its own look is not learnt in a clip that begins with it out of sight, and pale pictures bring the
// pink near.
inline constexpr double kClearlyWhite = 0.7;

// Kinds for candidates, best joint assignment: `free[k]` more balls of kind k may be on the table; `homes[k]` is the
// spot where the rules put that kind, which speaks for it where colours are hard to tell. -1: no ball.
[[nodiscard]] std::vector<int> kinds_for(const std::vector<const Candidate*>& candidates, const std::vector<int>& free,
                                         const std::vector<std::optional<Vec2>>& homes);

// Whether a candidate looks by far more like another kind than like this one, free or not: a hand that holds still has
// a brown's colour, or a pink's, and a ball that is missing is not that. Balls of 75 clips read 0 to 1.0 worse as what
// they are than as what they look most like (one yellow 1.3), knuckles 1.3 to 2.1 (log likelihoods a sighting).
[[nodiscard]] bool rather_another(const Candidate& candidate, std::size_t kind);

// Names for balls of which there are many.
class Names {
 public:
  explicit Names(std::vector<std::pair<std::string, Vec2>> marks) : marks_(std::move(marks)) {}
  // A name for a ball of a kind that lies at `at`, not in `taken`: the nearest mark's, else the lowest number free.
  [[nodiscard]] std::string name(const table::BallKind& kind, const Vec2& at,
                                 const std::vector<std::string>& taken) const;

 private:
  std::vector<std::pair<std::string, Vec2>> marks_;
};

}  // namespace baizetrace::path
