// Clips against the ffmpeg and ffprobe programs' own decoding of the same small files (the outside reference).
#include "video/clip.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "video/made_clip.hpp"

namespace baizetrace::video {
namespace {

constexpr double kTimeError = 1e-6;  // s: ffprobe prints six decimals

struct Seen {
  std::vector<Frame> frames;
  ClipInfo info;
  ClipEnd end;
};

Seen read_all(const std::string& file, const ClipOptions& options = {}) {
  auto clip = Clip::open(file, options);
  Seen out;
  if (!clip) {
    ADD_FAILURE() << clip.error().what;
    return out;
  }
  out.info = clip->info();
  while (auto f = clip->next()) out.frames.push_back(std::move(*f));
  out.end = clip->end();
  return out;
}

// What a parameterised test is called.
const auto called = [](const auto& test) {
  if constexpr (requires { test.param.name; })
    return std::string(test.param.name);
  else
    return std::string(test.param);
};

void expect_times(const Seen& seen, const std::string& file) {
  const std::vector<double> times = reference_times(file);
  ASSERT_EQ(seen.frames.size(), times.size());
  double worst = 0;
  for (std::size_t i = 0; i < times.size(); ++i) worst = std::max(worst, std::abs(seen.frames[i].time - times[i]));
  EXPECT_LE(worst, kTimeError);
  for (std::size_t i = 0; i < times.size(); ++i) EXPECT_EQ(seen.frames[i].index, static_cast<int>(i));
}

// Compares all planes with raw 4:2:0 bytes; the largest difference.
int worst_difference(const Seen& seen, const Bytes& raw) {
  if (seen.frames.empty()) return 999;
  const int w = seen.info.width, h = seen.info.height, cw = (w + 1) / 2, ch = (h + 1) / 2;
  const std::size_t size = static_cast<std::size_t>(w * h + 2 * cw * ch);
  EXPECT_EQ(raw.size(), size * seen.frames.size());
  if (raw.size() != size * seen.frames.size()) return 999;
  int worst = 0;
  const std::uint8_t* p = raw.data();
  for (const Frame& f : seen.frames)
    for (const cv::Mat* plane : {&f.luma, &f.cb, &f.cr})
      for (int y = 0; y < plane->rows; ++y)
        for (int x = 0; x < plane->cols; ++x)
          worst = std::max(worst, std::abs(int{plane->at<uchar>(y, x)} - int{*p++}));
  return worst;
}

// 24 frames of a moving test card with noise, so that every frame and every row differs.
const std::string kCard = "-f lavfi -i testsrc2=size=192x108:rate=30:duration=0.8 -vf noise=alls=8:allf=t,format=";
const std::string kPlain = "yuv420p -c:v libx264 -preset veryfast -g 12 -bf 2";

struct Case {
  const char* name;
  std::string arguments;
  const char* encoder;
  const char* ending;
  friend std::ostream& operator<<(std::ostream& out, const Case& c) { return out << c.arguments; }
};
class EveryStream : public testing::TestWithParam<Case> {};

TEST_P(EveryStream, GivesTheReferencesPixelsAndTimes) {
  const Case& c = GetParam();
  NEEDS_ENCODER(c.encoder);
  const Folder folder;
  const std::string file = folder.file(std::string("clip.") + c.ending);
  make(c.arguments, file);
  const Seen seen = read_all(file);
  expect_times(seen, file);
  EXPECT_EQ(worst_difference(seen, reference_pixels(file, "yuv420p")), 0);
  EXPECT_TRUE(seen.end.complete) << seen.end.why;
  EXPECT_EQ(seen.end.damaged + seen.end.doubtful + seen.end.repeated, 0);
  EXPECT_EQ(seen.end.frames, static_cast<int>(seen.frames.size()));
}

INSTANTIATE_TEST_SUITE_P(
    Video, EveryStream,
    testing::Values(
        Case{"h264", kCard + kPlain, "libx264", "mp4"},
        Case{"hevc", kCard + "yuv420p -c:v libx265 -preset ultrafast -x265-params log-level=none", "libx265", "mp4"},
        Case{"odd_size",
             "-f lavfi -i testsrc2=size=95x53:rate=30:duration=0.4 -vf noise=alls=8:allf=t,format=yuv420p -c:v ffv1",
             "ffv1", "mkv"},
        // Uneven frame intervals, on ticks of 1/600 s as one maker's files have them.
        Case{"uneven_times",
             "-f lavfi -i testsrc2=size=192x108:rate=60:duration=1 -vf "
             "\"noise=alls=8:allf=t,select='gt(mod(n,7),0)*gt(mod(n,11),1)'\" -fps_mode passthrough "
             "-video_track_timescale 600 "
             "-pix_fmt yuv420p -c:v libx264 -preset veryfast",
             "libx264", "mp4"},
        Case{"late_start", kCard + kPlain + " -output_ts_offset 3.7", "libx264", "mp4"},
        Case{"matroska", kCard + kPlain, "libx264", "mkv"},
        Case{"avi", kCard + "yuv420p -c:v libx264 -bf 0", "libx264", "avi"},
        Case{"fragmented", kCard + kPlain + " -movflags frag_keyframe+empty_moov", "libx264", "mp4"},
        Case{"transport_stream", kCard + kPlain, "libx264", "ts"},
        Case{"with_sound", "-f lavfi -i sine=duration=0.8 " + kCard + kPlain + " -c:a aac", "libx264", "mp4"},
        Case{"nv12", kCard + "nv12 -c:v rawvideo", "rawvideo", "nut"}),
    called);

TEST(Clip, TenBitsComeDownToEight) {
  NEEDS_ENCODER("libx265");
  const Folder folder;
  const std::string file = folder.file("ten.mp4");
  make(kCard +
           "yuv420p10le -c:v libx265 -preset ultrafast -x265-params log-level=none -color_trc arib-std-b67 -colorspace "
           "bt2020nc -color_range tv",
       file);
  const Seen seen = read_all(file);
  EXPECT_EQ(seen.info.bit_depth, 10);
  EXPECT_EQ(seen.info.transfer, "arib-std-b67");
  EXPECT_EQ(seen.info.matrix, "bt2020nc");
  EXPECT_EQ(seen.info.range, "limited");
  expect_times(seen, file);
  const Bytes raw = reference_pixels(file, "yuv420p10le");
  ASSERT_EQ(raw.size(), seen.frames.size() * 192 * 108 * 3);
  const std::uint8_t* p = raw.data();
  int worst = 0;
  for (const Frame& f : seen.frames) {
    EXPECT_EQ(f.matrix, Matrix::bt2020);
    for (const cv::Mat* plane : {&f.luma, &f.cb, &f.cr})
      for (int y = 0; y < plane->rows; ++y)
        for (int x = 0; x < plane->cols; ++x, p += 2)
          worst = std::max(worst, std::abs(4 * int{plane->at<uchar>(y, x)} - std::min(p[0] | p[1] << 8, 4 * 255)));
  }
  EXPECT_LE(worst, 2);  // a quarter step of 8 bits, rounded to the nearest
}

// 4:2:2 and 4:4:4 chroma: the mean of the samples under each 4:2:0 sample.
struct Finer {
  const char *name, *stored, *encoder, *ending, *same;  // `same`: a planar format that holds the same samples
};
class FinerChroma : public testing::TestWithParam<Finer> {};
TEST_P(FinerChroma, IsAveraged) {
  const Finer& c = GetParam();
  NEEDS_ENCODER(c.encoder);
  const Folder folder;
  const std::string file = folder.file(std::string("clip.") + c.ending), format = c.same;
  make(kCard + c.stored + " -c:v " + c.encoder, file);
  const Seen seen = read_all(file);
  expect_times(seen, file);
  const Bytes raw = reference_pixels(file, format);
  const int w = 192, h = 108, cw = format == "yuv444p" ? w : w / 2;
  ASSERT_EQ(raw.size(), seen.frames.size() * static_cast<std::size_t>(w * h + 2 * cw * h));
  const std::uint8_t* p = raw.data();
  double worst_luma = 0, worst_chroma = 0;
  for (const Frame& f : seen.frames) {
    for (int y = 0; y < h; ++y)
      for (int x = 0; x < w; ++x) worst_luma = std::max(worst_luma, std::abs(1.0 * f.luma.at<uchar>(y, x) - *p++));
    for (const cv::Mat* plane : {&f.cb, &f.cr}) {
      ASSERT_EQ(plane->size(), cv::Size(w / 2, h / 2));
      for (int y = 0; y < h / 2; ++y)
        for (int x = 0; x < w / 2; ++x) {
          const int wide = cw / (w / 2);
          double sum = 0;
          for (int j = 0; j < 2; ++j)
            for (int i = 0; i < wide; ++i) sum += p[(2 * y + j) * cw + wide * x + i];
          worst_chroma = std::max(worst_chroma, std::abs(plane->at<uchar>(y, x) - sum / (2 * wide)));
        }
      p += cw * h;
    }
  }
  EXPECT_EQ(worst_luma, 0);
  EXPECT_LE(worst_chroma, 0.5);
}
INSTANTIATE_TEST_SUITE_P(Video, FinerChroma,
                         testing::Values(Finer{"h264_422", "yuv422p", "libx264", "mp4", "yuv422p"},
                                         Finer{"h264_444", "yuv444p", "libx264", "mp4", "yuv444p"},
                                         Finer{"packed_422", "uyvy422", "rawvideo", "nut", "yuv422p"}),
                         called);

TEST(Clip, FullRangeIsBroughtToTheLimitedRange) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string file = folder.file("full.mp4");
  make(kCard + "yuvj420p -c:v libx264 -preset veryfast -color_range pc", file);
  const Seen seen = read_all(file);
  EXPECT_EQ(seen.info.range, "full");
  const Bytes raw = reference_pixels(file, "yuvj420p");
  const std::uint8_t* p = raw.data();
  ASSERT_EQ(raw.size(), seen.frames.size() * 192 * 108 * 3 / 2);
  double worst = 0;
  for (const Frame& f : seen.frames)
    for (const cv::Mat* plane : {&f.luma, &f.cb, &f.cr})
      for (int y = 0; y < plane->rows; ++y)
        for (int x = 0; x < plane->cols; ++x, ++p) {
          // ITU-R BT.709, quantisation of luma and colour differences
          const double limited = plane == &f.luma ? 16 + *p * 219 / 255.0 : 128 + (*p - 128) * 224 / 255.0;
          worst = std::max(worst, std::abs(plane->at<uchar>(y, x) - limited));
        }
  EXPECT_LE(worst, 0.5 + 1e-9);
}

TEST(Clip, RedGreenBlueSourcesAreReadToo) {
  NEEDS_ENCODER("libx264rgb");
  const Folder folder;
  const std::string file = folder.file("rgb.mp4");
  make("-f lavfi -i color=red:size=64x48:rate=30:duration=0.2 -c:v libx264rgb -qp 0 -pix_fmt bgr24", file);
  const Seen seen = read_all(file);
  ASSERT_EQ(seen.frames.size(), 6u);
  // Full red in BT.709's limited range: Y = 16 + 219 Kr, Cb = 128 - 224 Kr / (2 (1 - Kb)), Cr = 240.
  EXPECT_NEAR(seen.frames[0].luma.at<uchar>(20, 20), 63, 1);
  EXPECT_NEAR(seen.frames[0].cb.at<uchar>(10, 10), 102, 1);
  EXPECT_NEAR(seen.frames[0].cr.at<uchar>(10, 10), 240, 1);
}

struct Turned {
  const char* name;
  double a, b, c, d;  // of the display matrix
  Turn turn;
};
class EveryTurn : public testing::TestWithParam<Turned> {};

// The stored picture's luma is 16 + its row, so that every upright pixel tells the row that it was exposed with.
TEST_P(EveryTurn, IsUprightAndKnowsItsRows) {
  NEEDS_ENCODER("libx264");
  const Turned& t = GetParam();
  const Folder folder;
  const std::string file = folder.file("turned.mp4");
  make(
      "-f lavfi -i color=black:size=160x96:rate=30:duration=0.2 -vf "
      "\"format=yuv420p,geq=lum='16+Y':cb='100+X/8':cr='100+Y/8'\""
      " -c:v libx264 -qp 0",
      file);
  Bytes bytes = read_bytes(file);
  set_display_matrix(bytes, t.a, t.b, t.c, t.d);
  write_bytes(file, bytes);
  const Seen seen = read_all(file);
  ASSERT_FALSE(seen.frames.empty());
  EXPECT_EQ(seen.info.turn, t.turn);
  const bool swapped = t.a == 0;
  EXPECT_EQ(seen.info.width, swapped ? 96 : 160);
  EXPECT_EQ(seen.info.height, swapped ? 160 : 96);
  const Frame& f = seen.frames.front();
  EXPECT_EQ(f.width(), seen.info.width);
  EXPECT_EQ(f.cb.size(), cv::Size(f.width() / 2, f.height() / 2));
  double worst = 0;
  for (int y = 0; y < f.height(); ++y)
    for (int x = 0; x < f.width(); ++x)
      worst = std::max(worst, std::abs(f.row_share(Vec2(x, y)) - (f.luma.at<uchar>(y, x) - 16 + 0.5) / 96));
  EXPECT_LE(worst, 1e-12);
  EXPECT_EQ(worst_difference(seen, reference_pixels(file, "yuv420p")), 0) << "ffmpeg turns it another way";
}
INSTANTIATE_TEST_SUITE_P(Video, EveryTurn,
                         testing::Values(Turned{"none", 1, 0, 0, 1, Turn::none},
                                         Turned{"clockwise", 0, 1, -1, 0, Turn::clockwise_90},
                                         Turned{"half", -1, 0, 0, -1, Turn::half},
                                         Turned{"counter_clockwise", 0, -1, 1, 0, Turn::counter_clockwise_90}),
                         called);

TEST(Clip, CutByAnEditListShowsTheCutAlone) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string whole = folder.file("whole.mp4"), cut = folder.file("cut.mp4");
  make("-f lavfi -i testsrc2=size=192x108:rate=30:duration=4 -vf noise=alls=8:allf=t,format=" + kPlain + " -g 60",
       whole);
  make("-ss 1.3 -i '" + whole + "' -c copy -t 1.5", cut);
  const Seen seen = read_all(cut);
  expect_times(seen, cut);
  EXPECT_EQ(worst_difference(seen, reference_pixels(cut, "yuv420p")), 0);
  EXPECT_TRUE(seen.end.complete) << seen.end.why;
  EXPECT_EQ(seen.info.expected_frames, seen.end.frames);
  EXPECT_LT(seen.end.frames, 50) << "the cut's 45 frames, not those back to the key frame";
}

