// Whether a clip can be measured, and how well: plain answers with their numbers, before an evening is filmed so.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "camera/register.hpp"

namespace baizetrace::camera {

enum class Answer { good, limits, stops };  // stops: it cannot be measured

struct Finding {
  std::string topic;  // recording, timing, size, sharpness, light, table, hidden, steadiness, accuracy
  Answer answer = Answer::good;
  std::string words;                      // one sentence
  std::map<std::string, double> numbers;  // SI, px, levels; each key says its unit where it is none of these
  std::string advice;                     // what to change; empty: nothing
};

struct Inspection {
  std::vector<Finding> findings;
  Registration registration;
  [[nodiscard]] Answer worst() const;
};

// Looks at the clip's first `look_at` seconds for picture and table, and reads all of it for its times.
// Errors: what Clip::open says. A clip without a table is no error but a finding.
[[nodiscard]] Result<Inspection> inspect(const std::string& file, const table::Spec& spec, const table::BallSet& balls,
                                         double look_at = 10);

// A part of the bed that something stands over all the time.
struct HiddenPart {
  Vec2 low, high;     // m, its box
  double area = 0;    // m^2
  std::string words;  // "a strip right across, from the blue to a foot short of the pink"
};
[[nodiscard]] std::vector<HiddenPart> hidden_parts(const Scene& scene, const Rig& rig, const table::Spec& spec);

// A place along the table in the trade's words: "the blue", "a foot short of the pink", "20 cm beyond the baulk line".
[[nodiscard]] std::string along_in_words(double y, const table::Table& table);

}  // namespace baizetrace::camera
