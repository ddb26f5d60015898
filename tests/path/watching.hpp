// A full-size table to be watched, and sightings on it that look like one ball and no other. Invented.
#pragma once

#include <gtest/gtest.h>

#include "path/episode.hpp"
#include "support/full_size.hpp"

namespace baizetrace::path {

struct Watching : testing::Test {
  // `sd`: m, each way.
  [[nodiscard]] Sighting see(const std::string& ball, double time, const Vec2& at, double sd = 0.0006) const {
    Sighting s;
    s.time = time;
    s.at = at;
    s.covariance = sd * sd * Mat2::Identity();
    for (const table::BallKind& k : set.kinds) s.colour.push_back(k.name == ball ? 0.0F : -3.0F);
    return s;
  }
  const table::Table table = test_support::full_size();
  const table::BallSet set = test_support::snooker();
};

}  // namespace baizetrace::path
