#include <fmt/format.h>
#include <malloc.h>
#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/spdlog.h>

#include <array>
#include <cstdio>
#include <filesystem>

#include "base/files.hpp"
#include "cli/command.hpp"

namespace baizetrace::cli {

namespace {
// In the order in which a player meets them.
constexpr std::array kCommands{
    Command{"demo", "measures the sample clip and prints measured beside true; writes the report", declare_demo},
    Command{"measure", "the main job: every attempt in a clip, found and measured; writes session.json and a report",
            declare_measure},
    Command{"score", "judges a measured session again by a setup, without its video", declare_score},
    Command{"compare", "says why each attempt ended where it did: what was struck beside what was meant",
            declare_compare},
    Command{"tune", "how the table plays, from measured sessions: writes conditions", declare_tune},
    Command{"journal", "sessions remembered: list, show, trend, assign a player, export, backup", declare_journal},
    Command{"inspect", "can this clip be measured, how well, and what to change about the mount", declare_inspect},
    Command{"register", "find the table in a clip: lens, pose, size; writes the rig and a picture to check",
            declare_register},
    Command{"lens", "solve a lens from a clip of the printable target, or print the target", declare_lens},
    Command{"predict", "where the balls would go: path, contacts, where it stops, the leave", declare_predict},
    Command{"routes", "every route a setup offers over pace and tip, and how much each forgives", declare_routes},
    Command{"cut", "one clip an attempt with the path drawn in, captions, and a chapter list", declare_cut},
    Command{"card", "a page to print: plan, each mark's distances, the shot and the goal in words", declare_card},
};

// Beside the program (installed: ../share/baizetrace), else the source tree that it was built from.
std::filesystem::path find_data(const char* program) {
  namespace fs = std::filesystem;
  std::error_code code;
  const fs::path self = fs::canonical("/proc/self/exe", code);
  const fs::path installed = (code ? fs::path(program) : self).parent_path() / ".." / "share" / "baizetrace";
  if (fs::exists(installed / "calibration", code)) return installed.lexically_normal();
  return BAIZETRACE_DATA_BUILT;
}

// Pictures of the same few sizes come and go with every frame: given back to the system each time, a seventh of the
// time went into getting them anew.
void keep_memory() {
#ifdef __GLIBC__
  constexpr int kMapped = 32 << 20, kKept = 64 << 20, kArenas = 2;  // bytes; one arena a thread that looks or decodes
  mallopt(M_MMAP_THRESHOLD, kMapped);
  mallopt(M_TRIM_THRESHOLD, kKept);
  mallopt(M_ARENA_MAX, kArenas);
#endif
}
}  // namespace

std::span<const Command> commands() { return kCommands; }

int run_program(int argc, char** argv) {
  keep_memory();
  auto log = spdlog::stderr_logger_st("log");
  log->set_pattern("%v");
  log->set_level(spdlog::level::warn);
  spdlog::set_default_logger(log);
  set_data_folder(find_data(argc > 0 ? argv[0] : ""));

  CLI::App app("Baizetrace measures where the cue ball went, from a video taken above the table.", "baizetrace");
  app.require_subcommand(1);
  std::vector<std::pair<CLI::App*, Run>> runs;
  for (const Command& c : commands()) {
    CLI::App* sub = app.add_subcommand(c.name, c.summary);
    runs.emplace_back(sub, c.declare(*sub));
  }
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& e) {
    return app.exit(e) == 0 ? 0 : 2;
  }
  for (auto& [sub, run] : runs) {
    if (!sub->parsed()) continue;
    Result<Done> done = fail("internal fault");
    try {
      done = run();
    } catch (const std::exception& e) {  // exceptions of libraries end here
      done = fail("{}: {}", sub->get_name(), e.what());
    }
    if (done) return 0;
    fmt::print(stderr, "baizetrace {}: {}\n", sub->get_name(), done.error().what);
    return 1;
  }
  return 2;
}

}  // namespace baizetrace::cli
