// Whole clips of a set, by seed.
#pragma once

#include <string>

#include "base/error.hpp"
#include "drawn/random_scene.hpp"
#include "drawn/story.hpp"

namespace baizetrace::drawn {

// A registration scene as a short clip: one frame a second for ten seconds, balls at rest, people about.
// The scene that was drawn; `what`: one line about it.
[[nodiscard]] Result<Scene> draw_registration_clip(unsigned seed, const Wishes& wishes, const std::string& file,
                                                   std::string& what);

// The story as FILE.mp4, its truth and setup beside it: FILE.truth.json, FILE.setup.json.
[[nodiscard]] Result<Done> draw_story(const Story& story, const std::string& file);

}  // namespace baizetrace::drawn
