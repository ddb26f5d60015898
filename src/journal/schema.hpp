// The journal's tables, step by step: each step brings a file from one version to the next.
#pragma once

#include <span>

namespace baizetrace::journal {

// PRAGMA application_id: tells a journal from any other SQLite file ("BzJr").
inline constexpr int kApplication = 0x427a4a72;

// steps()[k] brings version k to k + 1; the newest version is their number.
[[nodiscard]] std::span<const char* const> steps();

}  // namespace baizetrace::journal