TEST(Clip, StretchedSlowMotionIsBroughtToTrueTime) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string slow = folder.file("slow.mp4"), plain = folder.file("plain.mp4");
  make(kCard + kPlain + " -metadata com.android.capture.fps=120 -movflags use_metadata_tags", slow);
  make(kCard + kPlain + " -metadata com.android.capture.fps=31 -movflags use_metadata_tags", plain);
  const Seen stretched = read_all(slow), ordinary = read_all(plain);
  EXPECT_DOUBLE_EQ(stretched.info.time_scale, 0.25);
  EXPECT_NEAR(stretched.end.last_time, 23 / 120.0, kTimeError);
  EXPECT_NEAR(stretched.info.duration, 0.2, 1e-3);
  EXPECT_DOUBLE_EQ(ordinary.info.time_scale, 1);
  EXPECT_NEAR(ordinary.end.last_time, 23 / 30.0, kTimeError);
}

TEST(Clip, RepeatedFramesAreFlagged) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string file = folder.file("twice.mp4");
  make(
      "-f lavfi -i testsrc2=size=192x108:rate=15:duration=1 -vf noise=alls=8:allf=t,fps=30,format=yuv420p -c:v libx264 "
      "-qp 0 -preset veryfast",
      file);
  const Seen seen = read_all(file);
  ASSERT_EQ(seen.frames.size(), 30u);
  for (const Frame& f : seen.frames) EXPECT_EQ(f.repeated, f.index % 2 == 1) << f.index;
  EXPECT_EQ(seen.end.repeated, 15);
}

