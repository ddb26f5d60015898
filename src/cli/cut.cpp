// baizetrace cut SESSION: one clip an attempt, with the path drawn in.
#include <fmt/format.h>

#include <memory>

#include "cli/command.hpp"
#include "cli/cutting.hpp"
#include "cli/interrupt.hpp"
#include "cli/progress_line.hpp"

namespace baizetrace::cli {

Run declare_cut(CLI::App& app) {
  auto o = std::make_shared<CutOptions>();
  o->folder = "cut";
  app.add_option("SESSION", o->session, "session.json, or the folder that `measure` filled")->required();
  app.add_option("-o,--output", o->folder, "folder for the clips, captions (.vtt) and chapters.txt (made if missing)")
      ->capture_default_str();
  app.add_option("--attempts", o->which, "all, hits, best, or numbers with commas: 1,4,7")->capture_default_str();
  app.add_option("--shape", o->shape, "16:9, 9:16 or 1:1")->capture_default_str();
  app.add_flag("--plan-only", o->plan_only, "the drawing alone, no picture of the room");
  app.add_flag("--hold", o->hold, "freezes on the meant path first (needs the setup)");
  app.add_option("--with", o->with,
                 "a second recording, lined up by its sound, with the plan beside it; it is shown as filmed");
  app.add_flag("--plain", o->plain,
               "copies without re-encoding, from the key frame before: nothing is drawn, and everybody in the picture "
               "stays in it");
  app.add_flag("--mute", o->mute, "without sound");
  app.add_flag("--only-the-bed,!--whole-picture", o->only_the_bed,
               "bed and cushions alone are shown, people over them covered (the default); --whole-picture shows all");
  return [o]() -> Result<Done> {
    Result<CutDone> done = fail("not run");
    {
      listen_for_interrupts();
      o->stopped = interrupted;
      ProgressLine line;
      o->progress = [&line](double share, const std::string& doing) { line(share, doing); };
      done = cut(*o);
    }
    if (!done) return pass_on(done);
    for (const std::string& n : done->notes) fmt::print(stderr, "note: {}\n", n);
    for (const std::string& f : done->files) fmt::print("{}\n", f);
    return Done{};
  };
}

}  // namespace baizetrace::cli
