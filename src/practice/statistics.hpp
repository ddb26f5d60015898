// Statistics of many attempts. Each formula names its source; tests check each against a published example or a
// reference library.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "practice/session.hpp"
#include "practice/setup.hpp"

namespace baizetrace::practice {

inline constexpr double kNinetyFive = 1.959963984540054;  // standard normal quantile of 0.975

struct Interval {
  double low = 0, high = 0;
};
// Score interval of a proportion (Wilson 1927, J. Am. Stat. Assoc. 22:209). n = 0: nothing is known, 0 to 1.
[[nodiscard]] Interval wilson(int successes, int n, double z = kNinetyFive);

// Quantile of Student's t with `df` degrees of freedom that belongs to the normal quantile `z` (Abramowitz & Stegun
// 1964, 26.7.5). Good to 0.5 % from 3 degrees of freedom on at 95 %.
[[nodiscard]] double student(double z, double df);

[[nodiscard]] double median(std::vector<double> values);  // NaN when empty
struct MeanSd {
  int n = 0;
  double mean = 0, sd = 0;  // sd with n - 1; 0 for fewer than two
};
[[nodiscard]] MeanSd mean_sd(std::span<const double> values);

// Where balls came to rest about a mark.
struct Spread {
  int n = 0;
  double median_from_mark = 0;  // m; what a trend is led by
  Vec2 mean = Vec2::Zero();
  Mat2 covariance = Mat2::Zero();  // with n - 1
  // Ellipse of one standard deviation (two: twice the axes): holds 39 % (86 %) of a normal spread.
  double major = 0, minor = 0;  // m, semi-axes
  double heading = 0;           // rad, of the major axis, in [0, pi)
};
[[nodiscard]] std::optional<Spread> spread_about(std::span<const Vec2> places, const Vec2& mark);

// Standardised difference of two means (Hedges 1981; formulas as in Borenstein et al. 2009, chapter 4).
struct Effect {
  double g = 0, u = 0;  // u: its standard uncertainty
};
[[nodiscard]] std::optional<Effect> hedges(const MeanSd& a, const MeanSd& b);

// Median of the slopes of all pairs (Theil 1950, Sen 1968). nullopt: fewer than two different x.
[[nodiscard]] std::optional<double> theil_sen(std::span<const double> x, std::span<const double> y);

// How likely values in this order would rise or fall at least so steadily if the order meant nothing: two-sided, from
// the distribution of the number of pairs in order (Kendall 1938, Biometrika 30:81); equal ones count as half.
[[nodiscard]] double by_chance(std::span<const double> in_order);

// A measured quantity that tells hits from misses.
struct Separation {
  std::string quantity;  // "pace", "direction", "side", "height", "white placed across", "white placed along"
  MeanSd hits, misses;
  Effect effect;  // hits less misses
};
// Only when the numbers carry it: kFewestEach of both, an effect of at least kLargeEffect, and an interval, widened
// for the number of quantities looked at (Bonferroni), that leaves zero out.
inline constexpr int kFewestEach = 6;
inline constexpr double kLargeEffect = 0.8;  // Cohen 1988: large
struct Quantity {
  std::string name;
  std::vector<double> hits, misses;
};
[[nodiscard]] std::optional<Separation> what_separates(std::span<const Quantity> quantities);

// Pot and position; meaningful when the setup asks for both.
struct Boxes {
  int both = 0, pot_only = 0, position_only = 0, neither = 0;
};

struct GroupSummary {
  int group = 0, played = 0, judged = 0, pots = 0, pots_of = 0, hits = 0, in_off = 0, by_hand = 0;
  Interval pot_interval, hit_interval;  // 95 %
  std::optional<Boxes> boxes;
  std::optional<Vec2> mark;    // where the white is wanted
  std::optional<Spread> rest;  // of the white
  MeanSd along, across;        // m; long and left positive
  MeanSd pace, direction;      // m/s, rad about their own mean
  double white_placed = 0;     // m, median distance from the session's mark
  std::optional<Separation> separates;
  int separation_tried = 0;                                      // quantities with enough numbers to be looked at
  std::vector<std::pair<std::vector<std::string>, int>> routes;  // cushions in order, how often; most often first
  int follow_ons = 0, next_potted = 0, next_of = 0;  // shots played on, and of how many the next ball is known
};
// `setup`: the group's, when it is known.
[[nodiscard]] GroupSummary summarise(const Session& session, int group, const Setup* setup);

// `summary` of session.json from every group; `setup_of(number)` may return nullptr.
[[nodiscard]] std::string summary_json(std::span<const GroupSummary> groups);

// Whether an attempt was a hit: the pot and all goal parts, no in-off. nullopt: it was not judged.
[[nodiscard]] std::optional<bool> is_hit(const Attempt& attempt);

}  // namespace baizetrace::practice
