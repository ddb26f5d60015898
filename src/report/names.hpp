// How balls, cushions, pockets and contacts are called where a person reads.
#pragma once

#include <string>
#include <string_view>

#include "base/path.hpp"

namespace baizetrace::report {

[[nodiscard]] std::string ball_name(std::string_view ball);  // "red-3" -> "red 3"
// A gate's post: a ball or spot, a pocket, a cushion.
[[nodiscard]] std::string post_name(std::string_view post);
// What a contact touched: "blue", "top cushion", "jaw of the yellow pocket", "yellow pocket".
[[nodiscard]] std::string touched(const Contact& contact);

}  // namespace baizetrace::report
