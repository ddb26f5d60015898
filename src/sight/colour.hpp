// Which kind of ball a body's colour belongs to. The ball set's colours are starting values: the clip's light and
// white balance are learned from the balls that are seen.
#pragma once

#include <Eigen/Core>
#include <span>
#include <vector>

#include "table/ball_set.hpp"

namespace baizetrace::sight {

// Y Cb Cr, 8 bits, video range, BT.709.
[[nodiscard]] Eigen::Vector3d ycbcr_of_srgb(const Eigen::Vector3d& srgb);

class Colours {
 public:
  explicit Colours(const table::BallSet& balls);

  // Finds the light (brightness and balance) under which the set's balls look like these. Colours of resting balls;
  // fewer than two: leaves the starting values. clear: those of them that are balls beyond doubt.
  void learn(std::span<const Eigen::Vector3d> bodies, std::span<const Eigen::Vector3d> clear);
  // Takes a ball of known kind as a sample of it: clear ones move the kind's colour.
  void take(const Eigen::Vector3d& body);

  // Log likelihood of each kind, best = 0.
  [[nodiscard]] std::vector<float> likelihood(const Eigen::Vector3d& body) const;
  // Whether this kind is the likeliest. Unknown names: false.
  [[nodiscard]] bool looks_like(const std::string& kind, const Eigen::Vector3d& body) const;
  // Squared distance to the nearest kind, in standard deviations: how unlike any ball it is.
  [[nodiscard]] double strangeness(const Eigen::Vector3d& body) const;

 private:
  struct Kind {
    std::string name;
    Eigen::Vector3d srgb, look;  // look: Y Cb Cr expected in this clip
    double weight = 0;           // samples taken
    int count = 1;
  };
  static void add(Kind& kind, const Eigen::Vector3d& body);
  [[nodiscard]] static double distance2(const Kind& kind, const Eigen::Vector3d& look, const Eigen::Vector3d& body);
  std::vector<Kind> kinds_;
};

}  // namespace baizetrace::sight
