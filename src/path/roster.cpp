#include "path/roster.hpp"

#include <algorithm>

#include "path/assignment.hpp"

namespace baizetrace::path {

void add_colour(std::vector<double>& sum, const Sighting& s) {
  if (s.colour.empty()) return;
  if (sum.size() < s.colour.size()) sum.resize(s.colour.size(), 0.0);
  for (std::size_t k = 0; k < s.colour.size(); ++k) sum[k] += std::max(static_cast<double>(s.colour[k]), kWorstColour);
}

double against(const Sighting& s, std::size_t kind) {
  if (kind >= s.colour.size()) return 2.0;  // not read: neither for nor against
  return std::clamp(-static_cast<double>(s.colour[kind]), 0.0, -kWorstColour);
}

std::optional<std::size_t> clear_kind(const std::vector<double>& colour, int sightings, double clearly) {
  if (colour.size() < 2) return std::nullopt;
  const auto best = std::max_element(colour.begin(), colour.end());
  for (auto c = colour.begin(); c != colour.end(); ++c)
    if (c != best && *best - *c < clearly * sightings) return std::nullopt;
  return static_cast<std::size_t>(best - colour.begin());
}

bool rather_another(const Candidate& c, std::size_t kind) {
  constexpr double kRather = 1.4;
  if (kind >= c.colour.size()) return false;
  const double best = *std::max_element(c.colour.begin(), c.colour.end());
  return (best - c.colour[kind]) / std::max(1, c.stay.count()) > kRather;
}

std::vector<int> kinds_for(const std::vector<const Candidate*>& candidates, const std::vector<int>& free,
                           const std::vector<std::optional<Vec2>>& homes) {
  std::vector<std::size_t> slots;
  for (std::size_t k = 0; k < free.size(); ++k)
    for (int i = 0; i < free[k]; ++i) slots.push_back(k);
  const auto n = static_cast<Eigen::Index>(candidates.size());
  // Beside the slots, each candidate may be no ball at all, at a price per sighting.
  constexpr double kNoBall = 4.0;
  // Of two that have its colour the ball is rather the one that is seen whole: a cue's butt is round at one end only.
  constexpr double kNotWhole = 6.0;
  constexpr double kAtHome = 1.5, kHome = 0.025;  // of cost; m from its spot
  constexpr double kMany = 1.0;                   // of cost: what there are many of is rather what it is
  Eigen::MatrixXd cost(n, static_cast<Eigen::Index>(slots.size()) + n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Candidate& c = *candidates[static_cast<std::size_t>(i)];
    const double per = 1.0 / std::max(1, c.stay.count());
    const double lacks = kNotWhole * std::max(0.0, 1 - per * c.visible);
    for (std::size_t s = 0; s < slots.size(); ++s) {
      const std::size_t k = slots[s];
      const bool at_home = k < homes.size() && homes[k] && (c.stay.mean() - *homes[k]).norm() < kHome;
      cost(i, static_cast<Eigen::Index>(s)) = lacks + (k < c.colour.size() ? -c.colour[k] * per : 2.0) -
                                              (at_home ? kAtHome : 0.0) - (free[k] > 1 ? kMany : 0.0);
    }
    for (Eigen::Index j = 0; j < n; ++j)
      cost(i, static_cast<Eigen::Index>(slots.size()) + j) = i == j ? kNoBall : kForbidden;
  }
  std::vector<int> out;
  for (const int column : assign(cost))
    out.push_back(column >= 0 && column < static_cast<int>(slots.size())
                      ? static_cast<int>(slots[static_cast<std::size_t>(column)])
                      : -1);
  return out;
}

std::string Names::name(const table::BallKind& kind, const Vec2& at, const std::vector<std::string>& taken) const {
  if (kind.count == 1) return kind.name;
  const auto is_free = [&](const std::string& n) { return std::find(taken.begin(), taken.end(), n) == taken.end(); };
  constexpr double kOnItsMark = 0.05;  // m: a ball put on a mark is nearer than this
  double best = kOnItsMark;
  std::string name;
  for (const auto& [mark, place] : marks_) {
    const double d = (place - at).norm();
    if (mark.starts_with(kind.name + "-") && is_free(mark) && d < best) best = d, name = mark;
  }
  if (!name.empty()) return name;
  const auto is_mark = [&](const std::string& n) {
    return std::any_of(marks_.begin(), marks_.end(), [&](const auto& m) { return m.first == n; });
  };
  // Numbers that marks do not use first, so that a mark's name stays for its ball.
  for (const bool marks_too : {false, true})
    for (int i = 1; i <= kind.count; ++i) {
      const std::string n = kind.name + "-" + std::to_string(i);
      if (is_free(n) && (marks_too || !is_mark(n))) return n;
    }
  return kind.name + "-" + std::to_string(kind.count + 1);
}

}  // namespace baizetrace::path
