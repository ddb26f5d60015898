// A player's own scatter, read off a journal of invented attempts.
#include "cli/player_spread.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "journal/journal.hpp"
#include "support/program.hpp"

namespace baizetrace::cli {
namespace {

constexpr double kRadius = 0.02625;  // m
constexpr double kPace = 0.04, kDirection = 0.004, kTip = 0.05, kReadTo = 0.03;

// Attempts of one shot on one evening: pace, direction and tip scatter as above (share, rad, ball radii); the tip is
// read to kReadTo.
practice::Session evening(int attempts, unsigned seed, bool with_tip) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal(0, 1);
  practice::Session s;
  s.clip.file = "invented-" + std::to_string(seed) + ".mp4";
  practice::Group group;
  group.number = 1;
  group.setup = {"invented.setup.toml", "Invented"};
  s.groups.push_back(group);
  for (int k = 1; k <= attempts; ++k) {
    practice::Attempt a;
    a.number = k;
    a.group = 1;
    a.strike_time = 10 * k;
    a.strike = practice::Strike{2.5 * (1 + kPace * normal(random)), 0.3 + kDirection * normal(random)};
    if (with_tip) {
      a.strike->right = 0.2 + kTip * normal(random) + kReadTo * normal(random);
      a.strike->u["right"] = kReadTo;
      // Height is told for every other strike only.
      if (k % 2 == 0) {
        a.strike->height = -0.1 + kTip * normal(random) + kReadTo * normal(random);
        a.strike->u["height"] = kReadTo;
      }
    }
    s.attempts.push_back(a);
  }
  return s;
}

std::string journal_of(const tests::ScratchFolder& folder, const std::vector<practice::Session>& evenings) {
  const std::string file = folder.file("j.db");
  auto j = journal::Journal::open(file);
  for (const practice::Session& s : evenings) EXPECT_TRUE(j->add(s, std::vector<std::string>{"Ann"}));
  return file;
}

TEST(PlayerSpread, IsReadOffTheJournalWithoutWhatTheReadingAdds) {
  const tests::ScratchFolder folder;
  const std::string file = journal_of(folder, {evening(120, 1, true), evening(120, 2, true)});
  const auto s = player_spread(file, "Ann", "Invented", kRadius);
  ASSERT_TRUE(s) << s.error().what;
  EXPECT_TRUE(s->measured);
  EXPECT_NEAR(s->pace, kPace, 0.15 * kPace);
  EXPECT_NEAR(s->direction, kDirection, 0.15 * kDirection);
  EXPECT_TRUE(s->tip_measured);
  // With what the reading adds it would come out at hypot(0.05, 0.03), a sixth more.
  EXPECT_NEAR(s->tip, kTip * kRadius, 0.1 * kTip * kRadius);
}

TEST(PlayerSpread, WhereNoTipIsToldItIsCommonPractice) {
  const tests::ScratchFolder folder;
  const auto s = player_spread(journal_of(folder, {evening(40, 3, false)}), "", "Invented", kRadius);
  ASSERT_TRUE(s) << s.error().what;
  EXPECT_TRUE(s->measured);
  EXPECT_FALSE(s->tip_measured);
  EXPECT_EQ(s->tip, compare::spread_named("good-club")->tip);
}

TEST(PlayerSpread, TooFewAttemptsTellNone) {
  const tests::ScratchFolder folder;
  EXPECT_FALSE(player_spread(journal_of(folder, {evening(6, 4, true)}), "Ann", "Invented", kRadius));
}

}  // namespace
}  // namespace baizetrace::cli
