// The main job as one function: a session's clips in, a session out, with the pictures and the page beside it.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "camera/rig.hpp"
#include "practice/session.hpp"

namespace baizetrace::cli {

struct MeasureOptions {
  std::vector<std::string> clips;         // in the order in which they were filmed; one session
  std::string folder;                     // session.json, report.html, attempt-NN.png and .svg, found.rig.json go there
  std::optional<std::string> rig;         // file; absent: the table is found in the clip and the rig kept in `folder`
  std::optional<std::string> setup;       // file; or
  std::optional<std::string> setups;      // folder: which of its setups is played is told from where the balls stand
  std::optional<std::string> conditions;  // file; absent: the good cloth of samples/
  std::string table = "full-size";        // when no setup names one
  std::optional<double> readout;          // s; overrides the rig's
  // Called now and then: share of the clip done, and what is going on.
  std::function<void(double share, const std::string& doing)> progress;
  // Asked after every frame: true ends the measuring there; what was measured so far is kept and written.
  std::function<bool()> stopped;
};

// Errors (one line; nothing is written): bad input files, a clip that cannot be read, no table found.
[[nodiscard]] Result<practice::Session> measure(const MeasureOptions& options);

}  // namespace baizetrace::cli
