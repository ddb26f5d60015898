#include "compare/routes.hpp"

#include <gtest/gtest.h>

#include <chrono>
#include <ctime>

#include "base/files.hpp"

namespace baizetrace::compare {
namespace {

struct Scene {
  practice::Setup setup;
  table::Table table;
  table::BallSet set;
};
Scene scene(const std::string& name) {
  set_data_folder(BAIZETRACE_SOURCE);
  auto setup = practice::read_setup(std::string(BAIZETRACE_SOURCE) + "/samples/" + name + ".setup.toml");
  EXPECT_TRUE(setup) << setup.error().what;
  auto spec = table::read_spec(setup->table);
  auto set = table::read_ball_set(spec->balls);
  return {*setup, table::Table(*spec), *set};
}

RoutesOptions small() {
  RoutesOptions o;
  o.paces = 7;
  o.tips = 9;
  o.samples = 100;
  return o;
}

bool same(const Routes& a, const Routes& b) {
  if (a.outcomes.size() != b.outcomes.size() || a.routes.size() != b.routes.size()) return false;
  for (std::size_t i = 0; i < a.outcomes.size(); ++i) {
    const Outcome &x = a.outcomes[i], &y = b.outcomes[i];
    if (x.heading != y.heading || x.rest != y.rest || x.route != y.route || x.goal != y.goal) return false;
  }
  for (std::size_t i = 0; i < a.routes.size(); ++i)
    if (a.routes[i].held != b.routes[i].held || a.routes[i].cushions != b.routes[i].cushions) return false;
  return true;
}

TEST(Routes, TheSameOnOneThreadOrThree) {
  const Scene s = scene("middle-red-off-the-side");
  RoutesOptions one = small(), three = small();
  one.threads = 1;
  three.threads = 3;
  const auto a = find_routes(s.setup, s.table, s.set, {}, *spread_named("club"), one);
  const auto b = find_routes(s.setup, s.table, s.set, {}, *spread_named("club"), three);
  ASSERT_TRUE(a && b);
  EXPECT_GT(a->routes.size(), 1U);
  EXPECT_TRUE(same(*a, *b));
}

// A setup written here, for what no sample holds.
Scene written(const std::string& name, const std::string& text) {
  set_data_folder(BAIZETRACE_SOURCE);
  const std::string file = testing::TempDir() + "baizetrace-routes-" + name + ".setup.toml";
  EXPECT_TRUE(write_atomically(
      file, "format = \"baizetrace/setup-1\"\ntitle = \"" + name + "\"\ntable = \"full-size\"\n" + text));
  auto setup = practice::read_setup(file);
  EXPECT_TRUE(setup) << setup.error().what;
  auto spec = table::read_spec(setup->table);
  return {*setup, table::Table(*spec), *table::read_ball_set(spec->balls)};
}
Scene plant() {
  return written("plant",
                 "[balls]\nwhite = [0.0, 0.45]\nred-1 = [0.35, 1.10]\nred-2 = [0.299, 1.014]\n"
                 "[shot]\npot = \"red-1\"\ninto = \"top-right\"\nfirst = \"red-2\"\nspeed = 2.2\n");
}
Scene side_double() {
  return written("double",
                 "[balls]\nwhite = [-0.30, -0.62]\nred-1 = [0.30, -0.42]\n"
                 "[shot]\npot = \"red-1\"\ninto = \"middle-left\"\nbank = [\"right\"]\nspeed = 3.0\nheight = -0.2\n");
}

// The quick aim beside the whole one: where motion::aim_pot finds a pot, so does the grid, all but a few at its edges.
void pots_where_the_whole_aim_pots(const std::string& name, const Scene& s) {
  const auto found = find_routes(s.setup, s.table, s.set, {}, *spread_named("club"), small());
  ASSERT_TRUE(found) << found.error().what;
  const auto balls = practice::balls_of(s.setup, s.table, s.set);
  constexpr double kRealWindow = 1e-3;  // rad: half of it, 0.6 mm at the ball from 60 cm
  constexpr double kAnotherWay = radians(1.0);
  // Of a double half the pots found are balls that rattle in; and at the hardest paces cue ball and object ball meet
  // again near the line.
  const bool doubled = !s.setup.shot->bank.empty();
  int whole = 0, both = 0, compared = 0, beyond = 0;
  for (std::size_t i = 0; i < found->outcomes.size(); i += 5) {
    const Outcome& x = found->outcomes[i];
    if (!x.tried) continue;
    motion::Strike strike;
    strike.speed = x.speed, strike.right = x.right, strike.height = x.height;
    const practice::Shot& shot = *s.setup.shot;
    const auto aim = motion::aim_pot(s.table, {}, balls, strike, {shot.ball, shot.pocket, shot.first, shot.bank});
    if (!aim || !aim->pots) continue;
    if (doubled && std::min(aim->thicker, aim->thinner) < kRealWindow) continue;
    ++whole;
    both += x.aimed && x.potted;
    if (!x.aimed || !x.potted) continue;
    // A narrow window is a ball that happens to rattle in, and far off the line it falls by another way: at the
    // hardest paces the whole aim answers with those. Neither says where the line is.
    const double off = std::abs(wrap_angle(x.heading - aim->heading));
    if (off > kAnotherWay || std::min(aim->thicker, aim->thinner) < kRealWindow) continue;
    ++compared;
    beyond += off > aim->thicker;
  }
  std::printf("%s: %d of %d pots found, of %d on that line %d outside its window\n", name.c_str(), both, whole,
              compared, beyond);
  EXPECT_GT(whole, doubled ? 10 : 20);
  EXPECT_GE(both, (doubled ? 0.75 : 0.95) * whole);
  EXPECT_GE(compared, 0.75 * both);
  EXPECT_EQ(beyond, 0);
}

TEST(Routes, PotsWhereTheWholeAimPots) {
  for (const char* name : {"middle-red-off-the-side", "last-black-for-the-yellow", "pool-eight-for-the-nine"})
    pots_where_the_whole_aim_pots(name, scene(name));
}

// Plants are aimed by the ball that is met first, doubles through the cushions that they name: also by the whole
// program played through, each pot of the grid falls where it is meant to, by way of those.
TEST(Routes, PlantsAndDoubles) {
  for (const auto& [name, s] : {std::pair(std::string("plant"), plant()), {"double", side_double()}}) {
    pots_where_the_whole_aim_pots(name, s);
    const auto found = find_routes(s.setup, s.table, s.set, {}, *spread_named("club"), small());
    ASSERT_TRUE(found && !found->routes.empty());
    EXPECT_GT(found->routes[0].tried, 0);
    int seen = 0, right = 0;
    for (const Outcome& x : found->outcomes) {
      if (!x.potted) continue;
      practice::Overrides o;
      o.speed = x.speed, o.heading = x.heading, o.right = x.right, o.height = x.height;
      const auto p = practice::predict_setup(s.setup, s.table, s.set, {}, o);
      ASSERT_TRUE(p);
      const BallPath& red = *p->motion.ball("red-1");
      ++seen;
      const practice::Shot& shot = *s.setup.shot;
      right += red.pocket == shot.pocket && red.contacts.at(0).with == (shot.first.empty() ? "white" : shot.first) &&
               (shot.bank.empty() || red.contacts.at(1).with == shot.bank[0]);
    }
    std::printf("%s: %d pots, %d by the way that was meant; %zu routes\n", name.c_str(), seen, right,
                found->routes.size());
    EXPECT_GT(seen, 50);
    EXPECT_GE(right, 0.98 * seen);
  }
}

// The route of the setup's own strike is found, and a smaller scatter keeps a route more often.
TEST(Routes, TheSetupsOwnRouteIsAmongThem) {
  const Scene s = scene("middle-red-off-the-side");
  const auto found = find_routes(s.setup, s.table, s.set, {}, *spread_named("good-club"), small());
  ASSERT_TRUE(found);
  const auto own = practice::predict_setup(s.setup, s.table, s.set, {});
  ASSERT_TRUE(own);
  const bool there = std::any_of(found->routes.begin(), found->routes.end(),
                                 [&](const OneRoute& r) { return r.cushions == own->route.cushions; });
  EXPECT_TRUE(there);
  const auto rough = find_routes(s.setup, s.table, s.set, {}, *spread_named("club"), small());
  ASSERT_TRUE(rough);
  EXPECT_GT(found->routes[0].held, rough->routes[0].held);
  EXPECT_LT(found->routes[0].low, double(found->routes[0].held) / found->routes[0].tried);
}

// Ten thousand strikes under two seconds on two cores: under four seconds of processor time on any number of them.
TEST(Routes, TenThousandStrikesInTime) {
  const Scene s = scene("middle-red-off-the-side");
  RoutesOptions o;
  o.threads = 1;
  const std::clock_t from = std::clock();
  const auto found = find_routes(s.setup, s.table, s.set, {}, *spread_named("club"), o);
  const double spent = double(std::clock() - from) / CLOCKS_PER_SEC;
  ASSERT_TRUE(found);
  std::printf("%d strikes: %.2f s of processor time\n", found->tried, spent);
  EXPECT_LT(spent / found->tried * 10000, 4.0);
}

TEST(Routes, SaysWhatItCannotDo) {
  EXPECT_EQ(spread_named("expert").error().what, "--spread expert: expected professional, good-club or club");
  Scene s = scene("middle-red-off-the-side");
  s.setup.shot->bank = {"left"};  // away from the pocket
  EXPECT_FALSE(find_routes(s.setup, s.table, s.set, {}, *spread_named("club"), small()));
  s.setup.shot.reset();
  EXPECT_FALSE(find_routes(s.setup, s.table, s.set, {}, *spread_named("club"), small()));
}

}  // namespace
}  // namespace baizetrace::compare
