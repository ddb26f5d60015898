// How an evening's figures change from one to the next: led by the spread, careful with percentages.
#include <algorithm>
#include <cmath>
#include <map>

#include "journal/journal.hpp"

namespace baizetrace::journal {
Result<Trend> Journal::trend(const Filter& filter) const {
  const auto rows = attempts(filter);
  if (!rows) return pass_on(rows);
  Trend out;
  out.one_shot = std::all_of(rows->begin(), rows->end(),
                             [&](const AttemptRow& r) { return !r.setup.empty() && r.setup == rows->front().setup; });
  std::vector<double> order, spread, slopes;
  for (std::size_t i = 0; i < rows->size();) {
    std::size_t end = i;
    while (end < rows->size() && (*rows)[end].session == (*rows)[i].session) ++end;
    TrendRow t;
    t.session = (*rows)[i].session;
    t.recorded = (*rows)[i].recorded;
    t.attempts = static_cast<int>(end - i);
    std::vector<double> from_mark, along, across, pace, numbers;
    for (; i < end; ++i) {
      const AttemptRow& r = (*rows)[i];
      if (r.from_mark) from_mark.push_back(*r.from_mark), numbers.push_back(r.number);
      if (r.along) along.push_back(*r.along), across.push_back(*r.across);
      if (r.pace) pace.push_back(*r.pace);
      if (r.pot) ++t.pots_of, t.pots += *r.pot ? 1 : 0;
      if (r.hit) ++t.judged, t.hits += *r.hit ? 1 : 0;
    }
    t.pot_interval = practice::wilson(t.pots, t.pots_of);
    if (!from_mark.empty()) t.median_from_mark = practice::median(from_mark);
    if (!along.empty()) {
      const auto a = practice::mean_sd(along), b = practice::mean_sd(across);
      t.along_mean = a.mean, t.along_sd = a.sd, t.across_mean = b.mean, t.across_sd = b.sd;
    }
    if (pace.size() > 1) t.pace_sd = practice::mean_sd(pace).sd;
    if (static_cast<int>(from_mark.size()) >= kFewestForTiring) {
      t.tiring = practice::theil_sen(numbers, from_mark);
      if (t.tiring) slopes.push_back(*t.tiring);
    }
    if (t.median_from_mark)
      order.push_back(static_cast<double>(out.evenings.size())), spread.push_back(*t.median_from_mark);
    out.evenings.push_back(std::move(t));
  }
  // Of one setup alone: how another shot goes would be read as how this one does.
  if (!out.one_shot) return out;
  if (static_cast<int>(spread.size()) >= kFewestEvenings) {
    out.spread_per_evening = practice::theil_sen(order, spread);
    out.spread_by_chance = practice::by_chance(spread);
  }
  if (static_cast<int>(slopes.size()) >= kFewestEvenings) {
    out.tiring = practice::mean_sd(slopes);
    const double half = practice::student(practice::kNinetyFive, out.tiring->n - 1.0) * out.tiring->sd /
                        std::sqrt(static_cast<double>(out.tiring->n));
    out.tiring_interval = practice::Interval{out.tiring->mean - half, out.tiring->mean + half};
  }
  int pots[2] = {0, 0}, of[2] = {0, 0};
  for (std::size_t k = 0; k < out.evenings.size(); ++k) {
    const int half = 2 * k < out.evenings.size() ? 0 : 1;
    pots[half] += out.evenings[k].pots;
    of[half] += out.evenings[k].pots_of;
  }
  if (of[0] >= kFewestForPercent && of[1] >= kFewestForPercent)
    out.halves = std::pair(practice::wilson(pots[0], of[0]), practice::wilson(pots[1], of[1]));
  return out;
}

}  // namespace baizetrace::journal
