// Balls that are not seen to their end: the recording ends, or a hand takes them. What they would have done is not
// told. Simulated by the project's own model, which the same model reads: only the bookkeeping is looked at.
#include "simulated.hpp"

namespace baizetrace::path {
namespace {

using test_support::full_size;
using test_support::snooker;

struct CutShort : testing::Test {
  double any(double from, double to) { return from + (to - from) * unit(random); }
  // A red near a pocket, sent at its mouth and `beside` (rad) either way of it.
  std::optional<motion::Prediction> sent_at_a_pocket(double beside, double slowest, double fastest) {
    const table::Pocket& pocket = table.pockets()[random() % table.pockets().size()];
    const Vec2 red = pocket.mouth_middle() * any(0.55, 0.85) + Vec2(any(-0.05, 0.05), 0);
    const double heading = heading_of(pocket.mouth_middle() - red) + any(-beside, beside);
    const Vec2 white = red - along_heading(heading) * any(0.25, 0.45);
    if (!table.on_bed(white, set.kinds[0].radius) || !table.on_bed(red, set.kinds[0].radius)) return std::nullopt;
    balls = {motion::make_ball(set, "white", white), motion::make_ball(set, "red-1", red)};
    motion::Strike strike;
    strike.speed = any(slowest, fastest);
    strike.heading = heading;
    strike.height = any(-0.2, 0.1);
    auto p = motion::simulate(table, {}, balls, strike);
    return p ? std::optional(std::move(*p)) : std::nullopt;
  }
  const table::Table table = full_size();
  const table::BallSet set = snooker();
  std::mt19937 random{1};
  std::uniform_real_distribution<double> unit{0, 1};
  std::vector<motion::Ball> balls;
};

TEST_F(CutShort, NothingIsToldOfWhatComesAfterTheRecording) {
  int shots = 0, potted = 0, later = 0;
  while (shots < 30) {
    const auto p = sent_at_a_pocket(0.08, 1.2, 2.7);
    if (!p) continue;
    const BallPath& red = p->balls[1];
    if (red.pocket || red.contacts.size() < 2 || red.contacts[1].kind != ContactKind::jaw) continue;
    Seeing see;
    see.strike = 1 + any(0, 1 / see.frames_per_second);
    see.until = see.strike + red.contacts[1].time - any(0.03, 0.3);
    see.cut = true;
    if (see.until < see.strike + red.contacts[0].time + 0.25) continue;
    ++shots;
    const Simulated s = simulated(*p, balls, see, random);
    for (const BallPath& b : reconstruct(s.episode, table, set, {}).balls) {
      potted += b.pocket.has_value();
      for (const Contact& c : b.contacts) later += c.time > s.episode.frame_times.back() + 0.01;
    }
  }
  EXPECT_EQ(potted, 0);
  EXPECT_EQ(later, 0);
}

TEST_F(CutShort, ARedThatRattledAndCameOutIsNotPotted) {
  int shots = 0, potted = 0;
  while (shots < 40) {
    const auto p = sent_at_a_pocket(0.06, 0.8, 3.8);
    if (!p || p->balls[0].pocket || p->balls[1].pocket) continue;
    double rattled = 0, stops = 0;
    int jaws = 0;
    for (const Contact& c : p->balls[1].contacts)
      if (c.kind == ContactKind::jaw) ++jaws, rattled = c.time;
    for (const Piece& q : p->balls[1].pieces) stops = std::max(stops, q.to);
    Seeing see;
    see.strike = 1 + any(0, 1 / see.frames_per_second);
    see.until = see.strike + rattled + any(0.4, 1);
    see.cut = true;
    if (jaws < 2 || see.strike + stops < see.until + 0.3) continue;
    ++shots;
    const Simulated s = simulated(*p, balls, see, random);
    for (const BallPath& b : reconstruct(s.episode, table, set, {}).balls) potted += b.pocket.has_value();
  }
  EXPECT_LE(potted, 1) << "of 40; 44 of 150 before";
}

// Off one nose towards the next, and taken up before it comes there: the next is a nose too, not a way through.
TEST_F(CutShort, AfterOneNoseThereIsAnother) {
  int shots = 0, fell = 0;
  while (shots < 40) {
    balls = {motion::make_ball(set, "white", Vec2(any(-0.75, 0.75), any(-1.6, 1.6)))};
    motion::Strike strike;
    strike.speed = any(1, 4);
    strike.heading = any(-kPi, kPi);
    strike.height = 0.2;
    const auto p = motion::simulate(table, {}, balls, strike);
    if (!p || !p->complete) continue;
    const auto& contacts = p->balls[0].contacts;
    const Contact* next = nullptr;
    for (std::size_t k = 1; k < contacts.size() && !next; ++k) {
      const bool two = contacts[k].kind == ContactKind::cushion && contacts[k - 1].kind == ContactKind::cushion;
      const bool beside = std::any_of(table.pockets().begin(), table.pockets().end(), [&](const table::Pocket& q) {
        return (q.fall_centre - contacts[k].at).norm() < 0.20;
      });
      if (two && beside && contacts[k].time - contacts[k - 1].time > 0.4) next = &contacts[k];
    }
    if (!next || next->speed_in < 0.3) continue;
    ++shots;
    Seeing see;
    see.strike = 1 + any(0, 1 / see.frames_per_second);
    see.until = see.strike + next->time - any(0.05, 0.25);
    const Simulated s = simulated(*p, balls, see, random);
    for (const BallPath& b : reconstruct(s.episode, table, set, {}).balls) fell += b.pocket.has_value();
  }
  EXPECT_LE(fell, 2) << "of 40; 25 of 80 before";
}

}  // namespace
}  // namespace baizetrace::path
