#include <fmt/format.h>

#include <array>

#include "report/palette.hpp"
#include "report/plan.hpp"

namespace baizetrace::report {
namespace {

// One colour of the plan: its class, what it paints, and its value on light and on dark ground.
struct Tone {
  const char* name;
  const char* paints;
  const char* light;
  const char* dark;
};

constexpr std::array<Tone, 25> kTones{{
    {"paper", "fill", "#fbfaf6", "#141817"},      {"rail", "fill", "#ddd8cb", "#2c2e2a"},
    {"bed", "fill", "#e4ede5", "#1e2d26"},        {"hole", "fill", "#555b56", "#060807"},
    {"nose", "stroke", "#2b332e", "#aab5ad"},     {"mark", "stroke", "#8d9a90", "#62746a"},
    {"spot", "fill", "#8d9a90", "#62746a"},       {"ink", "fill", "#1b211e", "#eceee9"},
    {"faint", "fill", "#5d665f", "#a3aea6"},      {"rule", "stroke", "#1b211e", "#eceee9"},
    {"rim", "stroke", "#1b211e", "#eceee9"},      {"ball", "stroke", "#1b211e", "#eceee9"},
    {"real", "stroke", "#0f3f78", "#9ecbff"},     {"real-ink", "fill", "#0f3f78", "#9ecbff"},
    {"real-tag", "stroke", "#0f3f78", "#9ecbff"}, {"guess", "stroke", "#b04a06", "#ffb070"},
    {"guess-ink", "fill", "#b04a06", "#ffb070"},  {"guess-tag", "stroke", "#b04a06", "#ffb070"},
    {"if-a", "stroke", "#6b2c91", "#d9a8f5"},     {"if-a-ink", "fill", "#6b2c91", "#d9a8f5"},
    {"if-b", "stroke", "#00695c", "#6fd6c4"},     {"if-b-ink", "fill", "#00695c", "#6fd6c4"},
    {"if-c", "stroke", "#8a2846", "#ff9db5"},     {"if-c-ink", "fill", "#8a2846", "#ff9db5"},
    {"zone", "stroke", "#7a5f00", "#e3c04a"},
}};

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

std::string plan_style() {
  std::string light, dark;
  for (const Tone& t : kTones) {
    const std::string_view name = t.name, paints = t.paints;
    // A ball brings its own fill; a tag is filled with paper below; other lines enclose nothing.
    const bool open = paints == "stroke" && name != "ball" && !name.ends_with("-tag");
    light += fmt::format(".bz-{}{{{}:{}{}}}\n", name, paints, t.light, open ? ";fill:none" : "");
    dark += fmt::format(".bz-{}{{{}:{}}}\n", name, paints, t.dark);
    if (name == "paper") {
      light += fmt::format(".bz-real-tag,.bz-guess-tag{{fill:{}}}\n", t.light);
      dark += fmt::format(".bz-real-tag,.bz-guess-tag{{fill:{}}}\n", t.dark);
    }
  }
  return light +
         ".bz-plan text{font-family:system-ui,\"DejaVu Sans\",sans-serif}\n"
         ".bz-plan polyline,.bz-plan line{stroke-linecap:round;stroke-linejoin:round}\n"
         "@media screen and (prefers-color-scheme:dark){\n" +
         dark + "}\n";
}

}  // namespace baizetrace::report
