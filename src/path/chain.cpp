#include "path/chain.hpp"

namespace baizetrace::path {

std::size_t Chain::leg_at(double time) const {
  std::size_t i = 0;
  while (i + 1 < legs.size() && legs[i + 1].leg.t <= time) ++i;
  return i;
}

void Chain::join(const Cloth& c) {
  for (std::size_t i = 1; i < legs.size(); ++i) legs[i].leg.p = legs[i - 1].leg.at(legs[i].leg.t, c);
}

}  // namespace baizetrace::path
