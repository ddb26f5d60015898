// How balls, cushions, pockets and contacts are called where a person reads.
#pragma once

#include <string>
#include <string_view>

#include "base/path.hpp"
#include "practice/wording.hpp"

namespace baizetrace::report {

using practice::ball_name;  // "red-3" -> "red 3"
using practice::post_name;  // a gate's post: a ball or spot, a pocket, a cushion
// What a contact touched: "blue", "top cushion", "jaw of the yellow pocket", "yellow pocket".
[[nodiscard]] std::string touched(const Contact& contact);

}  // namespace baizetrace::report
