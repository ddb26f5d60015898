// Registration over scenes that tools/drawn draws from seeds, beside their truth: twenty of the set of two hundred that
// `register_check` runs as a whole.
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <stdlib.h>

#include <filesystem>
#include <optional>

#include "base/files.hpp"
#include "camera/refine.hpp"
#include "drawn/clips.hpp"
#include "register_check/check.hpp"

namespace baizetrace::register_check {
namespace {

// Scenes drawn into a folder of their own, quick to draw.
struct DrawnSet : testing::Test {
  DrawnSet() {
    set_data_folder(BAIZETRACE_SOURCE);
    spec = table::read_spec("full-size");
    balls = table::read_ball_set("snooker");
    folder = (std::filesystem::temp_directory_path() / "baizetrace-drawn-XXXXXX").string();
    wishes.most_pixels = 1280 * 720;
  }
  ~DrawnSet() override { std::filesystem::remove_all(folder); }
  void SetUp() override {
    ASSERT_TRUE(spec && balls);
    ASSERT_NE(::mkdtemp(folder.data()), nullptr);
  }
  // One scene; nullopt: it could not be made, and the test has said why.
  std::optional<Outcome> check(unsigned seed) {
    auto outcome = check_scene(seed, wishes, folder + "/" + std::to_string(seed) + ".mp4", *spec, *balls, "");
    if (!outcome) {
      if (outcome.error().what.find("has no encoder") == std::string::npos)
        ADD_FAILURE() << outcome.error().what;
      else
        without_encoder = outcome.error().what;
      return std::nullopt;
    }
    fmt::print("{}\n", line_of(*outcome));
    return std::move(*outcome);
  }
  Result<table::Spec> spec = table::Spec{};
  Result<table::BallSet> balls = table::BallSet{};
  std::string folder, without_encoder;
  drawn::Wishes wishes;
};

TEST_F(DrawnSet, twenty_scenes_are_registered_or_refused) {
  wishes.steepest = 35;  // steeper views at this size are mostly refused
  Tally tally;
  for (unsigned seed = 1; seed <= 20; ++seed) {
    const auto outcome = check(seed);
    if (!without_encoder.empty()) GTEST_SKIP() << without_encoder;
    ASSERT_TRUE(outcome);
    add(tally, *outcome);
    EXPECT_TRUE(outcome->found || !outcome->why.empty());
  }
  fmt::print("{}\n", summary_of(tally));
  EXPECT_GE(tally.found, 18);
  const double held = static_cast<double>(tally.inside) / std::max(1, tally.values);
  EXPECT_GT(held, 0.85);  // errors within a scene are alike: of the whole set 90 to 98 % is asked
  // Falls short: a table at the very edge of what the rules allow, whose size neither its shape nor its balls tell, is
  // now and then off by more than 3 of its own u. None is the aim; this is what was measured.
  EXPECT_LE(tally.wrong, 1);
}

// Three that look hard and are plain to a person: two grey cloths on grey floors, which colour does not tell apart, and
// a top end that a lamp covers, whose edge is as straight as a cushion's. They were refused, or 15 cm off.
TEST_F(DrawnSet, cloth_like_the_floor_and_a_lamp_over_one_end) {
  for (const unsigned seed : {131U, 149U, 62U}) {
    const auto outcome = check(seed);
    if (!without_encoder.empty()) GTEST_SKIP() << without_encoder;
    ASSERT_TRUE(outcome);
    EXPECT_TRUE(outcome->found) << outcome->why;
    EXPECT_FALSE(outcome->wrong);
    EXPECT_LT(outcome->error.rms, seed == 62 ? 0.010 : 0.002) << seed;  // as told: 62 warns of a centimetre
  }
}

// From a rough guess five rounds may end while the table still moves: an ultra-wide drawn clip was told 19 mm wrong
// then. Here the lens is thought to bend less than it does: 132 mm wrong after five, 0.8 once it stands still.
TEST_F(DrawnSet, rounds_go_on_while_the_table_still_moves) {
  std::string what;
  const std::string file = folder + "/8.mp4";
  const auto drawn = drawn::draw_registration_clip(8, wishes, file, what);
  if (!drawn && drawn.error().what.find("has no encoder") != std::string::npos) GTEST_SKIP() << drawn.error().what;
  ASSERT_TRUE(drawn) << drawn.error().what;
  auto clip = video::Clip::open(file);
  ASSERT_TRUE(clip);
  const auto scene = camera::gather_scene(*clip);
  ASSERT_TRUE(scene);
  const camera::Rig truth = rig_of(*drawn);
  const camera::Beliefs beliefs = camera::beliefs_of(*spec);
  camera::Unknowns x;
  x.width = truth.camera.width;
  x.height = truth.camera.height;
  x.lens = truth.camera.lens;
  x.lens.distortion[0] += 0.06;
  x.pose = truth.camera.pose;
  x.half_width = spec->half_width;
  x.half_length = spec->half_length;
  x.nose_height = spec->nose_height;
  x.ball_radius = 0.02625;
  camera::place_drawn(x, beliefs);
  const auto error = [&](const camera::RefineOptions& options) {
    const camera::Fit fit = camera::refine(*scene, x, *spec, beliefs, options);
    EXPECT_TRUE(fit.summary.usable);
    camera::Rig found = truth;
    found.camera = fit.x.camera();
    found.half_width = fit.x.half_width;
    found.half_length = fit.x.half_length;
    found.covariance = fit.summary.covariance;
    return rig_error(truth, found).rms;
  };
  EXPECT_GT(error({.more = 0}), 0.020);
  EXPECT_LT(error({}), 0.002);
}

// The drawing's projection and the program's were written apart from each other and must agree.
TEST(DrawnProjection, agrees_with_the_program) {
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
