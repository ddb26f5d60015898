// Files that are cut, damaged or not what they seem: never a silent answer.
#include <algorithm>
#include <random>
#include <set>

#include "video/clip.hpp"
#include "video/made_clip.hpp"

namespace baizetrace::video {
namespace {

const std::string kNoisy =
    "-f lavfi -i testsrc2=size=320x180:rate=30:duration=4 -vf noise=alls=12:allf=t,format=yuv420p -c:v libx264 -preset "
    "veryfast "
    "-g 30 -b:v 3M ";

std::string error_of(const std::string& file) {
  const auto clip = Clip::open(file);
  return clip ? "opened" : clip.error().what;
}

struct Told {
  std::vector<double> times;
  std::vector<int> trouble;  // 0 sound, 1 doubtful, 2 damaged
  std::vector<cv::Mat> luma;
  ClipEnd end;
};
Told read_all(const std::string& file, int threads = 2) {
  Told out;
  auto clip = Clip::open(file, {.threads = threads});
  if (!clip) {
    ADD_FAILURE() << clip.error().what;
    return out;
  }
  while (auto f = clip->next()) {
    out.times.push_back(f->time);
    out.trouble.push_back(f->damaged ? 2 : f->doubtful ? 1 : 0);
    out.luma.push_back(f->luma);
  }
  out.end = clip->end();
  return out;
}

TEST(Damage, NothingIsSilentInATruncationSweep) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string whole = folder.file("whole.mp4"), cut = folder.file("cut.mp4");
  make(kNoisy + "-movflags +faststart", whole);
  const Bytes bytes = read_bytes(whole);
  const std::size_t all = reference_times(whole).size();
  const Told sound = read_all(whole);
  ASSERT_TRUE(sound.end.complete) << sound.end.why;
  std::size_t before = 0;
  for (int percent = 1; percent < 100; ++percent) {
    write_bytes(cut, Bytes(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(
                                                              bytes.size() * static_cast<std::size_t>(percent) / 100)));
    auto clip = Clip::open(cut);
    if (!clip) {
      EXPECT_NE(clip.error().what.find("cut"), std::string::npos) << clip.error().what;
      continue;
    }
    std::size_t frames = 0;
    while (clip->next()) ++frames;
    EXPECT_FALSE(clip->end().complete) << percent << " %";
    EXPECT_NE(clip->end().why.find("cut short"), std::string::npos) << clip->end().why;
    EXPECT_GE(frames, before);
    EXPECT_LT(frames, all + 1);
    before = frames;
  }
  EXPECT_GT(before, all * 9 / 10) << "what is there is read";
  // The last byte alone.
  write_bytes(cut, Bytes(bytes.begin(), bytes.end() - 1));
  EXPECT_FALSE(read_all(cut).end.complete);
}

TEST(Damage, TheCutIsNamedInSeconds) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string whole = folder.file("whole.mp4"), cut = folder.file("cut.mp4");
  make(kNoisy + "-movflags +faststart", whole);
  Bytes bytes = read_bytes(whole);
  bytes.resize(bytes.size() / 2);
  write_bytes(cut, bytes);
  const Told told = read_all(cut);
  ASSERT_FALSE(told.times.empty());
  EXPECT_EQ(told.end.why, fmt::format("the file ends at {:.2f} s of 4.00 s: it was cut short", told.times.back()));
}

// The frames that differ from the undamaged file's are known exactly; the decoder's complaints name some, and what is
// predicted from those is doubtful. A flipped bit can decode to another valid picture: hence the share.
constexpr double kToldShare = 0.90;

