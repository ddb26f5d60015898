// The colours that drawings share.
#pragma once

#include <cstdint>
#include <string_view>

namespace baizetrace::report {

struct Rgb {
  std::uint8_t r = 0, g = 0, b = 0;
};

// How a ball of that name is drawn; grey when the name is none that we know. Never the only sign: a label stands by.
[[nodiscard]] Rgb ball_colour(std::string_view ball);

}  // namespace baizetrace::report
