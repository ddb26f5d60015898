// What is told of frames that show the picture before once more. The sample clip (drawn, see samples/README.md).
#include "sight/eye.hpp"

#include <gtest/gtest.h>

#include "base/files.hpp"
#include "support/truth_rig.hpp"
#include "table/ball_set.hpp"

namespace baizetrace::sight {
namespace {

TEST(Eye, AFrameThatRepeatsThePictureShowsWhatLiesThere) {
  set_data_folder(BAIZETRACE_SOURCE);
  const std::string file = std::string(BAIZETRACE_SOURCE) + "/samples/green-for-brown";
  const auto truth = test_support::read_truth(file + ".truth.json");
  ASSERT_TRUE(truth.is_object());
  const camera::Rig rig = test_support::truth_rig(truth);
  const auto spec = table::read_spec("full-size");
  const auto balls = table::read_ball_set("snooker");
  auto clip = video::Clip::open(file + ".mp4");
  ASSERT_TRUE(spec && balls && clip);
  Eye eye(rig, camera::table_of(rig, *spec), *balls);
  ASSERT_TRUE(eye.learn(*clip));
  const double strike = truth["attempts"][0]["strike"]["t_s"].get<double>();
  constexpr double kLater = 1e-3;  // s
  bool asked_at_rest = false, asked_moving = false;
  while (auto frame = clip->next()) {
    const Look look = eye.look(*frame);
    if (!asked_at_rest && frame->time > 0.3) {
      asked_at_rest = true;
      ASSERT_GT(look.sightings.size(), 4U);
      video::Frame again = *frame;
      again.repeated = true;
      again.time += kLater;
      const Look more = eye.look(again);
      EXPECT_FALSE(more.repeated) << "it is as good as another look";
      EXPECT_EQ(more.time, again.time);
      EXPECT_EQ(more.cover.cells, look.cover.cells);
      ASSERT_EQ(more.sightings.size(), look.sightings.size());
      for (std::size_t i = 0; i < look.sightings.size(); ++i) {
        EXPECT_EQ(more.sightings[i].at, look.sightings[i].at);
        EXPECT_NEAR(more.sightings[i].time, look.sightings[i].time + kLater, 1e-12);
        EXPECT_FALSE(more.sightings[i].fresh);
      }
    }
    if (frame->time > strike + 0.25) {
      asked_moving = true;
      video::Frame again = *frame;
      again.repeated = true;
      again.time += kLater;
      const Look more = eye.look(again);
      EXPECT_TRUE(more.repeated);
      EXPECT_TRUE(more.sightings.empty()) << "a ball that moves was not there twice: the phone lost a frame";
      break;
    }
  }
  EXPECT_TRUE(asked_at_rest && asked_moving);
}

}  // namespace
}  // namespace baizetrace::sight