TEST(Clip, SeekingIsExactAndForgetsNothing) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string file = folder.file("long.mp4");
  make(
      "-f lavfi -i testsrc2=size=192x108:rate=30:duration=3 -vf \"noise=alls=8:allf=t,select='gt(mod(n,5),0)'\" "
      "-fps_mode passthrough -pix_fmt " +
          kPlain + " -bf 3 -g 40",
      file);
  const Seen seen = read_all(file);
  auto clip = Clip::open(file);
  ASSERT_TRUE(clip);
  // Forward, backward and about; each frame's own time, and a time between two frames.
  const int n = static_cast<int>(seen.frames.size());
  for (int k = 0; k < n; ++k) {
    const int i = (k * 29 + 7) % n;
    const Frame& expected = seen.frames[static_cast<std::size_t>(i)];
    ASSERT_TRUE(clip->seek(expected.time - (k % 2 ? 0.01 : 0)));
    for (int j = i; j < std::min(n, i + 3); ++j) {
      const auto f = clip->next();
      ASSERT_TRUE(f);
      const Frame& same = seen.frames[static_cast<std::size_t>(j)];
      ASSERT_EQ(f->time, same.time);
      ASSERT_EQ(f->index, same.index);
      ASSERT_EQ(cv::norm(f->luma, same.luma, cv::NORM_INF), 0);
      ASSERT_EQ(f->repeated, same.repeated);
    }
  }
  ASSERT_TRUE(clip->seek(100));
  EXPECT_FALSE(clip->next());
  ASSERT_TRUE(clip->seek(0));
  int frames = 0;
  while (clip->next()) ++frames;
  EXPECT_EQ(frames, n);
  EXPECT_TRUE(clip->end().complete) << clip->end().why;
}

