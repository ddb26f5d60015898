// The truth of a drawn clip, in the form that truth_check and the footage's own score read.
#pragma once

#include <nlohmann/json.hpp>
#include <string>

#include "drawn/film.hpp"
#include "drawn/story.hpp"

namespace baizetrace::drawn {

// Gathers the frames' rows while a clip is drawn.
class TruthWriter {
 public:
  explicit TruthWriter(const Story& story) : story_(story) {}
  void add(double pts, const Picture& picture);
  [[nodiscard]] std::string truth() const;
  [[nodiscard]] std::string setup() const;

 private:
  const Story& story_;
  nlohmann::json frames_ = nlohmann::json::array(), knocked_ = nlohmann::json::array();
};

}  // namespace baizetrace::drawn
