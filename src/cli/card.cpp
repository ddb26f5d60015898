// baizetrace card SETUP: a page to print, from which the setup can be laid out with a tape measure.
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>

#include "base/files.hpp"
#include "cli/command.hpp"
#include "cli/given_setup.hpp"
#include "practice/setup.hpp"
#include "report/card.hpp"
#include "report/marks.hpp"

namespace baizetrace::cli {
namespace {
namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

struct Arguments {
  std::string setup, conditions, table, output;
  bool json = false;
};

// "x/middle-red.setup.toml" -> "middle-red".
std::string bare_name(const std::string& file) {
  std::string name = fs::path(file).filename().string();
  for (const std::string_view ending : {".toml", ".setup"})
    if (name.ends_with(ending)) name.resize(name.size() - ending.size());
  return name.empty() ? "setup" : name;
}

Json json_of(const practice::Setup& setup, const std::vector<report::MarkDistances>& marks) {
  Json j{{"format", "baizetrace/card-1"}, {"setup", {{"file", setup.file}, {"title", setup.title}}}};
  j["marks"] = Json::array();
  for (const report::MarkDistances& m : marks) {
    Json one{{"ball", m.ball}, {"at", {m.at.x(), m.at.y()}}, {"noses", {{m.side, m.from_side}, {m.end, m.from_end}}}};
    if (!m.spot.empty())
      one["spot"] = {{"name", m.spot},
                     {"distance", m.from_spot},
                     {"ball_widths", m.ball_widths},
                     {"off", {m.off_spot.x(), m.off_spot.y()}}};
    j["marks"].push_back(std::move(one));
  }
  return j;
}

Result<Done> run(const Arguments& a) {
  const auto given = read_given_setup(a.setup, a.conditions, a.table);
  if (!given) return pass_on(given);
  const auto& [setup, table, set, conditions] = *given;
  report::CardInput input{setup, table, set, conditions};
  if (!a.conditions.empty()) input.cloth = "the cloth of " + fs::path(a.conditions).filename().string();

  std::vector<std::pair<std::string, report::Pen::Page>> pages;
  const std::string output = a.output.empty() ? bare_name(a.setup) + ".card" : a.output;
  if (output.ends_with(".pdf"))
    pages = {{output, report::Pen::Page::pdf}};
  else if (output.ends_with(".svg"))
    pages = {{output, report::Pen::Page::svg}};
  else
    pages = {{output + ".pdf", report::Pen::Page::pdf}, {output + ".svg", report::Pen::Page::svg}};
  for (const auto& [file, kind] : pages)
    if (auto w = write_atomically(file, report::setup_card(input, kind)); !w) return w;
  if (a.json) {
    Json j = json_of(setup, report::mark_distances(setup, table, set));
    for (const auto& page : pages) j["pages"].push_back(page.first);
    fmt::print("{}\n", j.dump(1));
  } else {
    for (const auto& page : pages) fmt::print("card: {}\n", page.first);
  }
  return Done{};
}

}  // namespace

Run declare_card(CLI::App& app) {
  auto a = std::make_shared<Arguments>();
  app.add_option("SETUP", a->setup, "a *.setup.toml")->required();
  app.add_option(
      "-o,--output", a->output,
      "where to: NAME makes NAME.pdf and NAME.svg, NAME.pdf or NAME.svg that one alone (default: the setup's "
      "name here)");
  app.add_option("--table", a->table, "another table than the setup's: a name in calibration/tables or a path");
  app.add_option(
      "--conditions", a->conditions,
      "how the table plays, for the way drawn on the plan: a *.conditions.toml (default: a good club cloth)");
  app.add_flag("--json", a->json, "the marks' distances (metres) as JSON on standard output");
  return [a] { return run(*a); };
}

}  // namespace baizetrace::cli
