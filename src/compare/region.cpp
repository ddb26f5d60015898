#include "compare/region.hpp"

#include <algorithm>
#include <map>

#include "base/threads.hpp"

namespace baizetrace::compare {

Result<Region> map_region(const practice::Setup& setup, const table::Table& table, const table::BallSet& set,
                          const motion::Conditions& conditions, const RegionOptions& o) {
  if (!setup.shot) return fail("{}: has no [shot], expected one", setup.file);
  const double radius = set.kinds[0].radius;
  const Vec2 most(table.half_width() - radius, table.half_length() - radius);
  if (!(o.low.x() < o.high.x() && o.low.y() < o.high.y()))
    return fail("--region: expected two opposite corners, the lower left one first");
  if ((o.low.cwiseAbs() - most).maxCoeff() > 0 || (o.high.cwiseAbs() - most).maxCoeff() > 0)
    return fail("--region: a corner is off the bed, expected x within {:.3f} and y within {:.3f}", most.x(), most.y());
  const auto spread = spread_named("club");
  if (!spread) return pass_on(spread);

  Region out;
  out.across = std::max(2, o.across);
  out.along = std::max(2, o.along);
  const int n = out.across * out.along;
  out.places.resize(static_cast<std::size_t>(n));
  std::vector<std::vector<std::string>> taken(static_cast<std::size_t>(n));
  share_out(n, std::max(1, o.threads), [&](int k) {
    RegionPlace& place = out.places[static_cast<std::size_t>(k)];
    const Vec2 share(double(k % out.across) / (out.across - 1), double(k / out.across) / (out.along - 1));
    place.at = o.low + share.cwiseProduct(o.high - o.low);
    practice::Setup there = setup;
    for (practice::Mark& m : there.balls)
      if (m.ball == set.kinds[0].name) m.place = place.at, m.on_spot = false;
    for (const motion::Ball& b : practice::balls_of(there, table, set))
      if (b.name != set.kinds[0].name && (b.place - place.at).norm() < b.radius + radius) {
        place.why = "a ball lies there";
        return;
      }
    RoutesOptions how;
    how.paces = o.paces;
    how.tips = o.tips;
    how.samples = 0;
    how.threads = 1;
    const auto found = find_routes(there, table, set, conditions, *spread, how);
    if (!found) {
      place.why = found.error().what;
      return;
    }
    // The gates split a route finely; a coach's map goes by cushions.
    std::map<std::vector<std::string>, std::pair<int, int>> count;  // with the goal, all
    for (const OneRoute& r : found->routes) {
      auto& [goal, all] = count[r.cushions];
      goal += r.with_goal;
      all += r.strikes;
    }
    const std::vector<std::string>* best = nullptr;
    std::pair<int, int> most_of{0, 0};
    for (const auto& [key, c] : count)
      if (!best || c > most_of) best = &key, most_of = c;
    if (!best) {
      place.why = "no strike pots the ball and keeps the white up";
      return;
    }
    taken[static_cast<std::size_t>(k)] = *best;
    place.route = 0;
    place.goal = most_of.first > 0;
    place.share = double(place.goal ? most_of.first : most_of.second) / std::max(1, found->aimed);
  });

  std::map<std::vector<std::string>, int> places;
  for (std::size_t k = 0; k < taken.size(); ++k)
    if (out.places[k].route >= 0) ++places[taken[k]];
  for (const auto& [key, c] : places) out.routes.push_back(key);
  std::stable_sort(out.routes.begin(), out.routes.end(),
                   [&](const auto& a, const auto& b) { return places[a] > places[b]; });
  for (std::size_t k = 0; k < taken.size(); ++k)
    if (out.places[k].route >= 0)
      out.places[k].route =
          static_cast<int>(std::find(out.routes.begin(), out.routes.end(), taken[k]) - out.routes.begin());
  return out;
}

}  // namespace baizetrace::compare