TEST(Clip, ReadingAheadAndThreadsChangeNothing) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string file = folder.file("clip.mp4");
  make(kCard + kPlain, file);
  const Seen a = read_all(file, {.threads = 1, .read_ahead = false}),
             b = read_all(file, {.threads = 3, .read_ahead = true});
  ASSERT_EQ(a.frames.size(), b.frames.size());
  for (std::size_t i = 0; i < a.frames.size(); ++i) {
    EXPECT_EQ(a.frames[i].time, b.frames[i].time);
    EXPECT_EQ(cv::norm(a.frames[i].luma, b.frames[i].luma, cv::NORM_INF), 0);
  }
}

TEST(Clip, PlanesOutliveTheirFrameAndTheirClip) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string file = folder.file("clip.mp4");
  make(kCard + kPlain, file);
  std::vector<cv::Mat> shared, copied;
  {
    auto clip = Clip::open(file);
    ASSERT_TRUE(clip);
    while (auto f = clip->next()) {
      shared.push_back(f->luma);
      copied.push_back(f->luma.clone());
    }
  }
  ASSERT_EQ(shared.size(), 24u);
  for (std::size_t i = 0; i < shared.size(); ++i) EXPECT_EQ(cv::norm(shared[i], copied[i], cv::NORM_INF), 0) << i;
}

TEST(Clip, LeftHalfReadEndsCleanly) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string file = folder.file("clip.mp4");
  make(kCard + kPlain, file);
  for (int frames = 0; frames < 6; ++frames) {
    auto clip = Clip::open(file);
    ASSERT_TRUE(clip);
    for (int i = 0; i < frames; ++i) ASSERT_TRUE(clip->next());
    EXPECT_FALSE(clip->end().complete) << "pessimistic until the end is read";
  }
}

}  // namespace
}  // namespace baizetrace::video
