// What `measure` leaves in its folder: pictures, plans, the page, the rig; session.json last.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "camera/rig.hpp"
#include "practice/session.hpp"
#include "practice/setup.hpp"

namespace baizetrace::cli {

struct Folder {
  std::string path;                                       // made if missing
  bool keep_rig = false;                                  // the rig was found in the clip: keep it there
  std::string rig_file;                                   // else: the file it came from
  std::vector<std::pair<std::string, std::string>> more;  // other files: name, content
};

// One an attempt, in order.
struct Picture {
  std::vector<unsigned char> jpeg;  // may be empty
  camera::Camera camera;            // as it stood then
};
using Pictures = std::vector<Picture>;

// Each file whole or not at all. `rigs`: one a clip; `setups`: one a group. Sets session.rig. Error: cannot be written.
[[nodiscard]] Result<Done> publish(const Folder& folder, practice::Session& session,
                                   const std::vector<camera::Rig>& rigs, const table::Table& table,
                                   const std::vector<std::optional<practice::Setup>>& setups, const Pictures& pictures);

}  // namespace baizetrace::cli
