// Where a white that was taken away while it rolled would have come to rest.
#pragma once

#include "motion/conditions.hpp"
#include "practice/session.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"

namespace baizetrace::practice {

// Sets rest_extrapolated of an attempt that a hand ended: the white rolls on from where it was last seen, on these
// conditions, among the balls as they then lay. Left absent when it would have fallen or its motion is not known.
// Its uncertainty is a share of the way that was left, more when it would have touched something on it.
void extrapolate_rest(Attempt& attempt, const table::Table& table, const table::BallSet& set,
                      const motion::Conditions& conditions);

}  // namespace baizetrace::practice
