// Films out, against the ffprobe program as the outside reader: times, streams, sizes, sound.
#include "video/film.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgproc.hpp>

#include "made_clip.hpp"
#include "video/plain_copy.hpp"
#include "video/sound.hpp"

namespace baizetrace::video {
namespace {
namespace fs = std::filesystem;

std::string probe(const std::string& file, const std::string& what) {
  const Bytes text = output_of("ffprobe -v error " + what + " -of csv=p=0 '" + file + "'");
  std::string s(text.begin(), text.end());
  while (!s.empty() && (s.back() == '\n' || s.back() == '\r')) s.pop_back();
  return s;
}

std::vector<std::string> left_in(const fs::path& folder) {
  std::vector<std::string> names;
  for (const auto& e : fs::directory_iterator(folder)) names.push_back(e.path().filename().string());
  return names;
}

// A picture whose brightness tells its number.
cv::Mat numbered(int width, int height, int number) {
  cv::Mat m(height, width, CV_8UC3, cv::Scalar::all(40 + 4 * (number % 50)));
  cv::circle(m, {20 + 7 * number % (width - 40), height / 2}, 12, {40, 200, 240}, cv::FILLED);
  return m;
}

void film_of(const std::string& file, const FilmOptions& o, const std::vector<double>& times,
             const FilmSound& sound = {}) {
  auto film = Film::create(file, o, sound);
  ASSERT_TRUE(film.has_value()) << film.error().what;
  for (std::size_t k = 0; k < times.size(); ++k) {
    const auto added = film->add(numbered(o.width, o.height, static_cast<int>(k)), times[k]);
    ASSERT_TRUE(added.has_value()) << added.error().what;
  }
  const auto finished = film->finish();
  ASSERT_TRUE(finished.has_value()) << finished.error().what;
}

TEST(Film, UnevenTimesAreKeptToTheTick) {
  const Folder folder;
  const std::string file = folder.file("uneven.mp4");
  FilmOptions o;
  o.width = 320;
  o.height = 180;
  o.tick_numerator = 1;
  o.tick_denominator = 600;  // a phone's clock: 240 frames/s alternate 2 and 3 ticks
  std::vector<double> times;
  std::int64_t tick = 0;
  for (int k = 0; k < 60; ++k) {
    times.push_back(static_cast<double>(tick) / 600);
    tick += k % 7 == 0 ? 20 : 2 + k % 2;
  }
  film_of(file, o, times);
  const auto seen = reference_times(file);
  ASSERT_EQ(seen.size(), times.size());
  double worst = 0;
  for (std::size_t k = 0; k < times.size(); ++k) worst = std::max(worst, std::abs(seen[k] - times[k]));
  RecordProperty("worst_us", std::to_string(1e6 * worst));
  EXPECT_LT(worst, 1e-6);  // ffprobe prints microseconds
  EXPECT_EQ(probe(file, "-select_streams v -show_entries stream=codec_name,width,height,pix_fmt"),
            "h264,320,180,yuv420p");
  EXPECT_EQ(probe(file, "-select_streams v -show_entries stream=start_time"), "0.000000");
  EXPECT_EQ(left_in(fs::path(file).parent_path()), std::vector<std::string>{"uneven.mp4"});
}

TEST(Film, TimesOfAVariableClipComeThroughAgain) {
  const Folder folder;
  const std::string source = folder.file("vfr.mp4"), file = folder.file("again.mp4");
  make(
      "-f lavfi -i testsrc2=size=320x240:rate=30:duration=3 -vf \"select='not(eq(mod(n,5),3))'\" -fps_mode vfr "
      "-c:v libx264 -pix_fmt yuv420p",
      source);
  auto clip = Clip::open(source);
  ASSERT_TRUE(clip.has_value());
  FilmOptions o;
  take_clock(o, clip->info());
  o.width = 320;
  o.height = 240;
  auto film = Film::create(file, o);
  ASSERT_TRUE(film.has_value()) << film.error().what;
  while (auto frame = clip->next()) ASSERT_TRUE(film->add(frame->bgr(), frame->time).has_value());
  ASSERT_TRUE(film->finish().has_value());
  const auto before = reference_times(source), after = reference_times(file);
  ASSERT_EQ(before.size(), after.size());
  ASSERT_GT(before.size(), 60u);
  for (std::size_t k = 0; k < before.size(); ++k) EXPECT_NEAR(before[k], after[k], 1.5e-6) << k;
}

// The picture survives: compared with what ffmpeg decodes of the source, as peak signal-to-noise ratio.
TEST(Film, ColoursComeThrough) {
  const Folder folder;
  const std::string file = folder.file("colour.mp4");
  FilmOptions o;
  o.width = 64;
  o.height = 64;
  auto film = Film::create(file, o);
  ASSERT_TRUE(film.has_value());
  const cv::Scalar cloth(64, 115, 51);  // B, G, R
  for (int k = 0; k < 5; ++k) ASSERT_TRUE(film->add(cv::Mat(64, 64, CV_8UC3, cloth), k / 30.0).has_value());
  ASSERT_TRUE(film->finish().has_value());
  const Bytes rgb = reference_pixels(file, "rgb24");
  ASSERT_EQ(rgb.size(), 5u * 64 * 64 * 3);
  EXPECT_NEAR(rgb[0], 51, 4);
  EXPECT_NEAR(rgb[1], 115, 4);
  EXPECT_NEAR(rgb[2], 64, 4);
  EXPECT_EQ(probe(file, "-select_streams v -show_entries stream=color_space"), "bt709");
}

TEST(Film, NothingHalfWritten) {
  const Folder folder;
  FilmOptions o;
  o.width = o.height = 64;
  {
    auto film = Film::create(folder.file("never.mp4"), o);
    ASSERT_TRUE(film.has_value());
    ASSERT_TRUE(film->add(numbered(64, 64, 0), 0).has_value());
    EXPECT_FALSE(fs::exists(folder.file("never.mp4")));
  }
  EXPECT_TRUE(left_in(fs::path(folder.file("x")).parent_path()).empty());
  // An older film stays whole until the new one is.
  film_of(folder.file("old.mp4"), o, {0, 0.1, 0.2});
  const Bytes old = read_bytes(folder.file("old.mp4"));
  {
    auto film = Film::create(folder.file("old.mp4"), o);
    ASSERT_TRUE(film->add(numbered(64, 64, 9), 0).has_value());
  }
  EXPECT_EQ(read_bytes(folder.file("old.mp4")), old);
  EXPECT_FALSE(Film::create(folder.file("no/such/folder.mp4"), o).has_value());
  o.width = 63;
  EXPECT_FALSE(Film::create(folder.file("odd.mp4"), o).has_value());
  auto film = Film::create(folder.file("none.mp4"), FilmOptions{.width = 64, .height = 64});
  EXPECT_FALSE(film->finish().has_value()) << "a film without a picture";
}

// Ten seconds of picture, a click of sound each second.
std::string clip_with_clicks(const Folder& folder, const std::string& name, double delay,
                             const std::string& more = "") {
  const std::string file = folder.file(name);
  make(
      "-f lavfi -i testsrc2=size=320x240:rate=25:duration=12 -f lavfi -i "
      "\"aevalsrc='0.6*sin(2*PI*2200*t)*(between(mod(t-" +
          std::to_string(delay) + "+20,20),1,1.02)+between(mod(t-" + std::to_string(delay) +
          "+20,20),2.3,2.33)+between(mod(t-" + std::to_string(delay) + "+20,20),5.1,5.12)+between(mod(t-" +
          std::to_string(delay) + "+20,20),6.75,6.77))+0.002*random(0)':d=12:s=44100\" " + more +
          " -c:v libx264 -g 25 -pix_fmt yuv420p -c:a aac -shortest",
      file);
  return file;
}

TEST(Film, SoundIsCopiedInTime) {
  const Folder folder;
  const std::string source = clip_with_clicks(folder, "clicks.mp4", 0), file = folder.file("part.mp4");
  const auto clip = Clip::open(source);
  ASSERT_TRUE(clip.has_value());
  FilmOptions o;
  take_clock(o, clip->info());
  o.width = 320;
  o.height = 240;
  std::vector<double> times;
  for (int k = 0; k < 100; ++k) times.push_back(k / 25.0);
  film_of(file, o, times, {source, clip->info().starts_at, 2.0, 6.0});
  EXPECT_EQ(probe(file, "-select_streams a -show_entries stream=codec_name"), "aac");
  const auto loud = loudness_of(file, 0);
  ASSERT_TRUE(loud.has_value() && loud->has_value());
  // Clicks of the source at 2.3 and 5.1 s: here at 0.3 and 3.1 s.
  const auto first = std::max_element((**loud).begin(), (**loud).begin() + 1000) - (**loud).begin();
  const auto second = std::max_element((**loud).begin() + 2000, (**loud).end()) - (**loud).begin();
  EXPECT_NEAR(static_cast<double>(first), 300, 32);
  EXPECT_NEAR(static_cast<double>(second), 3100, 22);
}

TEST(Sound, TwoRecordingsAreLinedUp) {
  const Folder folder;
  const std::string one = clip_with_clicks(folder, "one.mp4", 0);
  // Two and a bit seconds later by its own clock, quieter, noisier.
  const std::string two = clip_with_clicks(folder, "two.mp4", 2.137, "-af volume=0.3");
  const auto a = loudness_of(one, Clip::open(one)->info().starts_at),
             b = loudness_of(two, Clip::open(two)->info().starts_at);
  ASSERT_TRUE(a && *a && b && *b);
  const auto lined = line_up(**a, **b);
  ASSERT_TRUE(lined.has_value());
  RecordProperty("shift_ms", std::to_string(1000 * lined->shift));
  EXPECT_NEAR(lined->shift, 2.137, 0.003);
  const auto back = line_up(**b, **a);
  ASSERT_TRUE(back.has_value());
  EXPECT_NEAR(back->shift, -2.137, 0.003);
}

TEST(Sound, WhatDoesNotBelongTogetherIsNotLinedUp) {
  const Folder folder;
  const std::string hum = folder.file("hum.mp4"), none = folder.file("none.mp4");
  make(
      "-f lavfi -i testsrc2=size=320x240:rate=25:duration=6 -f lavfi -i anoisesrc=d=6:a=0.1:seed=7 -c:v libx264 "
      "-pix_fmt yuv420p -c:a aac -shortest",
      hum);
  make("-f lavfi -i testsrc2=size=320x240:rate=25:duration=2 -c:v libx264 -pix_fmt yuv420p", none);
  const auto a = loudness_of(clip_with_clicks(folder, "one.mp4", 0), 0), b = loudness_of(hum, 0);
  ASSERT_TRUE(a && *a && b && *b);
  EXPECT_FALSE(line_up(**a, **b).has_value());
  EXPECT_FALSE(line_up(std::vector<float>(5000, 0.0F), **a).has_value()) << "silence";
  const auto silent = loudness_of(none, 0);
  ASSERT_TRUE(silent.has_value());
  EXPECT_FALSE(silent->has_value()) << "no sound stream";
}

TEST(PlainCopy, FromTheKeyFrameBefore) {
  const Folder folder;
  const std::string source = clip_with_clicks(folder, "source.mp4", 0), file = folder.file("copy.mp4");
  const auto clip = Clip::open(source);
  ASSERT_TRUE(clip.has_value());
  const auto copied = copy_plain(clip->info(), 2.5, 6.0, file, false);
  ASSERT_TRUE(copied.has_value()) << copied.error().what;
  EXPECT_NEAR(copied->from, 2.0, 1e-6);  // key frames every second (-g 25)
  EXPECT_NEAR(copied->to, 6.0, 0.17);  // B pictures lean on up to three later ones
  const auto all = reference_times(source), part = reference_times(file);
  ASSERT_EQ(part.size(), static_cast<std::size_t>(copied->pictures));
  // The same pictures, bit for bit, as ffmpeg decodes them.
  const Bytes source_pixels = reference_pixels(source, "gray"), copy_pixels = reference_pixels(file, "gray");
  const std::size_t one = 320 * 240, skip = 50;
  ASSERT_GE(copy_pixels.size(), 100 * one);
  EXPECT_TRUE(std::equal(copy_pixels.begin(), copy_pixels.begin() + 100 * one, source_pixels.begin() + skip * one));
  // Up to the end asked for; of what others lean on beyond it, not every picture is there.
  for (std::size_t k = 0; k < part.size() && part[k] <= 4.0; ++k)
    EXPECT_NEAR(part[k], all[k + skip] - all[skip], 1.5e-6);
  EXPECT_EQ(probe(file, "-select_streams a -show_entries stream=codec_name"), "aac");
  const auto muted = copy_plain(clip->info(), 2.5, 6.0, folder.file("muted.mp4"), true);
  ASSERT_TRUE(muted.has_value());
  EXPECT_EQ(probe(folder.file("muted.mp4"), "-select_streams a -show_entries stream=codec_name"), "");
}

TEST(PlainCopy, KeepsTheRotation) {
  const Folder folder;
  const std::string plain = folder.file("plain.mp4"), source = folder.file("turned.mp4"),
                    file = folder.file("copy.mp4");
  make("-f lavfi -i testsrc2=size=320x240:rate=25:duration=4 -c:v libx264 -g 25 -pix_fmt yuv420p", plain);
  Bytes bytes = read_bytes(plain);
  set_display_matrix(bytes, 0, 1, -1, 0);  // 90 degrees clockwise
  write_bytes(source, bytes);
  const auto clip = Clip::open(source);
  ASSERT_TRUE(clip.has_value());
  ASSERT_NE(clip->info().turn, Turn::none);
  ASSERT_TRUE(copy_plain(clip->info(), 1.2, 3.0, file, false).has_value());
  const auto copy = Clip::open(file);
  ASSERT_TRUE(copy.has_value());
  EXPECT_EQ(copy->info().turn, clip->info().turn);
  EXPECT_EQ(copy->info().width, 240);
}

}  // namespace
}  // namespace baizetrace::video
