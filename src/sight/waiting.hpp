// Looks that wait for what the next frames mend of them.
#pragma once

#include <algorithm>
#include <deque>
#include <optional>

#include "base/sighting.hpp"

namespace baizetrace::sight {

class Waiting {
 public:
  // Takes the newest look and its mends; gives back the oldest once nothing can mend it any more.
  std::optional<Look> push(Look look) {
    for (Mend& mend : look.mends)
      for (Look& then : looks_)
        if (then.frame == mend.instead.frame) apply(mend, then);
    look.mends.clear();
    looks_.push_back(std::move(look));
    return looks_.size() > kHindsight ? pop() : std::nullopt;
  }
  // The oldest that still waits: for the end of a clip. nullopt: none.
  std::optional<Look> pop() {
    if (looks_.empty()) return std::nullopt;
    std::optional<Look> out(std::move(looks_.front()));
    looks_.pop_front();
    return out;
  }

 private:
  static void apply(Mend& mend, Look& look) {
    std::erase_if(look.sightings, [&](const Sighting& s) {
      return std::find(mend.away.begin(), mend.away.end(), s.pixel) != mend.away.end();
    });
    look.sightings.push_back(std::move(mend.instead));
  }

  std::deque<Look> looks_;
};

}  // namespace baizetrace::sight
