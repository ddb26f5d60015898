// Two balls that met and were each followed as the other from then on: in the dim a pink looks much like the white, and
// in the look that shows them parting either may be where the other is expected.
#pragma once

#include <optional>
#include <vector>

#include "path/followed.hpp"

namespace baizetrace::path {

// s: the last look before two balls met, by where they were seen in this episode; none: they did not, or nobody saw
// both of them before.
[[nodiscard]] std::optional<double> met_after(const Followed& a, const Followed& b);

// Whether they were exchanged then: each has looked since as the other did before, and they had looked unlike. With
// `few` sightings of either since, or with colours that do not tell them apart, it is not told, and false.
[[nodiscard]] bool exchanged(const Followed& a, const Followed& b, double met, int few);

// Gives each what the other was taken for since.
void exchange(Followed& a, Followed& b, double met);

}  // namespace baizetrace::path
