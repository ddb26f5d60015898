// The drawn clips against the truth that their drawing program wrote: every frame's time, the size, the turn.
#include <algorithm>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>

#include <gtest/gtest.h>

#include "support/program.hpp"
#include "video/clip.hpp"

namespace baizetrace::video {
namespace {

// Uneven frame times were drawn to the microsecond and stored on ticks of 1/90000 s.
constexpr double kTick = 1.0 / 90000 + 1e-6;  // s

void expect_as_drawn(const std::string& file, const std::string& truth_file) {
  const nlohmann::json truth = nlohmann::json::parse(std::ifstream(truth_file), nullptr, false);
  ASSERT_FALSE(truth.is_discarded()) << truth_file;
  auto clip = Clip::open(file);
  ASSERT_TRUE(clip) << clip.error().what;
  const auto& camera = truth.at("camera");
  int width = camera.at("image_size")[0], height = camera.at("image_size")[1];
  const int degrees = camera.at("display_rotation_deg");
  if (degrees % 180 != 0) std::swap(width, height);
  EXPECT_EQ(clip->info().width, width);
  EXPECT_EQ(clip->info().height, height);
  const Turn turns[] = {Turn::none, Turn::clockwise_90, Turn::half, Turn::counter_clockwise_90};
  EXPECT_EQ(clip->info().turn, turns[degrees / 90]);

  const auto& frames = truth.at("frames");
  const double first = frames.at(0).at(0);
  std::size_t n = 0;
  double worst = 0;
  while (const auto f = clip->next()) {
    ASSERT_LT(n, frames.size());
    worst = std::max(worst, std::abs(f->time - (frames[n].at(0).get<double>() - first)));
    ++n;
  }
  EXPECT_EQ(n, frames.size());
  EXPECT_LE(worst, kTick);
  EXPECT_TRUE(clip->end().complete) << clip->end().why;
  EXPECT_EQ(clip->end().damaged + clip->end().doubtful + clip->end().repeated, 0);
}

TEST(Drawn, TheSampleHasTheTimesOfItsTruth) {
  const std::string sample = std::string(BAIZETRACE_SOURCE) + "/samples/green-for-brown";
  expect_as_drawn(sample + ".mp4", sample + ".truth.json");
}

TEST(Drawn, EveryClipOfTheFootageHasTheTimesOfItsTruth) {
  const auto folder = tests::footage_folder();
  if (folder.empty()) GTEST_SKIP() << "the footage folder is not beside the project (BAIZETRACE_FOOTAGE)";
  int clips = 0;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    if (entry.path().extension() != ".mp4") continue;
    const std::string truth = std::filesystem::path(entry.path()).replace_extension(".truth.json").string();
    if (!std::filesystem::exists(truth)) continue;
    SCOPED_TRACE(entry.path().filename());
    expect_as_drawn(entry.path().string(), truth);
    ++clips;
  }
  EXPECT_GT(clips, 0);
}

}  // namespace
}  // namespace baizetrace::video
