#include "sight/colour.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace baizetrace::sight {

namespace {
constexpr double kBlack = 16, kRange = 219;  // of luma, levels
// How balls of one kind differ from their expected look within a clip, levels: light falls off over the table.
constexpr double kLumaSd = 14, kLumaShare = 0.10, kChromaSd = 5, kChromaShare = 0.10;
// Before samples were taken the look is a guess.
constexpr double kGuess = 1.8;
constexpr double kClear = 6;  // log likelihood by which a sample must belong to its kind to move it
// And by which a body must fit a kind better than any other body does. With 6 a drawn clip's white was left a guess,
// which a shadow on the cloth fitted as well.
constexpr double kClearOfBodies = 2;
constexpr double kStrange = 20;     // squared standard deviations: such a body is no sample of its kind
constexpr double kMostWeight = 40;  // samples
// What a light costs under which none of the bodies is the white (always a set's first kind): nobody plays without it,
// so that a pale yellow body on a table without another is the white in warm light.
constexpr double kNoWhite = 8;
constexpr double kVeil = 0.12;  // share of white, 1 sigma
}  // namespace

Eigen::Vector3d ycbcr_of_srgb(const Eigen::Vector3d& srgb) {
  // BT.709 (ITU-R BT.709-6, items 3.2 to 3.4), gamma-coded values.
  constexpr double kr = 0.2126, kb = 0.0722, kg = 1 - kr - kb;
  const double r = srgb[0] / 255, g = srgb[1] / 255, b = srgb[2] / 255;
  const double y = kr * r + kg * g + kb * b;
  return {kBlack + kRange * y, 128 + 224 * (b - y) / (2 * (1 - kb)), 128 + 224 * (r - y) / (2 * (1 - kr))};
}

Colours::Colours(const table::BallSet& balls) {
  for (const table::BallKind& k : balls.kinds) kinds_.push_back({k.name, k.srgb, ycbcr_of_srgb(k.srgb), 0, k.count});
}

double Colours::distance2(const Kind& kind, const Eigen::Vector3d& look, const Eigen::Vector3d& body) {
  const double guess = kind.weight >= 1 ? 1 : kGuess;
  const double sl = guess * (kLumaSd + kLumaShare * (look[0] - 16));
  const double saturation = std::hypot(look[1] - 128, look[2] - 128);
  const double sc = guess * (kChromaSd + kChromaShare * saturation);
  const double dl = (body[0] - look[0]) / sl, db = (body[1] - look[1]) / sc, dr = (body[2] - look[2]) / sc;
  return dl * dl + db * db + dr * dr;
}

