#include "compare/predicting.hpp"

#include <spdlog/spdlog.h>

#include "compare/beside.hpp"
#include "motion/motion.hpp"

namespace baizetrace::compare {
namespace {

std::optional<motion::Prediction> from_the_setup(const practice::Setup& setup, const table::Table& table,
                                                 const table::BallSet& set, const motion::Conditions& conditions) {
  auto p = practice::predict_setup(setup, table, set, conditions);
  if (p) return std::move(p->motion);
  spdlog::warn("no prediction: {}", p.error().what);
  return std::nullopt;
}

std::optional<motion::Prediction> from_the_strike(const practice::Attempt& a, const table::Table& table,
                                                  const table::BallSet& set, const motion::Conditions& conditions) {
  if (!a.strike) return std::nullopt;
  std::vector<motion::Ball> balls;
  for (const auto& [ball, place] : a.before) balls.push_back(motion::make_ball(set, ball, place.at));
  if (const auto parted = motion::part(table, balls); !parted) return std::nullopt;
  motion::Strike strike;
  strike.speed = a.strike->speed;
  strike.heading = a.strike->heading;
  strike.height = a.strike->height.value_or(0);
  strike.right = a.strike->right.value_or(0);
  auto p = motion::simulate(table, conditions, balls, strike);
  if (p) return std::move(*p);
  spdlog::warn("attempt {}: no prediction: {}", a.number, p.error().what);
  return std::nullopt;
}

}  // namespace

void predict_attempt(practice::Attempt& a, const std::optional<practice::Setup>& setup, const table::Table& table,
                     const table::BallSet& set, const PlayedConditions& played) {
  const bool has_shot = setup && setup->shot;
  const auto p = has_shot ? from_the_setup(*setup, table, set, played.conditions)
                          : from_the_strike(a, table, set, played.conditions);
  if (!p) return;
  a.prediction = computed_path(*p, a.strike_time);
  const bool height = a.strike && a.strike->height, side = a.strike && a.strike->right;
  const char* of = has_shot         ? "the setup's shot from its marks"
                   : height && side ? "the strike found"
                   : height         ? "the strike found, its side not known, none taken"
                   : side           ? "the strike found, its height not known, none taken"
                                    : "the measured speed and line, struck in the middle";
  a.prediction_label = fmt::format("{}; {}", of, played.in_words);
  if (const auto white = a.balls.find("white"); white != a.balls.end())
    a.comparison = compare_paths(white->second, white->second.rest, *a.prediction);
}

}  // namespace baizetrace::compare
