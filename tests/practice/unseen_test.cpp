// Rows of a path that no sighting stands behind keep that mark through session.json.
#include <gtest/gtest.h>

#include <cstdio>
#include <filesystem>

#include "base/files.hpp"
#include "practice/attempts.hpp"
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

// A white that ran under a board comes out again half a second later: no other attempt. One that comes out when
// somebody may have played it there is one, and so is what is played after a hand, a rest or a fall.
TEST(Attempts, AWhiteThatComesOutAgainRunsOn) {
  const auto shot = [](double strike) {
    Attempt a;
    a.strike_time = strike;
    a.balls["white"].ball = "white";
    return a;
  };
  Attempt lost = shot(1.6);
  lost.balls["white"].rows = {{1.6, Vec2(0.5, 1.3)}, {2.1, Vec2(-0.2, -0.8)}};
  lost.balls["white"].told_until = 2.17;
  EXPECT_TRUE(runs_on(lost, shot(2.6), "white"));
  EXPECT_TRUE(runs_on(lost, shot(4.4), "white"));
  EXPECT_FALSE(runs_on(lost, shot(12), "white"));
  EXPECT_FALSE(runs_on(lost, shot(2.6), "yellow"));
  Attempt other = shot(2.6);
  other.clip = 1;
  EXPECT_FALSE(runs_on(lost, other, "white"));
  Attempt by_hand = lost;
  by_hand.ended = Ended::hand;
  EXPECT_FALSE(runs_on(by_hand, shot(2.6), "white"));
  Attempt rested = lost;
  rested.balls["white"].rest = Place{};
  EXPECT_FALSE(runs_on(rested, shot(2.6), "white"));
  Attempt fell = lost;
  fell.balls["white"].pocket = "left";
  EXPECT_FALSE(runs_on(fell, shot(2.6), "white"));
  Attempt turned = lost;  // out of sight for a while, and followed on from there
  turned.balls["white"].rows.push_back({3.0, Vec2(0.1, 0.2)});
  EXPECT_FALSE(runs_on(turned, shot(3.5), "white"));
  EXPECT_FALSE(runs_on(shot(1.6), shot(2.6), "white"));
}

}  // namespace
}  // namespace baizetrace::practice
