// The job of `cut`: one clip an attempt, captions beside it, a list of chapters.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"

namespace baizetrace::cli {

struct CutOptions {
  std::string session;        // session.json or the folder of `measure`
  std::string folder;         // made if missing
  std::string which = "all";  // all, hits, best, or numbers with commas
  std::string shape = "16:9";
  bool plan_only = false;  // the drawing alone
  bool hold = false;       // freezes on the meant path first
  bool plain = false;      // copies, no drawing
  bool mute = false;
  bool only_the_bed = true;
  std::optional<std::string> with;  // a second recording, lined up by its sound
  std::function<void(double share, const std::string& doing)> progress;
  std::function<bool()> stopped;
};

struct CutDone {
  std::vector<std::string> files;
  std::vector<std::string> notes;
};

// Errors (one line): the session cannot be read; its recording or rig is not there; no attempt is asked for or judged;
// what `cut` cannot do.
[[nodiscard]] Result<CutDone> cut(const CutOptions& options);

inline constexpr double kHoldFor = 2.5;  // s that `--hold` freezes

}  // namespace baizetrace::cli
