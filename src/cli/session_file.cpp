#include "cli/session_file.hpp"

#include <filesystem>

namespace baizetrace::cli {
namespace fs = std::filesystem;

Result<OldSession> open_session(const std::string& where) {
  std::error_code code;
  const fs::path file = fs::is_directory(where, code) ? fs::path(where) / "session.json" : fs::path(where);
  auto session = practice::read_session(file.string());
  if (!session) return pass_on(session);
  const auto spec = table::read_spec(session->rig.table);
  if (!spec) return fail("{}: rig.table: {}", file.string(), spec.error().what);
  const auto balls = table::read_ball_set(spec->balls);
  if (!balls) return pass_on(balls);
  table::Table table(*spec);
  if (session->rig.half_width > 0 && session->rig.half_length > 0)
    table = table.resized(session->rig.half_width, session->rig.half_length);
  for (const auto& [name, at] : session->rig.spots) table.set_spot(name, at);
  const std::string name = session->rig.table;
  return OldSession{file.string(), file.parent_path().string(), std::move(*session), name, std::move(table), *balls};
}

std::vector<std::optional<practice::Setup>> setups_of(const practice::Session& session) {
  std::vector<std::optional<practice::Setup>> out;
  for (const practice::Group& g : session.groups) {
    out.emplace_back();
    if (!g.setup) continue;
    if (auto setup = practice::read_setup(g.setup->first)) out.back() = std::move(*setup);
  }
  return out;
}

}  // namespace baizetrace::cli
