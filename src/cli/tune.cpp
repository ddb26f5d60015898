// tune: how the table plays, from measured sessions.
#include <fmt/format.h>

#include <algorithm>
#include <memory>

#include "base/files.hpp"
#include "cli/command.hpp"
#include "cli/session_file.hpp"
#include "compare/tune.hpp"

namespace baizetrace::cli {
namespace {

struct Arguments {
  std::vector<std::string> sessions;
  std::string from, output;
  bool slope = false, nap = false;
};

// "slope: 0.61 +-0.12 mm a metre down towards the right cushion, 0.35 +-0.10 towards the baulk cushion".
std::string slope_words(const compare::Tuned& t) {
  const auto u = [&](std::size_t axis) {
    return 1e3 * t.play.u[static_cast<Eigen::Index>(compare::kSlopePlay + axis)];
  };
  if (!t.slope.told)
    return fmt::format("slope: not told by these attempts; one below {:.1f} mm a metre would not show",
                       3 * std::max(u(0), u(1)));
  const Vec2 s = 1e3 * t.play.conditions.slope;
  return fmt::format(
      "slope: {:.2f} +-{:.2f} mm a metre down towards the {} cushion, {:.2f} +-{:.2f} towards the {} cushion",
      std::abs(s.x()), 1.96 * u(0), s.x() > 0 ? "right" : "left", std::abs(s.y()), 1.96 * u(1),
      s.y() > 0 ? "top" : "baulk");
}

// "a nap's drift: 0.31 +-0.05 thousandths of g towards the top cushion"; "... what it does to side: not told by ...".
std::string nap_words(const compare::Tuned& t, const compare::Tuned::Extra& what, std::size_t play, const char* name,
                      std::pair<const char*, const char*> ways) {
  const double u = 1e3 * t.play.u[static_cast<Eigen::Index>(play)];
  if (!what.told)
    return fmt::format("{}: not told by these attempts; one below {:.1f} thousandths of g would not show", name, 3 * u);
  const double is = 1e3 * compare::value_of(t.play.conditions, play);
  return fmt::format("{}: {:.2f} +-{:.2f} thousandths of g {}", name, std::abs(is), 1.96 * u,
                     is > 0 ? ways.first : ways.second);
}

Result<Done> run(const Arguments& a) {
  std::vector<OldSession> sessions;
  for (const std::string& file : a.sessions) {
    auto s = open_session(file);
    if (!s) return pass_on(s);
    if (!sessions.empty() && s->table_name != sessions[0].table_name)
      return fail("{}: was measured on the table {}, {} on {}: expected sessions of one table", file, s->table_name,
                  a.sessions[0], sessions[0].table_name);
    sessions.push_back(std::move(*s));
  }
  compare::KnownPlay before = compare::assumed_play({});
  if (!a.from.empty()) {
    auto read = compare::read_known_play(a.from);
    if (!read) return pass_on(read);
    before = *read;
  }
  if (a.slope) before.u.segment<2>(static_cast<Eigen::Index>(compare::kSlopePlay)).setConstant(compare::kSlopeU);
  if (a.nap) before.u[static_cast<Eigen::Index>(compare::kNapSide)] = compare::kNapU;
  // Along the table a slope does what the nap's drift does: of the two only one can be looked for.
  if (a.nap && !a.slope) before.u[static_cast<Eigen::Index>(compare::kNapDrift)] = compare::kNapU;
  std::vector<compare::TuneShot> shots;
  for (const OldSession& s : sessions)
    for (const practice::Attempt& x : s.session.attempts) shots.push_back({&x, &s.table});
  if (shots.empty()) return fail("{}: holds no attempt to tune from", a.sessions[0]);
  const auto tuned = compare::tune(shots, sessions[0].balls, before);
  if (!tuned) return fail("{}: {}", a.sessions[0], tuned.error().what);
  if (auto w = write_atomically(a.output, compare::conditions_toml(*tuned, before)); !w) return w;

  fmt::print("{} attempts, {} explained.\n", tuned->shots, tuned->used);
  for (const std::string& line : tuned->left_out) fmt::print("  left out, {}\n", line);
  for (std::size_t k = 0; k < compare::kSlopePlay; ++k) {
    const double u = tuned->play.u[static_cast<int>(k)], is = compare::value_of(tuned->play.conditions, k);
    if (tuned->told[k])
      fmt::print("  {:<20} {:.4g} +-{:.2g}\n", compare::kPlayNames[k], is, 1.96 * u);
    else
      fmt::print("  {:<20} not told by these attempts, as before: {:.4g}\n", compare::kPlayNames[k],
                 compare::value_of(before.conditions, k));
  }
  if (tuned->slope.asked) fmt::print("  {}\n", slope_words(*tuned));
  if (tuned->nap_drift.asked)
    fmt::print("  {} (a slope along the table looks the same)\n",
               nap_words(*tuned, tuned->nap_drift, compare::kNapDrift, "nap, drift of a rolling ball",
                         {"towards the top cushion", "towards the baulk cushion"}));
  else if (a.nap)
    fmt::print("  nap, drift of a rolling ball: looks the same as a slope along the table, which was looked for\n");
  if (tuned->nap_side.asked)
    fmt::print("  {}\n", nap_words(*tuned, tuned->nap_side, compare::kNapSide, "nap, what it does to side",
                                   {"to the right of the nap with right-hand side, to the left with left-hand",
                                    "to the left of the nap with right-hand side, to the right with left-hand"}));
  if (tuned->held_out > 0) {
    const bool better = tuned->off_after < tuned->off_before;
    fmt::print(
        "Attempts kept out in turn ({}): the white rests {:.0f} cm from the prediction (median), {:.0f} cm before "
        "tuning: it predicts {}.\n",
        tuned->held_out, 100 * tuned->off_after, 100 * tuned->off_before, better ? "better" : "no better");
  } else {
    fmt::print("Too few attempts to keep some out: whether it predicts better is not known.\n");
  }
  constexpr double kPoor = 3;
  if (tuned->misfit > kPoor)
    fmt::print("The model explains these attempts poorly ({:.1f} times their uncertainty squared).\n", tuned->misfit);
  return Done{};
}

}  // namespace

Run declare_tune(CLI::App& app) {
  auto a = std::make_shared<Arguments>();
  app.add_option("SESSION", a->sessions, "session.json files, or the folders that `measure` filled; of one table")
      ->required();
  app.add_option("--from", a->from, "conditions to start from (default: what clubs' tables are like)");
  app.add_flag("--slope", a->slope, "also look for a slope of the bed; kept only when the attempts tell it");
  app.add_flag("--nap", a->nap, "also look for what the nap does to a slow ball and to side; kept likewise");
  app.add_option("-o,--output", a->output, "the *.conditions.toml to write")->required();
  return [a] { return run(*a); };
}

}  // namespace baizetrace::cli
