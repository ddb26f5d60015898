// The contact that explains why a leg ends where it does.
#pragma once

#include "path/search.hpp"

namespace baizetrace::path {

// The chain's last leg does not explain sighting `j`. Puts in the cheapest contact, or contacts in a row, that
// explain it and what follows. Returns the next sighting to read; 0: nothing explains it.
[[nodiscard]] std::size_t find_contact(Found& found, const World& world, std::size_t j);

// Whether the last contacts are with noses or jaws in one pocket's mouth, more in a row than a ball rattles: sightings
// that creep about there (a sleeve, a shadow) can be explained by ever more of them.
[[nodiscard]] bool rattles_on(const Chain& chain);

}  // namespace baizetrace::path
