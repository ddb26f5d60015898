#include "compare/what_if.hpp"

#include <charconv>
#include <cmath>

namespace baizetrace::compare {
namespace {

std::optional<double> number_in(const std::string& change, const std::string& word) {
  if (!change.starts_with(word + "=")) return std::nullopt;
  const char* from = change.data() + word.size() + 1;
  const char* to = change.data() + change.size();
  double v = 0;
  const auto [end, error] = std::from_chars(from, to, v);
  if (error != std::errc{} || end != to) return std::nullopt;
  return v;
}

}  // namespace

Result<WhatIf> what_if(const practice::Attempt& a, const std::string& change, const practice::Setup* setup,
                       const table::Table& table, const table::BallSet& set, const KnownPlay& play) {
  if (!a.strike) return fail("attempt {}: the strike was not seen", a.number);
  const auto evidence = evidence_of(a, table, set);
  if (!evidence) return fail("attempt {}: {}", a.number, evidence.error().what);
  const StrikeFound found = find_strike(*evidence, *a.strike, table, play, {.intervals = false});
  if (!found.fits) return fail("attempt {}: {}", a.number, found.why);
  practice::Attempt there = a;
  const auto change_of = [&](ShotNumbers& n) -> Result<Done> {
    motion::Strike& s = n.strike;
    if (change == "no-side") {
      s.right = 0;
    } else if (const auto softer = number_in(change, "softer")) {
      if (!(*softer > 0 && *softer < 100)) return fail("{}: expected a percentage between 0 and 100", change);
      s.speed *= 1 - *softer / 100;
    } else if (const auto harder = number_in(change, "harder")) {
      if (!(*harder > 0 && *harder <= 100)) return fail("{}: expected a percentage between 0 and 100", change);
      s.speed *= 1 + *harder / 100;
    } else if (const auto right = number_in(change, "right")) {
      s.right = *right;
    } else if (const auto height = number_in(change, "height")) {
      s.height = *height;
    } else if (change == "on-the-mark") {
      if (!setup) return fail("{}: no setup says where the marks are", change);
      for (const motion::Ball& b : practice::balls_of(*setup, table, set))
        if (there.before.contains(b.name)) there.before[b.name].at = b.place;
      for (std::size_t k = 0; k < evidence->moved; ++k) n.places[k] = there.before.at(evidence->balls[k].name).at;
    } else {
      return fail("--what-if {}: expected no-side, on-the-mark, softer=P, harder=P, right=R or height=R", change);
    }
    if (std::hypot(s.right, s.height) > motion::kMiscue &&
        (change.starts_with("right") || change.starts_with("height")))
      return fail("{}: the tip would be {:.2f} ball radii off the centre, a miscue: expected at most {}", change,
                  std::hypot(s.right, s.height), motion::kMiscue);
    return Done{};
  };
  ShotNumbers n = found.numbers;
  if (const auto can = change_of(n); !can) return pass_on(can);
  // Played with these very conditions, what is changed apart from what the table does otherwise.
  StrikeFound start = found;
  start.numbers.play.setZero();
  const StrikeFound under =
      find_strike(*evidence, *a.strike, table, play, {.play_free = false, .intervals = false, .near = &start});
  if (!under.fits) return fail("attempt {}: with how the table is taken to play, {}", a.number, under.why);
  n = under.numbers;
  std::optional<Vec2> unchanged;
  if (const auto as_it_was = play_explained(a, *evidence, n, table, set, play.conditions))
    if (const BallPath* white = as_it_was->ball(set.kinds[0].name); white && white->rest) unchanged = white->rest->at;
  if (const auto done = change_of(n); !done) return pass_on(done);
  auto p = play_explained(there, *evidence, n, table, set, play.conditions);
  if (!p) return pass_on(p);
  return WhatIf{std::move(*p), n.strike, unchanged};
}

}  // namespace baizetrace::compare
