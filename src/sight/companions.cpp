#include "sight/companions.hpp"

#include <algorithm>

namespace baizetrace::sight {

namespace {
constexpr double kReach = 0.13;    // m: drawn shadows lay 50 to 105 mm off
constexpr double kSame = 0.010;    // m, all along: a shadow beside its ball is fitted to 5 mm
constexpr double kLongWay = 0.15;  // m: past a ball that lies there kSame is over after a fifteenth of it
constexpr int kFewest = 4;         // frames in which both moved
constexpr double kDarker = 0.7;    // of the other's brightness, at most: not measured

const KnownBall* seen(const std::vector<KnownBall>& known, int id) {
  for (const KnownBall& k : known)
    if (k.id == id) return k.seen ? &k : nullptr;
  return nullptr;
}
}  // namespace

std::vector<int> Companions::follow(const std::vector<KnownBall>& known) {
  std::erase_if(pairs_, [&](const Pair& p) {
    return std::none_of(known.begin(), known.end(), [&](const KnownBall& k) { return k.id == p.ball; });
  });
  std::vector<int> out;
  for (Pair& p : pairs_) {
    const KnownBall *ball = seen(known, p.ball), *shadow = seen(known, p.shadow);
    if (p.told || !ball || !shadow) continue;
    const Vec2 offset = shadow->at - ball->at;
    const bool along = (offset - p.offset).norm() < kSame;
    if (!along) p.offset = offset;  // from here on, perhaps
    p.way = along ? p.way + (ball->at - p.last).norm() : 0;
    p.frames = !along ? 0 : p.frames + (ball->moving && shadow->moving);
    p.last = ball->at;
    p.told = p.way > kLongWay && p.frames >= kFewest;
    if (p.told) out.push_back(p.shadow);
  }
  for (const KnownBall& ball : known)
    for (const KnownBall& dark : known) {
      if (!ball.seen || !dark.seen || !(ball.moving || dark.moving) || dark.colour[0] > kDarker * ball.colour[0] ||
          (dark.at - ball.at).norm() > kReach)
        continue;
      if (std::none_of(pairs_.begin(), pairs_.end(),
                       [&](const Pair& p) { return p.ball == ball.id && p.shadow == dark.id; }))
        pairs_.push_back({.ball = ball.id, .shadow = dark.id, .offset = dark.at - ball.at, .last = ball.at});
    }
  return out;
}

bool Companions::shadow_at(const std::vector<KnownBall>& known, const Vec2& at, double within) const {
  return std::any_of(pairs_.begin(), pairs_.end(), [&](const Pair& p) {
    const KnownBall* ball = p.told ? seen(known, p.ball) : nullptr;
    return ball && (at - ball->at - p.offset).norm() < within;
  });
}

}  // namespace baizetrace::sight
