#include "motion/conditions.hpp"

#include <algorithm>
#include <cmath>

#include "base/toml.hpp"

namespace baizetrace::motion {

namespace {
// What a value may be. Wide on purpose: they catch slips of the pen and other units, not unusual tables. With sliding
// and cushion friction at their tops and the nose at kHighestNose a ball still comes off the cushion.
struct Range {
  const char* key;
  double low, high;
  const char* unit;
};
constexpr Range kSliding{"sliding", 0.02, 0.5, ""};
constexpr Range kRolling{"rolling", 0.001, 0.1, ""};
constexpr Range kSpinDecay{"spin_decay", 0.1, 100.0, " rad/s2"};
constexpr Range kBallRestitution{"ball_restitution", 0.3, 1.0, ""};
constexpr Range kBallFriction{"ball_friction", 0.0, 1.0, ""};
constexpr Range kBallFrictionFall{"ball_friction", 0.0, 100.0, " s/m"};
constexpr Range kCushionRestitution{"cushion_restitution", 0.2, 1.0, ""};
constexpr Range kCushionSpeed{"cushion_restitution", 0.0, 20.0, " m/s"};
constexpr Range kCushionFriction{"cushion_friction", 0.0, 0.4, ""};
constexpr Range kSquirt{"squirt", -0.2, 0.2, " rad per R"};
constexpr Range kSlope{"slope", -0.003, 0.003, " rad"};
constexpr Range kNap{"nap", -0.003, 0.003, " of g"};

template <class Fault>
void check(const Range& r, double value, Fault&& fault) {
  if (!(value >= r.low && value <= r.high))
    fault(r.key, fmt::format("is {}, expected {} to {}{}", value, r.low, r.high, r.unit));
}

template <class Fault>
void check_all(const Conditions& c, Fault&& fault) {
  check(kSliding, c.sliding, fault);
  check(kRolling, c.rolling, fault);
  check(kSpinDecay, c.spin_decay, fault);
  check(kBallRestitution, c.ball_restitution, fault);
  check(kBallFriction, c.ball_friction[0], fault);
  check(kBallFriction, c.ball_friction[1], fault);
  check(kBallFrictionFall, c.ball_friction[2], fault);
  if (c.cushion_restitution.empty())
    fault("cushion_restitution", std::string("is empty, expected [[speed, value], ...]"));
  for (std::size_t i = 0; i < c.cushion_restitution.size(); ++i) {
    check(kCushionSpeed, c.cushion_restitution[i][0], fault);
    check(kCushionRestitution, c.cushion_restitution[i][1], fault);
    if (i > 0 && !(c.cushion_restitution[i][0] > c.cushion_restitution[i - 1][0]))
      fault("cushion_restitution", fmt::format("speed {} follows {}, expected rising speeds",
                                               c.cushion_restitution[i][0], c.cushion_restitution[i - 1][0]));
  }
  check(kCushionFriction, c.cushion_friction, fault);
  check(kSquirt, c.squirt, fault);
  check(kSlope, c.slope.x(), fault);
  check(kSlope, c.slope.y(), fault);
  check(kNap, c.nap.drift, fault);
  check(kNap, c.nap.side, fault);
  // What draws a ball harder than its rolling resistance holds would never let it come to rest.
  if (const double pull = c.strongest_pull(), most = Conditions::kMostPull * c.rolling; pull >= most)
    fault(c.nap.none() ? "slope" : "nap",
          fmt::format("draws a ball by {:.5f} of g{}, expected under {} with rolling = {}, or no ball comes to rest",
                      pull,
                      c.slope.isZero() ? ""
                      : c.nap.none()   ? " (5/7 of the slope)"
                                       : " together with the slope",
                      most, c.rolling));
}
}  // namespace

double Conditions::cushion_restitution_at(double speed) const {
  const auto& rows = cushion_restitution;
  if (rows.size() == 1) return rows.front()[1];
  std::size_t i = 1;
  while (i + 1 < rows.size() && speed > rows[i][0]) ++i;
  const double share = (speed - rows[i - 1][0]) / (rows[i][0] - rows[i - 1][0]);
  return std::clamp(rows[i - 1][1] + share * (rows[i][1] - rows[i - 1][1]), 0.0, 1.0);
}

double Conditions::strongest_pull() const {
  const Vec2 down = 5.0 / 7.0 * slope;
  return std::hypot(std::abs(down.x()) + std::abs(nap.side), down.y() + nap.drift);
}

double Conditions::ball_friction_at(double slip) const {
  return ball_friction[0] + ball_friction[1] * std::exp(-ball_friction[2] * slip);
}

Result<Done> Conditions::validate() const {
  std::string faults;
  check_all(*this, [&](const char* key, const std::string& why) {
    faults += fmt::format("{}{} {}", faults.empty() ? "" : "; ", key, why);
  });
  if (!faults.empty()) return fail("conditions: {}", faults);
  return Done{};
}

Result<Conditions> read_conditions(const std::string& file) {
  auto toml = TomlTable::read(file, "conditions");
  if (!toml) return pass_on(toml);
  Conditions c;
  c.sliding = toml->number("sliding");
  c.rolling = toml->number("rolling");
  c.spin_decay = toml->number("spin_decay");
  c.ball_restitution = toml->number("ball_restitution");
  if (!toml->has("ball_friction")) toml->fault("ball_friction", "is missing, expected [a, b, c]");
  if (const auto f = toml->maybe_numbers("ball_friction")) {
    if (f->size() != 3)
      toml->fault("ball_friction", fmt::format("expected [a, b, c], found {} numbers", f->size()));
    else
      std::copy(f->begin(), f->end(), c.ball_friction.begin());
  }
  if (!toml->has("cushion_restitution"))
    toml->fault("cushion_restitution", "is missing, expected [[speed, value], ...]");
  if (const auto rows = toml->maybe_points("cushion_restitution")) {
    c.cushion_restitution.clear();
    for (const Vec2& row : *rows) c.cushion_restitution.push_back({row.x(), row.y()});
  }
  c.cushion_friction = toml->number("cushion_friction");
  c.squirt = toml->number("squirt", 0.0);
  c.slope = toml->maybe_point("slope").value_or(Vec2::Zero());
  const Vec2 nap = toml->maybe_point("nap").value_or(Vec2::Zero());
  c.nap = {.drift = nap[0], .side = nap[1]};
  // What is known of each, as `tune` writes it; read by those who fit (compare/known_play.hpp).
  if (auto u = toml->maybe_table("uncertainty"))
    for (const std::string& key : u->keys())
      if (!(u->number(key) > 0)) u->fault(key, "expected a number above 0");
  check_all(c, [&](const char* key, const std::string& why) { toml->fault(key, why); });
  if (auto done = toml->finish(); !done) return pass_on(done);
  return c;
}

}  // namespace baizetrace::motion
