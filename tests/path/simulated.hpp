// What a camera would have seen of a simulated shot: an episode to be reconstructed, and the truth beside it. Invented.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

#include "motion/motion.hpp"
#include "path/reconstruct.hpp"
#include "support/full_size.hpp"

namespace baizetrace::path {

struct Simulated {
  Episode episode;
  std::vector<BallPath> truth;  // with the episode's times
};

struct Seeing {
  double frames_per_second = 30;
  double strike = 1.0;    // s
  double until = 1e9;     // s: nothing is seen later
  bool cut = false;       // the recording ends there as well; else it goes on for three seconds
  double noise = 0.0006;  // m, each way
};

inline Simulated simulated(const motion::Prediction& shot, const std::vector<motion::Ball>& balls, const Seeing& see,
                           std::mt19937& random) {
  const table::Table table = test_support::full_size();
  const table::BallSet set = test_support::snooker();
  std::normal_distribution<double> noise(0, see.noise);
  constexpr double kAfter = 0.6, kRested = 0.35, kOnStill = 3;  // s
  Simulated out;
  double last = 0;
  for (const BallPath& b : shot.balls)
    for (const Piece& p : b.pieces) last = std::max(last, p.to);
  const double end = see.cut ? see.until : std::min(see.until + kOnStill, see.strike + last + kAfter);
  Episode& e = out.episode;
  CoverMap bare;
  bare.half_width = table.half_width() + 0.1;
  bare.half_length = table.half_length() + 0.1;
  for (int k = 0; k / see.frames_per_second < end; ++k) {
    e.frame_times.push_back(k / see.frames_per_second);
    e.cover.emplace_back(e.frame_times.back(), bare);
  }
  e.begin = see.strike;
  e.end = std::min(end, see.strike + last);
  e.cut = see.cut;
  for (std::size_t i = 0; i < shot.balls.size(); ++i) {
    BallPath b = shot.balls[i];
    double moves = 1e9, stops = -1e9;
    for (Piece& p : b.pieces) {
      p.from += see.strike, p.to += see.strike;
      if (p.phase != Piece::Phase::rest) moves = std::min(moves, p.from), stops = std::max(stops, p.to);
    }
    for (Contact& c : b.contacts) c.time += see.strike;
    b.rest_time += see.strike, b.pocket_time += see.strike;
    BallTrack track;
    track.ball = b.ball;
    Stay lay;
    lay.at = balls[i].place;
    lay.covariance = 0.0004 * 0.0004 * Mat2::Identity();
    lay.to = see.strike;
    lay.sightings = 30;
    track.before = lay;
    track.moved = moves < std::min(see.until, end) - 3 / see.frames_per_second;
    for (std::size_t f = 0; track.moved && f < e.frame_times.size(); ++f) {
      const double t = e.frame_times[f];
      if (t < moves - 0.3 || t > std::min(stops + 0.4, see.until) || (b.pocket && t > b.pocket_time)) continue;
      const auto rolls = b.at(t);
      const Vec2 at = t < moves ? balls[i].place : t >= stops && b.rest ? b.rest->at : rolls.value_or(balls[i].place);
      Sighting s;
      s.time = t;
      s.frame = static_cast<int>(f);
      s.at = at + Vec2(noise(random), noise(random));
      s.covariance = see.noise * see.noise * Mat2::Identity();
      for (std::size_t k = 0; k < set.kinds.size(); ++k)
        s.colour.push_back(k == set.kind_of(b.ball).value_or(0) ? 0.0F : -3.0F);
      track.seen.push_back(std::move(s));
    }
    if (!track.moved) {
      track.after = lay;
    } else if (b.rest && stops + kRested < std::min(see.until, end)) {
      track.after = lay;
      track.after->at = b.rest->at;
      track.after->from = stops, track.after->to = end;
    }
    e.balls.push_back(std::move(track));
    out.truth.push_back(std::move(b));
  }
  return out;
}

}  // namespace baizetrace::path
