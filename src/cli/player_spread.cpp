#include "cli/player_spread.hpp"

#include <cmath>
#include <filesystem>
#include <map>

#include "journal/journal.hpp"

namespace baizetrace::cli {
namespace {

struct Pooled {
  int n = 0;
  double pace = 0, direction = 0, mark = 0;  // sd as in compare::Spread
  int tips = 0;
  double tip = 0;  // ball radii
};

constexpr std::size_t kFewest = 4;  // of a group: fewer tell no scatter

// A scatter about means of their own, less what the readings' own uncertainties put into it.
struct Scatter {
  double squares = 0;
  int n = 0, free = 0;

  void add(const std::vector<std::pair<double, double>>& readings) {  // value, standard uncertainty
    const auto count = static_cast<double>(readings.size());
    if (readings.size() < kFewest) return;
    double mean = 0;
    for (const auto& [value, u] : readings) mean += value / count;
    for (const auto& [value, u] : readings) squares += std::pow(value - mean, 2) - u * u * (1 - 1 / count);
    n += static_cast<int>(readings.size());
    free += static_cast<int>(readings.size()) - 1;
  }
  [[nodiscard]] double sd() const { return free > 0 ? std::sqrt(std::max(0.0, squares / free)) : 0; }
};

// Within groups played to one purpose: same setup, same session. What was played without a setup may be several shots.
Pooled pool(const std::vector<journal::AttemptRow>& rows) {
  std::map<std::pair<int, std::string>, std::vector<const journal::AttemptRow*>> groups;
  for (const journal::AttemptRow& r : rows)
    if (!r.setup.empty() && r.pace && r.direction && *r.pace > 0) groups[{r.session, r.setup}].push_back(&r);
  Pooled out;
  double pace = 0, direction = 0, mark = 0;
  int free = 0, placed = 0;
  Scatter tip;
  for (const auto& [key, group] : groups) {
    std::vector<std::pair<double, double>> right, height;
    for (const auto* r : group) {
      if (r->tip_right && r->u_tip_right) right.emplace_back(*r->tip_right, *r->u_tip_right);
      if (r->tip_height && r->u_tip_height) height.emplace_back(*r->tip_height, *r->u_tip_height);
    }
    tip.add(right);
    tip.add(height);
    if (group.size() < kFewest) continue;
    double mean = 0, sine = 0, cosine = 0;
    for (const auto* r : group) {
      mean += *r->pace / static_cast<double>(group.size());
      sine += std::sin(*r->direction);
      cosine += std::cos(*r->direction);
    }
    const double middle = std::atan2(sine, cosine);
    for (const auto* r : group) {
      pace += std::pow(*r->pace / mean - 1, 2);
      direction += std::pow(wrap_angle(*r->direction - middle), 2);
      if (r->white_placed_off) mark += 0.5 * *r->white_placed_off * *r->white_placed_off, ++placed;
    }
    out.n += static_cast<int>(group.size());
    free += static_cast<int>(group.size()) - 1;
  }
  if (free > 0) out.pace = std::sqrt(pace / free), out.direction = std::sqrt(direction / free);
  if (placed > 0) out.mark = std::sqrt(mark / placed);
  out.tips = tip.n;
  out.tip = tip.sd();
  return out;
}

}  // namespace

Result<compare::Spread> player_spread(const std::string& spread, const std::string& player, const std::string& setup,
                                      double ball_radius) {
  if (const auto named = compare::spread_named(spread)) {
    if (!player.empty())
      return fail("--player {}: a name is looked up in a journal, expected --spread JOURNAL", player);
    return named;
  }
  std::error_code code;
  if (!std::filesystem::is_regular_file(spread, code))
    return fail("--spread {}: expected professional, good-club or club, or a journal's file", spread);
  const auto journal = journal::Journal::open(spread);
  if (!journal) return pass_on(journal);
  Pooled found;
  for (const std::string& title : {setup, std::string()}) {
    const auto rows = journal->attempts({.setup = title, .player = player, .session = std::nullopt});
    if (!rows) return pass_on(rows);
    found = pool(*rows);
    if (found.n >= kFewestRemembered) break;
  }
  if (found.n < kFewestRemembered)
    return fail(
        "{}: remembers {} attempts{} of known setups with pace and direction, in groups of four, expected {} to tell a "
        "scatter",
        spread, found.n, player.empty() ? "" : " of " + player, kFewestRemembered);
  compare::Spread out = *compare::spread_named("good-club");
  out.name = fmt::format("{} ({} attempts)", player.empty() ? "the journal's players" : player, found.n);
  out.pace = found.pace;
  out.direction = found.direction;
  if (found.mark > 0) out.mark = found.mark;
  out.measured = true;
  if (found.tips >= kFewestRemembered && found.tip > 0) out.tip = found.tip * ball_radius, out.tip_measured = true;
  return out;
}

}  // namespace baizetrace::cli
