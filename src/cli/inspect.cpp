// inspect: can this clip be measured, how well, and what to change about the mount.
#include <nlohmann/json.hpp>

#include "camera/inspect.hpp"
#include "cli/command.hpp"
#include "table/ball_set.hpp"

namespace baizetrace::cli {

namespace {
struct Arguments {
  std::string clip, table = "full-size";
  bool json = false;
};

const char* word_of(camera::Answer a) {
  switch (a) {
    case camera::Answer::good:
      return "good";
    case camera::Answer::limits:
      return "limits";
    case camera::Answer::stops:
      return "stops";
  }
  return "";
}

const char* verdict_of(camera::Answer a) {
  switch (a) {
    case camera::Answer::good:
      return "This clip can be measured.";
    case camera::Answer::limits:
      return "This clip can be measured, less well than it could be:";
    case camera::Answer::stops:
      return "This clip cannot be measured:";
  }
  return "";
}

Result<Done> run(const Arguments& a) {
  const auto spec = table::read_spec(a.table);
  if (!spec) return pass_on(spec);
  const auto balls = table::read_ball_set(spec->balls);
  if (!balls) return pass_on(balls);
  const auto seen = camera::inspect(a.clip, *spec, *balls);
  if (!seen) return pass_on(seen);
  if (a.json) {
    nlohmann::ordered_json j;
    j["format"] = "baizetrace/inspection-1";
    j["clip"] = a.clip;
    j["measurable"] = seen->worst() != camera::Answer::stops;
    for (const camera::Finding& f : seen->findings) {
      nlohmann::ordered_json one{{"topic", f.topic}, {"answer", word_of(f.answer)}, {"words", f.words}};
      one["numbers"] = f.numbers;
      if (!f.advice.empty()) one["advice"] = f.advice;
      j["findings"].push_back(std::move(one));
    }
    fmt::print("{}\n", j.dump(1));
    return Done{};
  }
  for (const camera::Finding& f : seen->findings)
    fmt::print("{:<12}{:<8}{}\n", f.topic, f.answer == camera::Answer::good ? "" : word_of(f.answer), f.words);
  fmt::print("\n{}\n", verdict_of(seen->worst()));
  for (const camera::Finding& f : seen->findings)
    if (!f.advice.empty()) fmt::print("  - {}: {}\n", f.topic, f.advice);
  return Done{};
}
}  // namespace

Run declare_inspect(CLI::App& app) {
  auto a = std::make_shared<Arguments>();
  app.add_option("CLIP", a->clip, "the recording: ten seconds are enough")->required();
  app.add_option("--table", a->table, "table's name in calibration/tables or a file")->capture_default_str();
  app.add_flag("--json", a->json, "print the answers with their numbers for a machine");
  return [a] { return run(*a); };
}

}  // namespace baizetrace::cli
