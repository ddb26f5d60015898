// draw_clip: writes clips with exact truth, all from a seed.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "base/files.hpp"
#include "drawn/clips.hpp"
#include "drawn/film.hpp"
#include "drawn/random_scene.hpp"

using namespace baizetrace;

int main(int argc, char** argv) {
  CLI::App app{"draws clips of a table, with exact truth beside them"};
  unsigned seed = 1;
  std::string out = ".";
  double at = 1;
  auto* still = app.add_subcommand("still", "one picture of a registration scene, as PNG");
  still->add_option("--seed", seed);
  still->add_option("--at", at);
  still->add_option("-o", out);
  std::string folder = ".";
  int count = 1;
  drawn::Wishes wishes;
  bool open = false;
  for (const char* kind : {"shot", "session"}) {
    auto* clip =
        app.add_subcommand(kind, std::string(kind) == "shot" ? "clips of one attempt each"
                                                             : "clips of several attempts with what comes between");
    clip->add_option("--seed", seed, "first seed");
    clip->add_option("--count", count, "how many, seeds in a row");
    clip->add_option("-o", folder, "folder for NAME.mp4, NAME.truth.json, NAME.setup.json");
    clip->add_option("--most-pixels", wishes.most_pixels, "no picture larger than this");
    clip->add_option("--steepest", wishes.steepest, "degrees of the view off the vertical");
    clip->add_flag("--nothing-hidden", open, "no pocket, end or strip out of sight");
    if (std::string(kind) == "shot")
      clip->add_flag("--passer", wishes.passer, "a ball that was bumped is on its way when the white is struck");
  }
  app.require_subcommand(1);
  CLI11_PARSE(app, argc, argv);
  set_data_folder(BAIZETRACE_SOURCE);
  wishes.hidden_parts = !open;
  if (!still->parsed()) {
    const bool session = app.got_subcommand("session");
    for (int i = 0; i < count; ++i) {
      const unsigned one = seed + static_cast<unsigned>(i);
      std::string about;
      const auto story = session ? drawn::random_session(one, wishes, about) : drawn::random_shot(one, wishes, about);
      const std::string name = (session ? "session-" : "shot-") + std::to_string(one);
      const auto done = story ? drawn::draw_story(*story, folder + "/" + name) : Result<Done>(pass_on(story));
      if (!done) {
        std::fprintf(stderr, "%s\n", done.error().what.c_str());
        return 1;
      }
      std::printf("%s: %s\n", name.c_str(), about.c_str());
      std::fflush(stdout);
    }
    return 0;
  }
  std::string what;
  const drawn::Scene scene = drawn::random_scene(seed, {}, what);
  drawn::Film film(scene);
  const drawn::Picture p = film.take(at);
  std::vector<cv::Mat> planes(3);
  p.luma.convertTo(planes[0], CV_32F, 1.164, -18.6);
  for (int k = 0; k < 2; ++k) {
    cv::Mat f;
    (k == 0 ? p.cb : p.cr).convertTo(f, CV_32F, 1.138, -145.7);
    cv::resize(f, planes[static_cast<std::size_t>(k + 1)], p.luma.size());
  }
  const cv::Mat y = planes[0].clone(), b = planes[1].clone(), r = planes[2].clone();
  planes[0] = y + 1.8556 * b;
  planes[1] = y - 0.1873 * b - 0.4681 * r;
  planes[2] = y + 1.5748 * r;
  cv::Mat bgr;
  cv::merge(planes, bgr);
  bgr.convertTo(bgr, CV_8UC3);
  cv::imwrite(out, bgr);
  std::printf("%u: %s\n", seed, what.c_str());
  return 0;
}