TEST(Damage, FlippedBitsAreToldTheSameOnAnyNumberOfThreads) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string whole = folder.file("whole.mp4"), flipped = folder.file("flipped.mp4");
  make(kNoisy, whole);
  const Told sound = read_all(whole);
  EXPECT_EQ(std::count(sound.trouble.begin(), sound.trouble.end(), 0), static_cast<long>(sound.times.size()));
  const Bytes bytes = read_bytes(whole);
  const std::size_t mdat = find_box(bytes, "mdat");
  ASSERT_GT(mdat, 4u);
  std::size_t size = 0;
  for (std::size_t i = 0; i < 4; ++i) size = size << 8 | bytes[mdat - 4 + i];
  int differ = 0, told_of_them = 0, damaged = 0;
  for (unsigned seed = 1; seed <= 3; ++seed) {
    std::mt19937 random(seed);
    Bytes broken = bytes;
    for (int i = 0; i < 8; ++i) {
      const std::size_t at = mdat + 2000 + random() % (size - 2100);
      broken[at] = static_cast<std::uint8_t>(broken[at] ^ (1u << (random() % 8)));
    }
    write_bytes(flipped, broken);
    const Told one = read_all(flipped, 1);
    for (const int threads : {2, 4})
      EXPECT_EQ(read_all(flipped, threads).trouble, one.trouble) << threads << " threads";
    ASSERT_EQ(one.times, sound.times);
    for (std::size_t i = 0; i < one.times.size(); ++i) {
      damaged += one.trouble[i] == 2;
      if (cv::norm(one.luma[i], sound.luma[i], cv::NORM_INF) == 0) continue;
      ++differ;
      told_of_them += one.trouble[i] > 0;
    }
  }
  EXPECT_GT(differ, 30);
  EXPECT_GE(damaged, 10);
  EXPECT_GE(told_of_them, kToldShare * differ) << told_of_them << " of " << differ;
  RecordProperty("told", fmt::format("{} of {}", told_of_them, differ));
}

TEST(Damage, EveryWrongFileHasItsLine) {
  const Folder folder;
  EXPECT_EQ(error_of(folder.file("none.mp4")), folder.file("none.mp4") + ": no such file");
  EXPECT_NE(error_of(folder.file("")).find("is a folder, expected a video"), std::string::npos);
  write_bytes(folder.file("empty.mp4"), {});
  EXPECT_EQ(error_of(folder.file("empty.mp4")), folder.file("empty.mp4") + ": is empty, expected a video");
  const std::string words = "twenty balls take ten to fifteen minutes\n";
  write_bytes(folder.file("notes.mp4"), Bytes(words.begin(), words.end()));
  EXPECT_EQ(error_of(folder.file("notes.mp4")),
            folder.file("notes.mp4") + ": not a video (expected MP4, MOV, MKV or AVI)");
  // A play list is no video: it could point anywhere.
  const std::string list = "#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\nhttp://127.0.0.1:9/a.ts\n";
  write_bytes(folder.file("list.mp4"), Bytes(list.begin(), list.end()));
  EXPECT_NE(error_of(folder.file("list.mp4")).find("not a video"), std::string::npos);
}

TEST(Damage, AMissingIndexAndSoundAloneHaveTheirLines) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string whole = folder.file("whole.mp4"), cut = folder.file("cut.mp4");
  make(kNoisy, whole);  // the index comes last, as phones write it
  Bytes bytes = read_bytes(whole);
  bytes.resize(bytes.size() * 6 / 10);
  write_bytes(cut, bytes);
  EXPECT_NE(error_of(cut).find("its index is missing: the recording was not closed properly"), std::string::npos)
      << error_of(cut);
  EXPECT_NE(error_of(cut).find("copy it again from the phone"), std::string::npos);
  make("-f lavfi -i sine=duration=1 -c:a aac", folder.file("sound.mp4"));
  EXPECT_NE(error_of(folder.file("sound.mp4")).find("no video in it"), std::string::npos);
  make("-f lavfi -i testsrc2=size=64x48 -frames:v 1", folder.file("picture.png"));
  EXPECT_NE(error_of(folder.file("picture.png")).find("not a video"), std::string::npos);
}

