// What an eye keeps from frame to frame: shared by its looking (eye.cpp) and its learning (eye_learn.cpp).
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "sight/ball_fit.hpp"
#include "sight/cloth.hpp"
#include "sight/colour.hpp"
#include "sight/exposure.hpp"
#include "sight/eye.hpp"
#include "sight/known_ball.hpp"
#include "sight/region.hpp"

namespace baizetrace::sight {

inline constexpr double kSearchResting = 0.8;  // px about where it lay
inline constexpr double kContrastSpot = 25;

struct Eye::State {
  camera::Rig rig;
  table::Table table;
  table::BallSet balls;
  EyeOptions options;
  Region region;
  Cloth cloth;
  Colours colours;
  Exposure exposure;
  std::vector<KnownBall> known;
  struct Refused {
    Vec2 pixel;
    double time;
    bool in_person;
  };
  std::vector<Refused> refused;  // places that were fitted in vain
  cv::Mat halves, change, open;
  double radius;
  double last_time = -1, interval = 1.0 / 30;
  double spots_looked_at = -1, followed = -1;  // s
  bool learned = false;

  State(const camera::Rig& r, const table::Table& t, const table::BallSet& b, const EyeOptions& o)
      : rig(r),
        table(t),
        balls(b),
        options(o),
        region(Region::make(r, t, b.kinds.at(0).radius)),
        cloth(region),
        colours(b),
        radius(b.kinds.at(0).radius) {}

  Look look(const video::Frame& frame);
  double chroma_siting(const video::Frame& frame, const View& view) const;
  void learn_optics(const video::Frame& frame);
  bool see_known(const View& view, const video::Frame& frame, KnownBall& ball);
  bool accept(const BallFit& fit, double visible) const;
  // smear_was_open: the fit tells nothing of the exposure.
  void take(const video::Frame& frame, const View& view, const BallFit& fit, KnownBall& ball, bool linked,
            bool smear_was_open = false);
  void seek_new(const View& view, const video::Frame& frame);
  bool refused_lately(const Vec2& pixel, double time, bool in_person);
  void seek_on_spots(const View& view, const video::Frame& frame);
  void erase(const KnownBall& ball);
  void cover_rest(Look& look);
  std::vector<Ellipse> others_near(const Vec2& pixel, const KnownBall* but) const;
  double own_time(const video::Frame& frame, const Vec2& pixel) const {
    return frame.time + rig.readout * frame.row_share(pixel);
  }
};

}  // namespace baizetrace::sight
