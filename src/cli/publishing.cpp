#include "cli/publishing.hpp"

#include <cmath>
#include <filesystem>

#include "base/files.hpp"
#include "base/threads.hpp"
#include "report/attempt_plan.hpp"
#include "report/page.hpp"
#include "report/picture.hpp"
#include "report/words.hpp"
#include "video/still.hpp"

namespace baizetrace::cli {
namespace fs = std::filesystem;
namespace {

void fill_rig(practice::Session& session, const camera::Rig& rig, const std::string& file) {
  session.rig.file = file;
  session.rig.readout = rig.readout;
  session.rig.u_readout = rig.u_readout;
  session.rig.table = rig.table;
  session.rig.half_width = rig.half_width;
  session.rig.half_length = rig.half_length;
  session.rig.spots = rig.spots;
  double pixels = 0, metres = 0;
  int count = 0;
  for (const auto& [kind, r] : rig.residuals) {
    pixels += r.count * r.rms_pixels * r.rms_pixels;
    metres += r.count * r.rms * r.rms;
    count += r.count;
  }
  if (count > 0) {
    session.rig.rms_pixels = std::sqrt(pixels / count);
    session.rig.rms = std::sqrt(metres / count);
  }
}

}  // namespace

Result<Done> publish(const Folder& folder, practice::Session& session, const std::vector<camera::Rig>& rigs,
                     const table::Table& table, const std::vector<std::optional<practice::Setup>>& setups,
                     const Pictures& pictures) {
  if (auto made = make_folder(folder.path); !made) return made;
  const fs::path out = folder.path;
  const auto rig_file = [](std::size_t clip) {
    return clip == 0 ? std::string("found.rig.json") : fmt::format("found-{}.rig.json", clip + 1);
  };
  for (std::size_t k = 0; k < rigs.size() && folder.keep_rig; ++k)
    if (auto w = write_atomically(out / rig_file(k), camera::rig_json(rigs[k])); !w) return w;
  for (const auto& [name, content] : folder.more)
    if (auto w = write_atomically(out / name, content); !w) return w;
  fill_rig(session, rigs[0], folder.keep_rig ? rig_file(0) : folder.rig_file);

  report::PageInput page{session, table, nullptr, {}};
  for (const auto& setup : setups) page.setup_of_group.push_back(setup ? &*setup : nullptr);
  if (page.setup_of_group.size() == 1) page.setup = page.setup_of_group[0];
  page.pictures.resize(session.attempts.size());
  std::vector<Result<Done>> written(session.attempts.size(), Done{});
  const auto draw = [&](std::size_t i) -> Result<Done> {
    const practice::Attempt& a = session.attempts[i];
    const practice::Setup* meant = page.setup_for(a);
    const std::string name = fmt::format("attempt-{:02}", a.number);
    if (i < pictures.size() && !pictures[i].jpeg.empty()) {
      report::PictureOptions how;
      how.caption = fmt::format("{}. {}", a.number, report::words_of(a, table, {.setup = meant}).sentence);
      camera::Rig then = rigs[static_cast<std::size_t>(a.clip)];
      then.camera = pictures[i].camera;
      const cv::Mat seen = video::still_of(pictures[i].jpeg);
      const cv::Mat drawn = report::attempt_picture(seen, then, table, a, how);
      page.pictures[i] = (out / (name + ".png")).string();
      if (auto w = write_atomically(page.pictures[i], as_content(video::png_of(drawn))); !w) return w;
    }
    return write_atomically(out / (name + ".svg"), report::plan_svg(report::attempt_plan(a, table, meant)));
  };
  share_out(static_cast<int>(written.size()), kThreads, [&](int i) {
    const auto k = static_cast<std::size_t>(i);
    written[k] = draw(k);
  });
  for (const Result<Done>& w : written)
    if (!w) return w;
  if (auto w = write_atomically(out / "report.html", report::report_page(page)); !w) return w;
  return write_atomically(out / "session.json", practice::session_json(session));
}

}  // namespace baizetrace::cli
