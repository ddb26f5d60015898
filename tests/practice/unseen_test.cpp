// Rows of a path that no sighting stands behind keep that mark through session.json.
#include <gtest/gtest.h>

#include <cstdio>
#include <filesystem>

#include "base/files.hpp"
#include "practice/session.hpp"

namespace baizetrace::practice {
namespace {

TEST(SessionFile, KeepsWhichRowsWereNotSeen) {
  Session s;
  Attempt a;
  a.number = 1;
  BallPath white;
  white.ball = "white";
  const std::vector<bool> seen{true, false, false, true, true, false, true};
  for (std::size_t i = 0; i < seen.size(); ++i)
    white.rows.push_back({0.1 * static_cast<double>(i), Vec2(0.2 * static_cast<double>(i), 0), seen[i]});
  a.balls["white"] = white;
  s.attempts.push_back(a);
  const std::string file = (std::filesystem::temp_directory_path() / "baizetrace-unseen.session.json").string();
  ASSERT_TRUE(write_atomically(file, session_json(s)));
  const auto back = read_session(file);
  std::remove(file.c_str());
  ASSERT_TRUE(back) << back.error().what;
  const auto& rows = back->attempts.at(0).balls.at("white").rows;
  ASSERT_EQ(rows.size(), seen.size());
  for (std::size_t i = 0; i < seen.size(); ++i) EXPECT_EQ(rows[i].seen, seen[i]) << i;
}

}  // namespace
}  // namespace baizetrace::practice
