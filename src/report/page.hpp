// report.html: one self-contained page of a session. Nothing is fetched; a content security policy forbids it.
#pragma once

#include <string>
#include <vector>

#include "practice/session.hpp"
#include "practice/setup.hpp"
#include "table/table.hpp"

namespace baizetrace::report {

struct PageInput {
  const practice::Session& session;
  const table::Table& table;
  const practice::Setup* setup = nullptr;
  // Files of the attempts' pictures as attempt_picture() drew them, in the attempts' order; fewer, or empty names, are
  // left out. Read one after another: a long session's pictures would fill the memory.
  std::vector<std::string> pictures;
  double ball_radius = 0.02625;                          // m, the cue ball's
  std::vector<const practice::Setup*> setup_of_group{};  // of each group in order; empty: `setup` for all

  // What was meant in an attempt; nullptr: not known.
  [[nodiscard]] const practice::Setup* setup_for(const practice::Attempt& a) const {
    const auto k = static_cast<std::size_t>(a.group) - 1;
    return setup_of_group.empty() ? setup : k < setup_of_group.size() ? setup_of_group[k] : nullptr;
  }
};

// The page's size stays below this at 200 attempts: pictures are made as small as it takes.
inline constexpr std::size_t kPageBytes = 5'000'000;

// The page as text. Deterministic. All that comes from files is escaped.
[[nodiscard]] std::string report_page(const PageInput& input);

}  // namespace baizetrace::report
