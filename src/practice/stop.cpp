#include "practice/stop.hpp"

#include <algorithm>

namespace baizetrace::practice {

std::optional<Stop> stop_of(const BallPath& white, const Place& rest, const Setup& setup) {
  if (!setup.goal || !setup.goal->zone || white.contacts.empty()) return std::nullopt;
  if (setup.goal->cushions != motion::cushions_of(white)) return std::nullopt;
  const Contact& last = white.contacts.back();
  const Vec2 run = rest.at - last.at;
  constexpr double kLeastRun = 0.05;  // m: a shorter last run has no direction worth the name
  if (run.norm() < kLeastRun) return std::nullopt;
  const Vec2 along = run.normalized(), off = rest.at - setup.goal->zone->middle();
  return Stop{off.dot(along), off.dot(left_of(along)), rest.u.maxCoeff()};
}

std::optional<Stop> stop_beside(const Attempt& a, const Setup& setup) {
  const auto white = a.balls.find("white");
  const auto rest = rest_of(a);
  if (white == a.balls.end() || !rest) return std::nullopt;
  return stop_of(white->second, rest->place, setup);
}

std::optional<Rest> rest_of(const Attempt& a) {
  if (a.in_off) return std::nullopt;
  if (const auto after = a.after.find("white"); after != a.after.end()) return Rest{after->second, false};
  if (const auto white = a.balls.find("white"); white != a.balls.end() && white->second.rest)
    return Rest{*white->second.rest, false};
  if (a.rest_extrapolated) return Rest{*a.rest_extrapolated, true};
  return std::nullopt;
}

std::string stop_words(const Stop& s) {
  const double least = std::max(0.01, 2 * s.u);  // m: nothing is said that is not surely so
  std::string out;
  if (std::abs(s.along) > least)
    out = fmt::format("{:.0f} cm {}", 100 * std::abs(s.along), s.along < 0 ? "short" : "long");
  if (std::abs(s.across) > least)
    out += fmt::format("{}{:.0f} cm {}", out.empty() ? "" : ", ", 100 * std::abs(s.across),
                       s.across > 0 ? "left" : "right");
  return out.empty() ? "on the mark" : out;
}

}  // namespace baizetrace::practice
