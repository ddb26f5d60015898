// One attempt's part of the page.
#pragma once

#include <string>

#include "practice/session.hpp"
#include "report/page.hpp"

namespace baizetrace::report {

// `picture`: an <img> element, or "" where there is none. `alone`: the page has no other attempt, whose picture and
// sentence stand at the page's head already.
[[nodiscard]] std::string attempt_section(const PageInput& input, const practice::Attempt& attempt,
                                          const std::string& picture, bool alone);

// What a picture of the attempt shows, for those who cannot see it. Not escaped.
[[nodiscard]] std::string picture_words(const practice::Attempt& attempt);

}  // namespace baizetrace::report
