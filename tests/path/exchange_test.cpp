// Balls that were taken for each other as they met, and a ball that comes to rest where none can. Invented sightings.
#include "path/exchange.hpp"

#include "path/tracker_state.hpp"
#include "watching.hpp"

namespace baizetrace::path {
namespace {

constexpr double kFrame = 1.0 / 30;  // s

// The white runs down onto a pink that lies at the middle, and either runs off; where each is seen since has the
// colours of `then_white` and `then_pink`.
class Meeting : public Watching {
 protected:
  static constexpr double kHit = 0.5;           // s
  static constexpr double kLast = 15 * kFrame;  // both are seen where they met
  [[nodiscard]] Followed ball(const std::string& name, const Vec2& lay, const std::string& then, int looks) const {
    Followed b;
    b.name = name;
    b.kind = *set.kind_of(name);
    b.radius = 0.02625;
    b.moved = true;
    b.state = Followed::State::moving;
    b.before.emplace();
    b.before->at = lay;
    const bool white = name == "white";
    for (int f = 0; f < 15 + looks; ++f) {
      const double t = f * kFrame, since = t - kHit;
      Vec2 at = lay;
      if (white && f > 4) at = Vec2(0, -2.4 * (t - kHit) + 0.052);
      if (since >= 0) at = white ? Vec2(-0.5 * since, 0.052 - 1.0 * since) : Vec2(0.6 * since, -1.4 * since);
      Sighting s = see(since < 1e-9 ? name : then, t, at);
      b.seen.push_back(s);
      b.at = at;
      b.seen_at = t;
    }
    return b;
  }
  [[nodiscard]] bool told(const Followed& white, const Followed& pink, int few = 4) const {
    const auto met = met_after(white, pink);
    return met && exchanged(white, pink, *met, few);
  }
};

TEST_F(Meeting, EachLooksLikeTheOtherSince) {
  Followed white = ball("white", {0, 0.9}, "pink", 12), pink = ball("pink", {0, 0}, "white", 12);
  ASSERT_TRUE(met_after(white, pink));
  EXPECT_NEAR(*met_after(white, pink), kLast, 1e-9);
  EXPECT_EQ(met_after(white, pink), met_after(pink, white));
  EXPECT_TRUE(told(white, pink));
  const Vec2 white_ends = pink.at, pink_ends = white.at;
  pink.state = Followed::State::gone;
  exchange(white, pink, *met_after(white, pink));
  EXPECT_EQ(white.name, "white");
  EXPECT_EQ(white.kind, 0U);
  EXPECT_EQ(white.at, white_ends);
  EXPECT_EQ(white.seen.back().at, white_ends);
  EXPECT_EQ(white.state, Followed::State::gone);
  EXPECT_EQ(white.before->at, Vec2(0, 0.9));
  EXPECT_EQ(pink.at, pink_ends);
  EXPECT_EQ(pink.before->at, Vec2(0, 0));
  EXPECT_EQ(white.seen.size(), 27U);
  EXPECT_EQ(pink.seen.size(), 27U);
  EXPECT_FALSE(told(white, pink)) << "once is enough";
}

TEST_F(Meeting, OrItIsLeft) {
  EXPECT_FALSE(told(ball("white", {0, 0.9}, "white", 12), ball("pink", {0, 0}, "pink", 12))) << "as they were";
  EXPECT_FALSE(told(ball("white", {0, 0.9}, "pink", 3), ball("pink", {0, 0}, "white", 12))) << "too few tell";
  EXPECT_FALSE(told(ball("white", {0, 0.9}, "pink", 12), ball("pink", {0, 0}, "pink", 12))) << "one colour";
  EXPECT_FALSE(told(ball("red-1", {0, 0.9}, "red-1", 12), ball("red-2", {0, 0}, "red-2", 12))) << "alike";
  EXPECT_FALSE(met_after(ball("white", {0, 0.9}, "pink", 12), ball("pink", {0.4, 0}, "white", 12))) << "far apart";
}

// A ball ran into the middle pocket, and the dark in there went on being seen as it: it fell.
TEST_F(Watching, NoBallLiesInAPocket) {
  const auto after = [&](const Vec2& ends) -> std::optional<BallTrack> {
    Tracker tracker(table, set);
    std::optional<Episode> e;
    for (int f = 0; f < 150 && !e; ++f) {
      Look l;
      l.frame = f;
      l.time = f * kFrame;
      const double run = std::clamp(l.time - 1.5, 0.0, 0.5) / 0.5;
      l.sightings.push_back(see("white", l.time, {0.2, 0.6}));
      if (run > 0) l.sightings[0].at += Vec2(0, 0.5 * std::min(run, 0.8));
      l.sightings.push_back(see("pink", l.time, (1 - run) * Vec2(0.3, 0.3) + run * ends));
      e = tracker.push(l);
    }
    if (!e) e = tracker.finish();
    if (!e) return std::nullopt;
    for (const BallTrack& b : e->balls)
      if (b.ball == "pink") return b;
    return std::nullopt;
  };
  const auto fell = after({0.96, 0.02}), hangs = after({0.88, 0.02});
  ASSERT_TRUE(fell && hangs);
  EXPECT_TRUE(fell->moved);
  EXPECT_FALSE(fell->after);
  EXPECT_LT(fell->seen.back().at.x(), 0.95);
  ASSERT_TRUE(hangs->after) << "beside the fall's edge it may";
  EXPECT_NEAR(hangs->after->at.x(), 0.88, 0.001);
}

}  // namespace
}  // namespace baizetrace::path
