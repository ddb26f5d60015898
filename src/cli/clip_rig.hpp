// The rig that each of a session's clips was measured with, and the clip itself, found again.
#pragma once

#include <string>

#include "base/error.hpp"
#include "camera/rig.hpp"
#include "cli/session_file.hpp"

namespace baizetrace::cli {

// `clip`: 0 the first. Looked for in the session's folder, then from where we stand. Error: it is not there.
[[nodiscard]] Result<camera::Rig> rig_of_clip(const practice::Session& session, const std::string& folder, int clip);
// Error: it is not there, neither as the session names it nor in the session's folder.
[[nodiscard]] Result<std::string> file_of_clip(const practice::Session& session, const std::string& folder, int clip);

}  // namespace baizetrace::cli
