// Strikes read back from motion that the small-step integrator made and that was measured badly.
#include "compare/strike_fit.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cstdlib>

#include "base/files.hpp"
#include "support/full_size.hpp"
#include "support/oracle_shots.hpp"

namespace baizetrace::compare {
namespace {

using support::OracleShot;
using test_support::full_size;

table::BallSet snooker() {
  set_data_folder(BAIZETRACE_SOURCE);
  return *table::read_ball_set("snooker");
}

// Known about as well as fifteen attempts tell it.
KnownPlay tuned_play(const motion::Conditions& c) {
  KnownPlay k = assumed_play(c);
  k.u *= 0.3;
  return k;
}

double median(std::vector<double> v) {
  if (v.empty()) return NAN;
  std::sort(v.begin(), v.end());
  return v[v.size() / 2];
}

TEST(StrikeFit, OracleShots) {
  const auto table = full_size();
  const auto set = snooker();
  const char* many = std::getenv("BAIZETRACE_SHOTS");
  const int wanted = many ? std::atoi(many) : 30;
  const motion::Conditions truth;
  std::vector<double> speed, heading, right, height, right_known, height_known, seconds;
  int shots = 0, fitted = 0, held = 0, asked = 0, held_s = 0, held_h = 0;
  for (std::uint64_t seed = 1; shots < wanted && seed < 1000; ++seed) {
    const OracleShot shot = support::random_oracle_shot(table, truth, seed);
    if (shot.cushions < 2 || shot.jaw || !shot.rests) continue;
    if (const char* only = std::getenv("ONLY"); only && seed != static_cast<std::uint64_t>(std::atoi(only))) continue;
    ++shots;
    const auto e = evidence_of(shot.attempt, table, set);
    ASSERT_TRUE(e) << e.error().what;
    const auto begin = std::chrono::steady_clock::now();
    const StrikeFound f = find_strike(*e, *shot.attempt.strike, table, tuned_play(truth));
    seconds.push_back(std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count());
    const motion::Strike& s = f.numbers.strike;
    std::printf("%3d seed %3lu balls %zu cush %d | v %.3f %+.4f(%.4f) h %+.3f(%.3f)deg | right %+.3f -> %+.3f [%+.3f %+.3f]%s%s "
                "height %+.3f -> %+.3f [%+.3f %+.3f]%s%s | misfit %.2f %s %.2fs\n",
                shots, seed, e->balls.size(), shot.cushions, shot.strike.speed, s.speed / shot.strike.speed - 1,
                f.speed.u() / s.speed, degrees(wrap_angle(s.heading - shot.strike.heading)), degrees(f.heading.u()),
                shot.strike.right, s.right, f.right.low, f.right.high, f.right.open_low ? "<" : "",
                f.right.open_high ? ">" : "", shot.strike.height, s.height, f.height.low, f.height.high,
                f.height.open_low ? "<" : "", f.height.open_high ? ">" : "", f.misfit, f.fits ? "" : f.why.c_str(),
                seconds.back());
    if (!f.fits) continue;
    ++fitted;
    speed.push_back(std::abs(s.speed / shot.strike.speed - 1));
    heading.push_back(degrees(std::abs(wrap_angle(s.heading - shot.strike.heading))));
    right.push_back(std::abs(s.right - shot.strike.right));
    height.push_back(std::abs(s.height - shot.strike.height));
    const auto in = [](const Told& t, double v) { return v >= t.low && v <= t.high; };
    held += in(f.right, shot.strike.right) + in(f.height, shot.strike.height);
    held_s += in(f.speed, shot.strike.speed);
    for (const auto& [what, t, v] : {std::tuple("right", f.right, shot.strike.right), {"height", f.height, shot.strike.height}, {"speed", f.speed, shot.strike.speed}})
      if (!in(t, v)) std::printf("   MISS %s %+.4f -> %+.4f [%+.4f %+.4f] z %.1f\n", what, v, t.value, t.low, t.high, (v - t.value) / t.u());
    held_h += in(f.heading, shot.strike.heading);
    asked += 2;
    if (f.right.number() && f.right.u() < 0.04) right_known.push_back(right.back());
    if (f.height.number() && f.height.u() < 0.04) height_known.push_back(height.back());
  }
  std::printf("%d shots, %d fitted; median speed %.2f %%, heading %.3f deg, right %.3f R (known %zu: %.3f), height %.3f R "
              "(known %zu: %.3f); intervals hold: tip %.1f %%, speed %.1f %%, heading %.1f %%; %.2f s a shot\n",
              shots, fitted, 100 * median(speed), median(heading), median(right), right_known.size(),
              median(right_known), median(height), height_known.size(), median(height_known), 100.0 * held / asked,
              200.0 * held_s / asked, 200.0 * held_h / asked, median(seconds));
  EXPECT_GE(fitted, shots * 9 / 10);
}

}  // namespace
}  // namespace baizetrace::compare
