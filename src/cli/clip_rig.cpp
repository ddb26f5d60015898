#include "cli/clip_rig.hpp"

#include <filesystem>

namespace baizetrace::cli {
namespace fs = std::filesystem;

namespace {
// As named, or beside the session.
std::string found(const std::string& folder, const std::string& name) {
  std::error_code code;
  const fs::path beside = fs::path(folder) / name, near = fs::path(folder) / fs::path(name).filename();
  for (const fs::path& p : {beside, fs::path(name), near})
    if (fs::is_regular_file(p, code)) return p.string();
  return "";
}
}  // namespace

Result<camera::Rig> rig_of_clip(const practice::Session& session, const std::string& folder, int clip) {
  std::string name = session.rig.file;
  // `measure` keeps the rigs that it found as found.rig.json, found-2.rig.json, ...
  if (clip > 0 && fs::path(name).filename() == "found.rig.json") name = fmt::format("found-{}.rig.json", clip + 1);
  const std::string file = found(folder, name);
  if (file.empty()) return fail("{}: its rig {} is not there, nor beside the session", folder, name);
  return camera::read_rig(file);
}

Result<std::string> file_of_clip(const practice::Session& session, const std::string& folder, int clip) {
  const auto k = static_cast<std::size_t>(clip);
  if (k > session.more_clips.size()) return fail("{}: has no clip {}", folder, clip + 1);
  const std::string& name = k == 0 ? session.clip.file : session.more_clips[k - 1].file;
  const std::string file = found(folder, name);
  if (file.empty()) return fail("{}: the recording is not there, nor beside the session", name);
  return file;
}

}  // namespace baizetrace::cli