// The sample's index comes first: a copy that broke off at 60 % still opens, and says where it ends.
TEST(Damage, TheSampleCutAtThreeFifthsIsReadUpToTheCut) {
  const Folder folder;
  const std::string whole = std::string(BAIZETRACE_SOURCE) + "/samples/green-for-brown.mp4",
                    cut = folder.file("cut.mp4");
  Bytes bytes = read_bytes(whole);
  ASSERT_FALSE(bytes.empty()) << whole;
  bytes.resize(bytes.size() * 6 / 10);
  write_bytes(cut, bytes);
  auto clip = Clip::open(cut);
  ASSERT_TRUE(clip) << clip.error().what;
  int frames = 0;
  double last = 0;
  while (const auto f = clip->next()) ++frames, last = f->time;
  const ClipEnd& end = clip->end();
  EXPECT_FALSE(end.complete);
  EXPECT_NE(end.why.find("cut short"), std::string::npos) << end.why;
  EXPECT_EQ(end.frames, frames);
  EXPECT_EQ(end.last_time, last);
  EXPECT_GT(frames, clip->info().expected_frames / 2);
  EXPECT_LT(frames, clip->info().expected_frames);
}

TEST(Damage, AnIndexUnderAnotherNameIsMissing) {
  const Folder folder;
  const std::string file = folder.file("clip.mp4");
  Bytes bytes = read_bytes(std::string(BAIZETRACE_SOURCE) + "/samples/green-for-brown.mp4");
  const std::size_t moov = find_box(bytes, "moov");
  ASSERT_GT(moov, 0u);
  const std::string other = "free";
  std::copy(other.begin(), other.end(), bytes.begin() + static_cast<std::ptrdiff_t>(moov));
  write_bytes(file, bytes);
  const std::string what = error_of(file);
  EXPECT_EQ(what.find(file + ": its index is missing"), 0u) << what;
  EXPECT_EQ(what.find('\n'), std::string::npos) << "one line";
}

TEST(Damage, MirroredAndSkewedPicturesAreRefused) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string file = folder.file("clip.mp4");
  make("-f lavfi -i testsrc2=size=64x48:rate=30:duration=0.2 -pix_fmt yuv420p -c:v libx264", file);
  Bytes bytes = read_bytes(file);
  set_display_matrix(bytes, -1, 0, 0, 1);
  write_bytes(file, bytes);
  EXPECT_NE(error_of(file).find("the picture is mirrored"), std::string::npos) << error_of(file);
  set_display_matrix(bytes, 0.7071, 0.7071, -0.7071, 0.7071);
  write_bytes(file, bytes);
  EXPECT_NE(error_of(file).find("to be turned by"), std::string::npos) << error_of(file);
  EXPECT_NE(error_of(file).find("expected 0, 90, 180 or 270"), std::string::npos);
}

TEST(Damage, AChangedPictureSizeEndsTheClipWithItsReason) {
  NEEDS_ENCODER("libx264");
  const Folder folder;
  const std::string tail = ":rate=30:duration=0.5 -pix_fmt yuv420p -c:v libx264";
  make("-f lavfi -i testsrc2=size=192x108" + tail, folder.file("a.ts"));
  make("-f lavfi -i testsrc2=size=320x180" + tail, folder.file("b.ts"));
  Bytes joined = read_bytes(folder.file("a.ts"));
  const Bytes more = read_bytes(folder.file("b.ts"));
  joined.insert(joined.end(), more.begin(), more.end());
  write_bytes(folder.file("joined.ts"), joined);
  const Told told = read_all(folder.file("joined.ts"));
  EXPECT_EQ(told.times.size(), 15u);
  EXPECT_FALSE(told.end.complete);
  EXPECT_NE(told.end.why.find("the picture changes from 192x108 to 320x180"), std::string::npos) << told.end.why;
}

}  // namespace
}  // namespace baizetrace::video
