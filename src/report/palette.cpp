#include "report/palette.hpp"

#include <array>

namespace baizetrace::report {
namespace {

struct Cloth {
  const char* ball;
  Rgb colour;
};
// How a ball of that name is drawn: plain colour names, chosen to be told apart on the plan's light and dark bed.
constexpr std::array<Cloth, 11> kBalls{{
    {"white", {250, 249, 243}},
    {"yellow", {236, 196, 30}},
    {"green", {20, 120, 78}},
    {"brown", {124, 72, 38}},
    {"blue", {42, 92, 190}},
    {"pink", {240, 150, 175}},
    {"black", {24, 24, 26}},
    {"red", {190, 32, 38}},
    {"eight", {24, 24, 26}},
    {"nine", {236, 196, 30}},
    {"orange", {225, 120, 30}},
}};

}  // namespace

Rgb ball_colour(std::string_view ball) {
  const std::string_view kind = ball.substr(0, ball.find('-'));
  for (const Cloth& b : kBalls)
    if (kind == b.ball) return b.colour;
  return {128, 128, 128};
}

}  // namespace baizetrace::report
