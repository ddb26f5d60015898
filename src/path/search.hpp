// Finds the contacts of one ball: which, in what order, roughly when. The global fit then makes them exact.
//
// The track is read forward. A leg grows over the sightings while it explains them; where it stops doing so, what the
// ball can have touched there is tried (noses, jaws, other balls, two or three of them in a row) and the cheapest
// explanation is kept. One false sighting is not a contact: those that follow must agree.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "path/chain.hpp"
#include "path/episode.hpp"
#include "path/fit.hpp"
#include "table/ball_set.hpp"

namespace baizetrace::path {

// Another ball, as far as it is known when a ball is searched.
struct Other {
  std::string name;
  double radius = 0, mass = 0;
  bool moved = false;
  const BallTrack* track = nullptr;
  const Chain* chain = nullptr;  // once it has been searched
  Cloth cloth;                   // that its chain was searched with
  // Its centre and velocity at a time; nullopt: not on the table or not known.
  [[nodiscard]] std::optional<std::pair<Vec2, Vec2>> at(double time) const;
  // Until when it lay where it lay before, s: it was first seen elsewhere then (or began then, once searched).
  [[nodiscard]] double leaves() const;
};

// m: what shading and shadows may pull a ball's places by, alike in every frame.
[[nodiscard]] double pulled_of(const BallTrack& track);
[[nodiscard]] Anchor anchor_of(const Stay& stay);

struct World {
  std::vector<Surface> surfaces;         // for this ball's radius
  std::vector<Other> others;             // without the ball itself
  Cloth cloth;                           // prior
  double slide_sd = 0.2, roll_sd = 0.2;  // of its logarithms
  ImpactPrior impact;
  std::optional<Leg> begun;  // how the hit that sent it off says that it began
  double model_sd = 0.0005;  // m: what a leg may miss a sighting by beside its stated error (model, picture)
};

struct Found {
  Chain chain;
  Cloth cloth;                        // as this track tells it, with the prior
  bool lost = false;                  // the track goes on in a way that no contact explains
  double lost_at = 0;                 // s
  std::optional<std::string> pocket;  // it fell there
  double pocket_time = 0;
  std::optional<double> u_fall;  // s: of a fall that only the hit tells, unseen; absent: as where a ball leaves the bed
  bool came_back = false;        // it vanished running into a nose: it came back from there, nobody saw where to
  bool went_under = false;       // it vanished under what always hides the bed there: it may lie there
  int trusted = 0, moving = 0;   // sightings in motion: kept, all
};

// nullopt: too few sightings of its motion to tell anything.
[[nodiscard]] std::optional<Found> search(const BallTrack& track, double radius, double mass, const World& world);

// The same, allowing sightings more when they do not fit otherwise: pictures coarser or worse than they claim.
[[nodiscard]] std::optional<Found> search_patiently(const BallTrack& track, double radius, double mass, World& world);

// Reads on where a search lost the ball, from its chain and the others' as fitted together since: that tells the last
// contacts better than the search could, which knew one path at a time. nullopt: no further than before.
[[nodiscard]] std::optional<Found> read_on(const Found& lost, const BallTrack& track, const World& world);

// Whether a ball was seen where it lay when the path found for it had long left: that path is not its own.
[[nodiscard]] bool lay_there_since(const BallTrack& track, const Found& found);

// Where the ball fell after its last leg: the next events of the leg up to a pocket, or a nose; jaws on the way become
// legs.
void find_fall(Found& found, const World& world, double last_seen, double within);

// A ball over a pocket that was hit into it as `begun` says, and is gone before it was seen on its way: between two
// frames. `hidden`: what hid the bed before; it may lie there. nullopt: it need not have fallen.
[[nodiscard]] std::optional<Found> fell_at_once(const BallTrack& track, double radius, double mass, const World& world,
                                                const Leg& begun, const CoverMap& hidden);

// A ball that was hit hard, straight at a pocket as `begun` says, and was not seen since, where one that had not fallen
// would have been: too fast to be seen on the cloth's colour, it fell. `kind`: of the ball, of which there is one.
// nullopt: it need not have fallen.
[[nodiscard]] std::optional<Found> fell_unseen(const BallTrack& track, double radius, double mass, const World& world,
                                               const Leg& begun, const Episode& episode, std::size_t kind);

// Whether a fallen ball's last run passed a ball that lay there, was sent off meanwhile, and is followed by none of
// `all`: they met, and where the fallen one went from there was not seen.
[[nodiscard]] bool met_unfollowed(const Found& fallen, const Episode& episode, const std::vector<Found>& all);

// The fall again, from the legs as fitted at the end: its time; or none, when the path does not come to the fall line
// or the ball was seen again afterwards, or the path has little to do with what was seen. A ball that vanished at a jaw
// fell there.
void settle_fall(Found& found, const World& world, double last_seen, bool seen_again);

}  // namespace baizetrace::path
