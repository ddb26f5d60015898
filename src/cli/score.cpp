// score: a measured session judged again by a setup, without looking at the video again.
#include <fmt/format.h>

#include <memory>

#include "cli/command.hpp"
#include "cli/judging.hpp"

namespace baizetrace::cli {
namespace {

struct Arguments {
  std::string session, setup;
  bool json = false;
};

Result<Done> run(const Arguments& a) {
  auto old = open_session(a.session);
  if (!old) return pass_on(old);
  const auto setup = practice::read_setup(a.setup);
  if (!setup) return pass_on(setup);
  const auto judged = judge_by(*old, *setup, a.setup);
  if (!judged) return pass_on(judged);
  if (auto written = write_back(*old, *judged); !written) return written;
  const practice::Session& s = old->session;
  if (a.json) {
    fmt::print("{}", practice::session_json(s));
    return Done{};
  }
  for (const practice::Attempt& x : s.attempts) {
    fmt::print("{}. ", x.number);
    if (!x.score) {
      fmt::print("not judged: {}\n", x.not_judged.empty() ? "it is not this setup's shot" : x.not_judged);
      continue;
    }
    fmt::print("{:g} of {:g}", x.score->points, x.score->of);
    for (const practice::ScorePart& p : x.score->parts)
      fmt::print("; {} {}{}{}", p.what, p.met ? "met" : "not met", p.note.empty() ? "" : ": ", p.note);
    fmt::print("\n");
  }
  return Done{};
}

}  // namespace

Run declare_score(CLI::App& app) {
  auto a = std::make_shared<Arguments>();
  app.add_option("SESSION", a->session, "session.json, or the folder that `measure` filled")->required();
  app.add_option("--setup", a->setup, "setup file: the shot and the goal to judge by")->required();
  app.add_flag("--json", a->json, "print session.json on standard output");
  return [a] { return run(*a); };
}

}  // namespace baizetrace::cli
