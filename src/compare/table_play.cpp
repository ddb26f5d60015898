#include "compare/table_play.hpp"

#include <algorithm>
#include <cmath>

#include "base/median.hpp"
#include "motion/cushion_contact.hpp"

namespace baizetrace::compare {
namespace {

constexpr double kLeastRun = 0.25;     // s since the contact before: shorter and the ball still slides
constexpr double kLeastNormal = 0.25;  // m/s square to the cushion: slower and 5 mm/s of error is 2 % of rebound
constexpr double kLargestShift = 0.3;  // restitution beyond this is no cushion
constexpr double kTypicalSpeed = 1.0;  // m/s at which the value is quoted
constexpr double kLeastU = 0.01;       // of restitution: the model's own (spin at the cushion is not seen)

const table::Nose* nose_of(const table::Table& table, const std::string& cushion) {
  for (const table::Nose& n : table.noses())
    if (n.cushion == cushion) return &n;
  return nullptr;
}

motion::Conditions shifted(motion::Conditions c, double by) {
  for (auto& row : c.cushion_restitution) row[1] = std::clamp(row[1] + by, 0.05, 1.0);
  return c;
}

// Speed away from the cushion of a ball that rolled in.
double rebound_of(const Vec2& in, const Vec2& inward, double radius, double nose_height,
                  const motion::Conditions& conditions) {
  motion::State s;
  s.velocity = in;
  s.spin = Vec3(-in.y(), in.x(), 0) / radius;
  return motion::hit_cushion(s, radius, nose_height, -inward, conditions).normal_out;
}

// The shift with which the model gives this rebound: bisection, the rebound grows with restitution.
std::optional<double> shift_for(double normal_out, const Vec2& in, const Vec2& inward, double radius,
                                double nose_height, const motion::Conditions& conditions) {
  double low = -kLargestShift, high = kLargestShift;
  const auto miss = [&](double shift) {
    return rebound_of(in, inward, radius, nose_height, shifted(conditions, shift)) - normal_out;
  };
  if (miss(low) > 0 || miss(high) < 0) return std::nullopt;
  for (int i = 0; i < 30; ++i) {
    const double middle = 0.5 * (low + high);
    (miss(middle) > 0 ? high : low) = middle;
  }
  return 0.5 * (low + high);
}

}  // namespace

Rebound read_rebound(std::span<const practice::Attempt> attempts, const table::Table& table,
                     const table::BallSet& balls, const motion::Conditions& conditions) {
  std::vector<double> shifts;
  for (const practice::Attempt& a : attempts)
    for (const auto& [ball, path] : a.balls) {
      double before = path.pieces.empty() ? a.strike_time : path.pieces.front().from;
      for (std::size_t i = 0; i < path.contacts.size(); ++i) {
        const Contact& c = path.contacts[i];
        const double since = c.time - before;
        before = c.time;
        const double until = i + 1 < path.contacts.size() ? path.contacts[i + 1].time - c.time : kLeastRun;
        if (c.kind != ContactKind::cushion || c.inferred || since < kLeastRun || until < kLeastRun / 2) continue;
        const table::Nose* nose = nose_of(table, c.with);
        if (!nose) continue;
        const Vec2 in = c.speed_in * along_heading(c.heading_in), out = c.speed_out * along_heading(c.heading_out);
        const double normal_in = -in.dot(nose->inward), normal_out = out.dot(nose->inward);
        if (normal_in < kLeastNormal || normal_out <= 0) continue;
        if (const auto shift =
                shift_for(normal_out, in, nose->inward, balls.radius_of(ball), table.nose_height(), conditions))
          shifts.push_back(*shift);
      }
    }
  Rebound r;
  if (shifts.empty()) return r;
  r.contacts = static_cast<int>(shifts.size());
  r.shift = upper_median(shifts);
  std::vector<double> off;
  for (double s : shifts) off.push_back(std::abs(s - r.shift));
  constexpr double kSdFromMad = 1.4826;  // of a normal distribution
  constexpr double kOneContact = 0.04;   // sd of restitution read off a single contact, footage: 0.02-0.04
  const double sd = std::max(shifts.size() < 4 ? kOneContact : 0.0, kSdFromMad * upper_median(off));
  r.u = std::max(kLeastU, sd / std::sqrt(static_cast<double>(shifts.size())));
  return r;
}

PlayedConditions conditions_as_played(const motion::Conditions& assumed, const path::Play& play,
                                      const Rebound& rebound) {
  PlayedConditions p;
  p.conditions = assumed;
  std::vector<std::string> measured;
  const auto take = [&](const char* name, const path::Reading& reading, double& into) {
    if (reading.measured) {
      into = reading.value;
      measured.emplace_back(name);
    }
    p.values[name] = {into, reading.u, reading.measured};
  };
  take("rolling", play.rolling, p.conditions.rolling);
  take("sliding", play.sliding, p.conditions.sliding);
  if (rebound.contacts > 0) {
    p.conditions = shifted(p.conditions, rebound.shift);
    measured.emplace_back("rebound");
  }
  constexpr double kAssumedRebound = 0.05;  // between the fast and the slow cloth of the trade's tables
  p.values["cushion_restitution"] = {p.conditions.cushion_restitution_at(kTypicalSpeed),
                                     rebound.contacts > 0 ? rebound.u : kAssumedRebound, rebound.contacts > 0};
  if (measured.empty()) {
    p.in_words = "all conditions assumed";
  } else {
    std::string list = measured[0];
    for (std::size_t i = 1; i < measured.size(); ++i) list += (i + 1 == measured.size() ? " and " : ", ") + measured[i];
    p.in_words = list + " measured on this table, the rest assumed";
  }
  return p;
}

}  // namespace baizetrace::compare
