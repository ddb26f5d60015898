// draw_clip: writes clips with exact truth, all from a seed.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

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
  app.require_subcommand(1);
  CLI11_PARSE(app, argc, argv);
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
