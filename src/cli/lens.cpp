// lens: solves a lens from a clip (or pictures) of the printable target; prints the target.
#include <algorithm>

#include "base/files.hpp"
#include "camera/lens_target.hpp"
#include "cli/command.hpp"
#include "video/clip.hpp"
#include "video/still.hpp"

namespace baizetrace::cli {

namespace {
struct Arguments {
  std::vector<std::string> files;
  std::string out, target, paper = "a4";
  bool json = false;
};

constexpr double kLookEvery = 0.2;  // s

bool is_picture(const std::string& file) {
  std::string end = file.substr(std::min(file.size(), file.find_last_of('.')));
  std::transform(end.begin(), end.end(), end.begin(), [](unsigned char c) { return std::tolower(c); });
  return end == ".jpg" || end == ".jpeg" || end == ".png";
}

Result<Done> look_at(const std::string& file, camera::TargetViews& views) {
  const auto same_size = [&](int w, int h) -> Result<Done> {
    if (views.looked_at() > 0 && (views.size().width != w || views.size().height != h))
      return fail("{}: {} x {}, the ones before are {} x {}: one lens and one video mode at a time", file, w, h,
                  views.size().width, views.size().height);
    return Done{};
  };
  if (is_picture(file)) {
    const auto content = read_text(file);
    if (!content) return pass_on(content);
    const cv::Mat luma = video::still_of(as_bytes(*content), video::StillAs::grey);
    if (luma.empty()) return fail("{}: not a picture", file);
    if (auto same = same_size(luma.cols, luma.rows); !same) return same;
    views.push(luma);
    return Done{};
  }
  auto clip = video::Clip::open(file);
  if (!clip) return pass_on(clip);
  double next = 0;
  while (const auto frame = clip->next()) {
    if (frame->damaged || frame->time < next) continue;
    next = frame->time + kLookEvery;
    if (auto same = same_size(frame->width(), frame->height()); !same) return same;
    views.push(frame->luma);
  }
  return Done{};
}

Result<Done> run(const Arguments& a) {
  if (!a.target.empty()) {
    const auto svg = camera::target_svg(a.paper);
    if (!svg) return pass_on(svg);
    if (auto written = write_atomically(a.target, *svg); !written) return written;
    fmt::print("wrote {}: print it at 100 %, glue it flat on a board\n", a.target);
    return Done{};
  }
  if (a.files.empty() || a.out.empty())
    return fail("expected a clip of the target and -o X.lens.json, or --target X.svg to print one");
  camera::TargetViews views;
  for (const std::string& file : a.files)
    if (auto seen = look_at(file, views); !seen) return seen;
  const camera::LensSolved solved = camera::solve_lens(views.views(), views.size());
  const std::string what = a.files.size() == 1 ? a.files[0] : fmt::format("{} files", a.files.size());
  if (!solved.found) return fail("{}: no lens solved: {}", what, solved.why);
  const std::string json = camera::lens_json(solved.profile);
  if (auto written = write_atomically(a.out, json); !written) return written;
  if (a.json) {
    fmt::print("{}", json);
    return Done{};
  }
  const camera::LensProfile& p = solved.profile;
  const camera::Lens& lens = p.known.lens;
  fmt::print("views    {} of the target, {:.2f} px rms, over {:.0f} % of the picture\n", p.views, p.rms_pixels,
             100 * solved.covered);
  fmt::print("lens     focal length {:.1f} +- {:.1f} px, centre {:.1f}, {:.1f}; k1 {:+.4f}, k2 {:+.4f}, k3 {:+.4f}\n",
             lens.fx, p.known.u[0], lens.cx, lens.cy, lens.distortion[0], lens.distortion[1], lens.distortion[4]);
  for (const std::string& w : solved.warnings) fmt::print("note     {}\n", w);
  fmt::print("wrote {}: give it to `register --lens` for every clip of this phone in this video mode\n", a.out);
  return Done{};
}
}  // namespace

Run declare_lens(CLI::App& app) {
  auto a = std::make_shared<Arguments>();
  app.add_option("CLIP", a->files, "a clip of the target moved and tilted through the picture, or pictures of it");
  app.add_option("-o,--output", a->out, "the lens profile, such as phone-wide.lens.json");
  app.add_option("--target", a->target, "write the printable target instead: an SVG file at true size");
  app.add_option("--paper", a->paper, "of the target: a4 or a3")->capture_default_str();
  app.add_flag("--json", a->json, "print the profile on standard output");
  return [a] { return run(*a); };
}

}  // namespace baizetrace::cli
