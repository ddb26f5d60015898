// What an eye keeps from frame to frame: shared by its looking (eye.cpp, eye_known.cpp, eye_new.cpp), its looking
// back (hindsight.cpp) and its learning (eye_learn.cpp).
#pragma once

#include <deque>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "sight/ball_fit.hpp"
#include "sight/blobs.hpp"
#include "sight/cloth.hpp"
#include "sight/colour.hpp"
#include "sight/companions.hpp"
#include "sight/exposure.hpp"
#include "sight/eye.hpp"
#include "sight/known_ball.hpp"
#include "sight/region.hpp"

namespace baizetrace::sight {

inline constexpr double kSearchResting = 0.8;  // px about where it lay
inline constexpr double kContrastSpot = 25;
inline constexpr double kRefitEvery = 0.5;   // s, of a resting ball whose picture does not change
inline constexpr double kVisibleNew = 0.56;  // share of the outline that must be seen of a ball that is not known
inline constexpr double kRimNew = 0.40;    // of a candidate's outline that must look like a ball's before it is fitted
inline constexpr double kMoved = 0.6;      // px between frames: it moves
inline constexpr double kFallen = 0.003;   // m beyond the fall: no longer on the bed
inline constexpr double kRadiusOff = 0.7;  // px, of a ball of usual size: another size than a ball's

// Over what a ball may: above 1, or below -1, it is another size than a ball's.
inline double size_off(const BallFit& fit) { return fit.radius_off / (kRadiusOff * outline_slack(fit.ellipse)); }

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
  Companions companions;
  struct Refused {
    Vec2 pixel;
    double time;
    bool in_person;
    bool restless;                       // its seeds wander by half a ball
    int times;                           // in a row
    [[nodiscard]] double lasts() const;  // s that it is not looked at again
  };
  std::vector<Refused> refused;  // places that were fitted in vain
  struct Past {
    video::Frame frame;
    Gain gain;
    struct Seen {
      int ball;
      Vec2 pixel, smear;
      Ellipse outline;
      Eigen::Vector3d colour;
      bool resting;
      Sighting told;
    };
    std::vector<Seen> seen;
  };
  std::deque<Past> past;  // the last frames, oldest first
  Look last;              // as it was told
  int next_id = 1;
  cv::Mat halves, change, open;
  double radius;
  double last_time = -1, interval = 1.0 / 30;
  double spots_looked_at = -1, followed = -1;  // s
  bool learned = false;
  std::vector<Note>* notes = nullptr;  // written only when asked for

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
  // A frame that shows the picture before once more, while nothing moves: what lay there lies there.
  Look look_again(const video::Frame& frame);
  double chroma_siting(const video::Frame& frame, const View& view) const;
  void learn_optics(const video::Frame& frame);
  void note(bool kept, std::string_view why, const Ellipse& outline, const Vec2& smear, const BallFit* fit = nullptr);
  void note_known(const KnownBall& ball);
  bool see_known(const View& view, const video::Frame& frame, KnownBall& ball);
  // Why a fit is no ball of the bed; nullptr: it may be one.
  const char* refusal(const BallFit& fit, double visible) const;
  BallFit smeared_any_way(const View& view, const Vec2& at, BallFitOptions o, BallFit best) const;
  bool in_nose_shade(const View& view, const BallFit& fit) const;
  // smear_was_open: the fit tells nothing of the exposure.
  void take(const video::Frame& frame, const View& view, const BallFit& fit, KnownBall& ball, bool linked,
            bool smear_was_open = false);
  void seek_new(const View& view, const video::Frame& frame);
  // A ball that was not known, at a seed of a blob; `size`: a ball's outline there.
  std::optional<BallFit> new_ball(const View& view, const video::Frame& frame, const Blob& blob, const Seed& seed,
                                  const Ellipse& size);
  KnownBall* lost_from_sight(const video::Frame& frame, const BallFit& fit);
  KnownBall& recognise(const video::Frame& frame, const View& view, const BallFit& fit);
  // The place that was refused last and is here; nullptr: none was.
  Refused* refused_here(const Vec2& pixel, double time, bool restless);
  void seek_on_spots(const View& view, const video::Frame& frame);
  [[nodiscard]] bool overlap(const Vec2& a, const Vec2& b) const;
  void part();
  void erase(const KnownBall& ball);
  void cover_rest(Look& look);
  Sighting told(const video::Frame& frame, const KnownBall& ball) const;
  // Runs a ball's way back through the last frames, for what is seen there now that its speed is known.
  // Requires: ball.run holds two or more.
  void look_back(KnownBall& ball, Look& out);
  void keep(const video::Frame& frame, const Gain& gain);
  std::vector<Ellipse> others_near(const Vec2& pixel, const KnownBall* but) const;
  double own_time(const video::Frame& frame, const Vec2& pixel) const {
    return frame.time + rig.readout * frame.row_share(pixel);
  }
};

}  // namespace baizetrace::sight
