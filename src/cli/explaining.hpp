// A measured session's frames looked at once more, with what the eye made of them drawn beside: `measure --explain`.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "practice/session.hpp"

namespace baizetrace::cli {

struct ExplainOptions {
  std::string session_folder;  // found.rig.json is looked for there
  std::string folder;          // seen-CLIP-FRAME.png go there (made if missing)
  std::vector<double> times;   // s, of the clip; empty: the moments that matter, see below
  int most = 60;               // pictures
  std::function<void(double share, const std::string& doing)> progress;
  std::function<bool()> stopped;
};

struct Explained {
  int pictures = 0;
  int left_out = 0;  // moments beyond the most
};

// Without times: the frames before and after each strike and each contact, the first frame of each stretch in which a
// ball's path goes on unseen, and the frame of rest. Errors: the clip or its rig is not there any more; a time outside
// the clip; the folder cannot be written.
[[nodiscard]] Result<Explained> explain_frames(const practice::Session& session, const ExplainOptions& options);

}  // namespace baizetrace::cli
