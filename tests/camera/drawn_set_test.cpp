// Registration over scenes that tools/drawn draws from seeds, beside their truth: twelve of the set of two hundred that
// `register_check` runs as a whole.
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <stdlib.h>

#include <filesystem>

#include "base/files.hpp"
#include "register_check/check.hpp"

namespace baizetrace::register_check {
namespace {

TEST(DrawnSet, twelve_scenes_are_registered_or_refused) {
  set_data_folder(BAIZETRACE_SOURCE);
  const auto spec = table::read_spec("full-size");
  const auto balls = table::read_ball_set("snooker");
  ASSERT_TRUE(spec && balls);
  std::string folder = (std::filesystem::temp_directory_path() / "baizetrace-drawn-XXXXXX").string();
  ASSERT_NE(::mkdtemp(folder.data()), nullptr);
  drawn::Wishes wishes;
  wishes.most_pixels = 1280 * 720;  // quick to draw; steep views at this size are mostly refused
  wishes.steepest = 35;
  Tally tally;
  for (unsigned seed = 1; seed <= 12; ++seed) {
    const auto outcome = check_scene(seed, wishes, folder + "/" + std::to_string(seed) + ".mp4", *spec, *balls, "");
    if (!outcome && outcome.error().what.find("has no encoder") != std::string::npos) {
      std::filesystem::remove_all(folder);
      GTEST_SKIP() << outcome.error().what;
    }
    ASSERT_TRUE(outcome) << outcome.error().what;
    add(tally, *outcome);
    fmt::print("{}\n", line_of(*outcome));
    EXPECT_TRUE(outcome->found || !outcome->why.empty());
  }
  std::filesystem::remove_all(folder);
  fmt::print("{}\n", summary_of(tally));
  EXPECT_GE(tally.found, 11);
  const double held = static_cast<double>(tally.inside) / std::max(1, tally.values);
  EXPECT_GT(held, 0.85);  // errors within a scene are alike: of the whole set 90 to 98 % is asked
  // Falls short: a table at the very edge of what the rules allow, whose size neither its shape nor its balls tell, is
  // now and then off by more than 3 of its own u. None is the aim; this is what was measured.
  EXPECT_LE(tally.wrong, 1);
}

// Three that look hard and are plain to a person: two grey cloths on grey floors, which colour does not tell apart, and
// a top end that a lamp covers, whose edge is as straight as a cushion's. They were refused, or 15 cm off.
TEST(DrawnSet, cloth_like_the_floor_and_a_lamp_over_one_end) {
  set_data_folder(BAIZETRACE_SOURCE);
  const auto spec = table::read_spec("full-size");
  const auto balls = table::read_ball_set("snooker");
  ASSERT_TRUE(spec && balls);
  std::string folder = (std::filesystem::temp_directory_path() / "baizetrace-drawn-XXXXXX").string();
  ASSERT_NE(::mkdtemp(folder.data()), nullptr);
  drawn::Wishes wishes;
  wishes.most_pixels = 1280 * 720;
  for (const unsigned seed : {131U, 149U, 62U}) {
    const auto outcome = check_scene(seed, wishes, folder + "/" + std::to_string(seed) + ".mp4", *spec, *balls, "");
    if (!outcome && outcome.error().what.find("has no encoder") != std::string::npos) {
      std::filesystem::remove_all(folder);
      GTEST_SKIP() << outcome.error().what;
    }
    ASSERT_TRUE(outcome) << outcome.error().what;
    fmt::print("{}\n", line_of(*outcome));
    EXPECT_TRUE(outcome->found) << outcome->why;
    EXPECT_FALSE(outcome->wrong);
    EXPECT_LT(outcome->error.rms, seed == 62 ? 0.010 : 0.002) << seed;  // as told: 62 warns of a centimetre
  }
  std::filesystem::remove_all(folder);
}

// The drawing's projection and the program's were written apart from each other and must agree.
TEST(DrawnSet, two_projections_agree) {
  double worst = 0;
  for (unsigned seed = 1; seed <= 40; ++seed) {
    std::string what;
    const drawn::Scene scene = drawn::random_scene(seed, {}, what);
    const camera::Rig rig = rig_of(scene);
    for (double x = -0.9; x <= 0.9; x += 0.3)
      for (double y = -1.8; y <= 1.8; y += 0.3) {
        const Vec3 at(x, y, 0.026);
        const auto ours = scene.optics.pixel_of(at), theirs = rig.camera.project(at);
        if (!ours || !theirs) continue;
        worst = std::max(worst, (*ours - *theirs).norm());
      }
  }
  fmt::print("largest difference of the two projections: {:.1e} px\n", worst);
  EXPECT_LT(worst, 1e-6);  // px: rounding
}

}  // namespace
}  // namespace baizetrace::register_check