void Colours::learn(std::span<const Eigen::Vector3d> bodies, std::span<const Eigen::Vector3d> clear) {
  if (bodies.size() < 2) return;
  double best = std::numeric_limits<double>::max();
  std::vector<Eigen::Vector3d> looks(kinds_.size()), best_looks;
  std::vector<int> used(kinds_.size());
  // How a kind looks in a light, saturation left: dim pictures, blurred by lens and encoder, have less of it; and where
  // black is this share of white: phones lift shadows, and stray light does.
  const auto look_in = [&](std::size_t k, const Eigen::Vector3d& light, double saturation, double veil) {
    const Eigen::Vector3d full = ycbcr_of_srgb(kinds_[k].srgb.cwiseProduct(light).cwiseMin(255));
    return Eigen::Vector3d(kBlack + veil * kRange + (1 - veil) * (full[0] - kBlack), 128 + saturation * (full[1] - 128),
                           128 + saturation * (full[2] - 128));
  };
  for (double e = 0.40; e < 1.25; e *= 1.06)
    for (double r = 0.80; r < 1.26; r *= 1.06)
      for (double b = 0.75; b < 1.26; b *= 1.06)
        for (const double s : {1.0, 0.8, 0.65, 0.5})
          for (const double veil : {0.0, 0.1, 0.2, 0.3}) {
            double cost = 2 * std::pow(std::log(r) / 0.15, 2) + 2 * std::pow(std::log(b) / 0.15, 2) +
                          std::pow(std::log(e / 0.85) / 0.4, 2) + std::pow(std::log(s) / 0.5, 2) +
                          std::pow(veil / kVeil, 2);
            if (cost >= best) continue;
            for (std::size_t k = 0; k < kinds_.size(); ++k)
              looks[k] = look_in(k, Eigen::Vector3d(e * r, e, e * b), s, veil);
            std::fill(used.begin(), used.end(), 0);
            for (const Eigen::Vector3d& body : bodies) {
              double least = std::numeric_limits<double>::max();
              std::size_t which = 0;
              for (std::size_t k = 0; k < kinds_.size(); ++k) {
                const double d = distance2(kinds_[k], looks[k], body) + (used[k] >= kinds_[k].count ? 12 : 0);
                if (d < least) {
                  least = d;
                  which = k;
                }
              }
              ++used[which];
              cost += std::min(least, 30.0);
            }
            if (used[0] == 0) cost += kNoWhite;
            if (cost < best) {
              best = cost;
              best_looks = looks;
            }
          }
  for (std::size_t k = 0; k < kinds_.size(); ++k) kinds_[k].look = best_looks[k];
  // A ball that there is one of: of all the clear that one looks most like it, by far, and like nothing else more.
  std::vector<std::pair<std::size_t, std::size_t>> sure;
  for (std::size_t k = 0; k < kinds_.size(); ++k) {
    if (kinds_[k].count != 1 || clear.empty()) continue;
    double least = std::numeric_limits<double>::max(), next = least;
    std::size_t which = 0;
    for (std::size_t i = 0; i < clear.size(); ++i) {
      const double d = distance2(kinds_[k], kinds_[k].look, clear[i]);
      if (d < least) {
        next = std::exchange(least, d);
        which = i;
      } else {
        next = std::min(next, d);
      }
    }
    const bool mutual = std::all_of(kinds_.begin(), kinds_.end(), [&](const Kind& other) {
      return &other == &kinds_[k] || distance2(other, other.look, clear[which]) > least;
    });
    if (mutual && least < kStrange && 0.5 * (next - least) > kClearOfBodies) sure.emplace_back(k, which);
  }
  for (const auto& [k, i] : sure) add(kinds_[k], clear[i]);
  for (const Eigen::Vector3d& body : bodies) take(body);
}

void Colours::add(Kind& kind, const Eigen::Vector3d& body) {
  kind.weight = std::min(kind.weight + 1, kMostWeight);
  kind.look += (body - kind.look) / (kind.weight + 0.25);
}

void Colours::take(const Eigen::Vector3d& body) {
  std::size_t best = 0;
  double d1 = std::numeric_limits<double>::max(), d2 = d1;
  for (std::size_t k = 0; k < kinds_.size(); ++k) {
    const double d = distance2(kinds_[k], kinds_[k].look, body);
    if (d < d1) {
      d2 = d1;
      d1 = d;
      best = k;
    } else {
      d2 = std::min(d2, d);
    }
  }
  if (d1 > kStrange || 0.5 * (d2 - d1) < kClear) return;
  add(kinds_[best], body);
}

std::vector<float> Colours::likelihood(const Eigen::Vector3d& body) const {
  std::vector<float> l;
  for (const Kind& k : kinds_) l.push_back(static_cast<float>(-0.5 * distance2(k, k.look, body)));
  const float best = *std::max_element(l.begin(), l.end());
  for (float& v : l) v = std::max(v - best, -60.0F);
  return l;
}

bool Colours::looks_like(const std::string& kind, const Eigen::Vector3d& body) const {
  const auto nearest = std::min_element(kinds_.begin(), kinds_.end(), [&](const Kind& a, const Kind& b) {
    return distance2(a, a.look, body) < distance2(b, b.look, body);
  });
  return nearest != kinds_.end() && nearest->name == kind;
}

double Colours::strangeness(const Eigen::Vector3d& body) const {
  double least = std::numeric_limits<double>::max();
  for (const Kind& k : kinds_) least = std::min(least, distance2(k, k.look, body));
  return least;
}

}  // namespace baizetrace::sight
