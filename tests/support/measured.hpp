// A clip measured as a user measures it, beside its exact truth.
#pragma once

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <string>
#include <vector>

#include "practice/session.hpp"
#include "support/program.hpp"
#include "truth_check/figures.hpp"
#include "truth_check/truth.hpp"

namespace baizetrace::tests {

struct Outcome {
  practice::Session session;
  truth_check::Figures figures;
};

inline void measure_and_compare(const std::filesystem::path& clip, const std::filesystem::path& truth_file,
                                const std::vector<std::string>& more, Outcome& outcome) {
  const ScratchFolder folder;
  std::vector<std::string> arguments{"measure", clip.string(), "-o", folder.path().string()};
  arguments.insert(arguments.end(), more.begin(), more.end());
  const Ran ran = run_program(BAIZETRACE_PROGRAM, arguments);
  ASSERT_EQ(ran.code, 0) << ran.err;
  const auto session = practice::read_session(folder.file("session.json"));
  ASSERT_TRUE(session) << session.error().what;
  EXPECT_TRUE(std::filesystem::exists(folder.path() / "report.html"));
  for (const auto& a : session->attempts)
    EXPECT_TRUE(std::filesystem::exists(folder.path() / fmt::format("attempt-{:02}.png", a.number)));
  const auto truth = truth_check::read_truth(truth_file.string());
  ASSERT_TRUE(truth) << truth.error().what;
  outcome = {*session, truth_check::compare(*session, *truth)};
  fmt::print("{}\n", truth_check::table_of(clip.filename().string(), outcome.figures));
}

}  // namespace baizetrace::tests
