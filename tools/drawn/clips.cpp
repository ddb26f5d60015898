#include "drawn/clips.hpp"

#include "base/files.hpp"
#include "drawn/encode.hpp"
#include "drawn/film.hpp"
#include "drawn/truth.hpp"

namespace baizetrace::drawn {

namespace {
constexpr int kFrames = 10;
constexpr double kEvery = 1;  // s
}  // namespace

Result<Scene> draw_registration_clip(unsigned seed, const Wishes& wishes, const std::string& file, std::string& what) {
  Scene scene = random_scene(seed, wishes, what);
  const Recording& r = scene.recording;
  auto encoder =
      Encoder::open(file, scene.optics.width, scene.optics.height, {r.codec, r.quality, r.speed, r.rotation, 60});
  if (!encoder) return pass_on(encoder);
  Film film(scene);
  for (int i = 0; i < kFrames; ++i) {
    scene.times.push_back(i * kEvery);
    const Picture p = film.take(i * kEvery);
    if (auto put = encoder->put(p.luma, p.cb, p.cr, i * kEvery); !put) return pass_on(put);
  }
  if (auto closed = encoder->close(); !closed) return pass_on(closed);
  return scene;
}

Result<Done> draw_story(const Story& story, const std::string& file) {
  const Scene& scene = story.scene;
  const Recording& r = scene.recording;
  auto encoder = Encoder::open(file + ".mp4", scene.optics.width, scene.optics.height,
                               {r.codec, r.quality, r.speed, r.rotation, static_cast<int>(2 * r.rate)});
  if (!encoder) return pass_on(encoder);
  Film film(scene);
  TruthWriter truth(story);
  for (const double pts : scene.times) {
    const Picture p = film.take(pts);
    truth.add(pts, p);
    if (auto put = encoder->put(p.luma, p.cb, p.cr, pts); !put) return put;
  }
  if (auto closed = encoder->close(); !closed) return closed;
  if (auto written = write_atomically(file + ".truth.json", truth.truth()); !written) return written;
  return write_atomically(file + ".setup.json", truth.setup());
}

}  // namespace baizetrace::drawn
