#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "base/files.hpp"
#include "cli/command.hpp"
#include "cli/measuring.hpp"

namespace baizetrace::cli {
namespace {

using Json = nlohmann::json;

Vec2 point(const Json& j) { return {j.at(0).get<double>(), j.at(1).get<double>()}; }

std::string row(const std::string& what, const Vec2& measured, const Vec2& truth) {
  return fmt::format("  {:<26}{:>9.1f}{:>9.1f}   {:>9.1f}{:>9.1f}   {:>6.1f} mm\n", what, 1e3 * measured.x(),
                     1e3 * measured.y(), 1e3 * truth.x(), 1e3 * truth.y(), 1e3 * (measured - truth).norm());
}

// Measured beside true, in the order of the shot. Throws what the JSON library throws.
std::string beside_truth(const practice::Session& session, const Json& truth) {
  const Json& t = truth.at("attempts").at(0);
  if (session.attempts.empty()) return "no attempt was found, there is one\n";
  const practice::Attempt& a = session.attempts[0];
  std::string out =
      fmt::format("  {:<26}{:>18}   {:>18}   {:>9}\n", "place in mm from the centre", "measured", "true", "apart");
  const auto places = [&](const char* when, const std::map<std::string, Place>& measured, const Json& list) {
    for (const Json& b : list) {
      const std::string ball = b.at(0).get<std::string>();
      if (b.at(1).is_null()) continue;
      const auto it = measured.find(ball);
      const std::string what = fmt::format("{}, {}", ball, when);
      out += it == measured.end() ? fmt::format("  {:<26}not found\n", what)
                                  : row(what, it->second.at, {b.at(1).get<double>(), b.at(2).get<double>()});
    }
  };
  places("before", a.before, t.at("start"));
  const auto white = a.balls.find("white");
  for (const Json& e : t.at("events")) {
    const std::string kind = e.at("kind").get<std::string>();
    if (e.at("ball") != "white" || (kind != "ball" && kind != "cushion")) continue;
    const double time = e.at("t_s").get<double>();
    const Contact* nearest = nullptr;
    if (white != a.balls.end())
      for (const Contact& c : white->second.contacts)
        if (!nearest || std::abs(c.time - time) < std::abs(nearest->time - time)) nearest = &c;
    const std::string with = e.at("other").get<std::string>() + (kind == "cushion" ? " cushion" : "");
    if (!nearest) {
      out += fmt::format("  white meets {:<14}not found\n", with);
      continue;
    }
    std::string line = row("white meets " + with, nearest->at, point(e.at("xy")));
    line.pop_back();
    out += fmt::format("{}, {:+.1f} ms\n", line, 1e3 * (nearest->time - time));
  }
  places("after", a.after, t.at("final"));
  std::string due, had;
  for (const Json& p : t.at("potted"))
    due += fmt::format("{} in {} ", p.at(0).get<std::string>(), p.at(1).get<std::string>());
  for (const auto& p : a.potted) had += fmt::format("{} in {} ", p.ball, p.pocket);
  out += fmt::format("  potted: measured {}/ true {}\n", had.empty() ? "none " : had, due.empty() ? "none" : due);
  return out;
}

Result<Done> demo(const std::string& folder) {
  const std::string samples = (data_folder() / "samples" / "green-for-brown").string();
  const auto text = read_text(samples + ".truth.json");
  if (!text) return pass_on(text);
  MeasureOptions o;
  o.clips = {samples + ".mp4"};
  o.setup = samples + ".setup.toml";
  o.folder = folder;
  try {
    const Json truth = Json::parse(*text);
    o.readout = truth.at("camera").at("readout_s").get<double>();
    fmt::print("Measuring the sample: a drawn clip (nobody filmed it), so that the truth beside it is exact.\n\n");
    std::fflush(stdout);
    const auto session = measure(o);
    if (!session) return pass_on(session);
    fmt::print("{}\nreport: {}/report.html\n", beside_truth(*session, truth), folder);
  } catch (const Json::exception& e) {
    return fail("{}.truth.json: cannot be read as a truth file: {}", samples, e.what());
  }
  return Done{};
}

}  // namespace

Run declare_demo(CLI::App& app) {
  auto folder = std::make_shared<std::string>("baizetrace-demo");
  app.add_option("-o,--output", *folder, "folder for the report (made if missing)")->capture_default_str();
  return [folder] { return demo(*folder); };
}

}  // namespace baizetrace::cli
