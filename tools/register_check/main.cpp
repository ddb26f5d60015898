// register_check: draws scenes by seed, registers each without help, lays the result beside the truth.
#include <fmt/format.h>
#include <stdlib.h>

#include <CLI/CLI.hpp>
#include <filesystem>

#include "base/files.hpp"
#include "drawn/clips.hpp"
#include "register_check/check.hpp"

using namespace baizetrace;

int main(int argc, char** argv) {
  CLI::App app{"registers a set of drawn scenes and lays the rigs beside the truth"};
  unsigned first = 1;
  int count = 200, most = 0;
  std::string keep;
  bool open = false;
  app.add_option("--first", first, "first seed");
  app.add_option("--count", count, "how many");
  app.add_option("--most-pixels", most, "leave out pictures larger than this");
  app.add_option("--keep", keep, "keep clips and pictures in this folder");
  double steepest = 60;
  app.add_option("--steepest", steepest, "degrees of the view off the vertical, at most");
  app.add_flag("--nothing-hidden", open, "no pocket, end or strip out of sight");
  CLI11_PARSE(app, argc, argv);
  set_data_folder(BAIZETRACE_SOURCE);
  const auto spec = table::read_spec("full-size");
  const auto balls = table::read_ball_set("snooker");
  if (!spec || !balls) return 1;
  std::string folder = keep;
  if (folder.empty()) {
    folder = (std::filesystem::temp_directory_path() / "baizetrace-set-XXXXXX").string();
    if (!mkdtemp(folder.data())) return 1;
  }
  drawn::Wishes wishes;
  wishes.most_pixels = most;
  wishes.hidden_parts = !open;
  wishes.steepest = steepest;
  register_check::Tally tally;
  for (int i = 0; i < count; ++i) {
    const unsigned seed = first + static_cast<unsigned>(i);
    const std::string file = folder + "/" + std::to_string(seed) + ".mp4";
    const auto outcome = register_check::check_scene(seed, wishes, file, *spec, *balls, keep.empty() ? "" : folder);
    if (!outcome) {
      fmt::print(stderr, "{}\n", outcome.error().what);
      return 1;
    }
    register_check::add(tally, *outcome);
    fmt::print("{}\n", register_check::line_of(*outcome));
    std::fflush(stdout);
    if (keep.empty()) std::filesystem::remove(file);
  }
  if (keep.empty()) std::filesystem::remove_all(folder);
  fmt::print("{}\n", register_check::summary_of(tally));
  return 0;
}
