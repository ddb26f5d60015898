// A ball of the standard size and mass, by name and place.
#pragma once

#include "motion/motion.hpp"

namespace baizetrace::test_support {

inline motion::Ball ball(const char* name, Vec2 at) {
  motion::Ball b;
  b.name = name;
  b.place = at;
  return b;
}

}  // namespace baizetrace::test_support
