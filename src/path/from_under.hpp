// The cue ball when it lay where nobody sees, under a lamp's frame, and is told once it has come out from there.
#pragma once

#include <array>
#include <optional>

#include "path/followed.hpp"
#include "path/trails.hpp"
#include "table/table.hpp"

namespace baizetrace::path {

// What has hidden the bed in nearly every look: no person, however long one leans over it.
class LongCover {
 public:
  void add(const CoverMap& cover);
  [[nodiscard]] bool hides(const Vec2& place) const;

 private:
  CoverMap shape_;  // its grid alone
  std::array<int, CoverMap::kColumns * CoverMap::kRows> times_{};
  int looks_ = 0;
};

// The ball on a trail that is the cue ball's and comes out from under what hides the bed, faster than a hand rolls it.
// `before` is then where it may have lain, straight back along its way (no sightings: nobody saw it there), as widely
// uncertain along it as what hides it is long. Without its name, kind and radius. nullopt: it did not come from there.
[[nodiscard]] std::optional<Followed> told_from_under(const Trail& run, const LongCover& hidden,
                                                      const table::Table& table, double radius);

}  // namespace baizetrace::path
