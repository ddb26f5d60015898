// What can go wrong, and how it is told.
//
// Three kinds of error, three tools (DEVELOPERS.md): our own bug is an assert; bad input is a Result whose message
// says what, where and what was expected, in one line; no answer is an optional or a summary that says why.
#pragma once

#include <fmt/format.h>

#include <string>
#include <tl/expected.hpp>
#include <utility>

namespace baizetrace {

struct Error {
  std::string what;  // one line for the person who called: what, where, what was expected
};

template <class T>
using Result = tl::expected<T, Error>;

// Success without a value.
struct Done {};

template <class... Args>
[[nodiscard]] tl::unexpected<Error> fail(fmt::format_string<Args...> format, Args&&... args) {
  return tl::make_unexpected(Error{fmt::format(format, std::forward<Args>(args)...)});
}

// Hands an error of one Result on as another's.
template <class T>
[[nodiscard]] tl::unexpected<Error> pass_on(const Result<T>& r) {
  return tl::make_unexpected(r.error());
}

}  // namespace baizetrace
