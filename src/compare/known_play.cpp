#include "compare/known_play.hpp"

#include <algorithm>

#include "base/toml.hpp"

namespace baizetrace::compare {

motion::Conditions turned(const motion::Conditions& conditions, const PlayVector& by) {
  motion::Conditions c = conditions;
  c.sliding = std::clamp(c.sliding + by[0], 0.05, 0.45);
  c.rolling = std::clamp(c.rolling + by[1], 0.002, 0.05);
  c.spin_decay = std::clamp(c.spin_decay + by[2], 0.5, 60.0);
  c.ball_restitution = std::clamp(c.ball_restitution + by[3], 0.5, 1.0);
  c.ball_friction[0] = std::clamp(c.ball_friction[0] + by[4], 0.0, 0.5);
  for (auto& [speed, value] : c.cushion_restitution)
    value = std::clamp(value + by[5] - by[6] * (speed - kFallMiddle) / (kFallTo - kFallFrom), 0.3, 1.0);
  c.cushion_friction = std::clamp(c.cushion_friction + by[7], 0.0, 0.38);
  c.slope += by.segment<2>(static_cast<Eigen::Index>(kSlopePlay));
  c.nap.drift += by[static_cast<Eigen::Index>(kNapDrift)];
  c.nap.side += by[static_cast<Eigen::Index>(kNapSide)];
  // Steeper, or a stronger nap, and no ball comes to rest.
  constexpr double kSteepest = 0.0021;  // of g, drawing a ball that rolls
  if (const double pull = c.strongest_pull(), most = std::min(kSteepest, 0.86 * c.rolling); pull > most) {
    c.slope *= most / pull;
    c.nap.drift *= most / pull;
    c.nap.side *= most / pull;
  }
  return c;
}

double value_of(const motion::Conditions& c, std::size_t play) {
  switch (play) {
    case 0:
      return c.sliding;
    case 1:
      return c.rolling;
    case 2:
      return c.spin_decay;
    case 3:
      return c.ball_restitution;
    case 4:
      return c.ball_friction[0];
    case 5:
      return c.cushion_restitution_at(kFallMiddle);
    case 6:
      return c.cushion_restitution_at(kFallFrom) - c.cushion_restitution_at(kFallTo);
    case 7:
      return c.cushion_friction;
    case kNapDrift:
      return c.nap.drift;
    case kNapSide:
      return c.nap.side;
    default:
      return c.slope[static_cast<Eigen::Index>(play - kSlopePlay)];
  }
}

KnownPlay assumed_play(const motion::Conditions& conditions) {
  KnownPlay k;
  k.conditions = conditions;
  // Half the ranges between a match cloth and a slow club's, and between two makers' cushions.
  k.u << 0.03, 0.0015, 2.5, 0.02, 0.01, 0.04, 0.03, 0.03, 0, 0, 0, 0;
  return k;
}

Result<KnownPlay> read_known_play(const std::string& file) {
  const auto conditions = motion::read_conditions(file);
  if (!conditions) return pass_on(conditions);
  KnownPlay k = assumed_play(*conditions);
  auto toml = TomlTable::read(file, "conditions");
  if (!toml) return pass_on(toml);
  auto u = toml->maybe_table("uncertainty");
  if (!u) return k;
  for (std::size_t i = 0; i < kPlays; ++i)
    if (const auto value = u->maybe_number(kPlayNames[i])) k.u[static_cast<int>(i)] = *value;
  if (auto done = u->finish(); !done) return pass_on(done);
  k.tuned = true;
  return k;
}

KnownPlay session_play(const motion::Conditions& assumed, const std::map<std::string, practice::ConditionValue>& read) {
  KnownPlay k = assumed_play(assumed);
  // A reading is never surer than the model behind it.
  constexpr double kLeastShare = 0.02, kLeastRebound = 0.04;
  const auto measured = [&](const char* name) -> const practice::ConditionValue* {
    const auto it = read.find(name);
    return it != read.end() && it->second.measured ? &it->second : nullptr;
  };
  if (const auto* v = measured("sliding")) {
    k.conditions.sliding = v->value;
    // What the ball's slide takes is told apart from its spin only in part: read off drawn footage, 0.05 off at worst.
    constexpr double kSlidingSure = 0.015;
    k.u[0] = std::min(k.u[0], std::max(2 * v->u, kSlidingSure));
  }
  k.tuned = measured("rolling") && measured("cushion_restitution");
  if (const auto* v = measured("rolling")) {
    k.conditions.rolling = v->value;
    k.u[1] = std::min(k.u[1], std::max(v->u, kLeastShare * v->value));
  }
  if (const auto* v = measured("cushion_restitution")) {
    constexpr double kQuotedAt = 1.0;  // m/s
    PlayVector by = PlayVector::Zero();
    by[5] = v->value - assumed.cushion_restitution_at(kQuotedAt);
    k.conditions = turned(k.conditions, by);
    k.u[5] = std::min(k.u[5], std::max(2 * v->u, kLeastRebound));
  }
  return k;
}

}  // namespace baizetrace::compare
