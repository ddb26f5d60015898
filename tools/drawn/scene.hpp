// What a drawn clip shows and how it is filmed: plain data, all made from one seed (random_scene.hpp).
//
// Metres, seconds, radians, table frame as everywhere. Colours are linear light, red green blue, 1 = white.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "base/path.hpp"
#include "drawn/optics.hpp"
#include "table/table.hpp"

namespace baizetrace::drawn {

using Colour = Vec3;

// A table as it stands there: its own size, its own shape of cushion, its own marks.
struct TableShape {
  double half_width = 0.889, half_length = 1.7845;
  double nose_height = 0.03675;
  double nose_round = 0.004;  // radius of the nose's own rounding
  double undercut = 0.020;    // how far the cushion's face falls back from the nose down to the bed
  double cloth_edge = 0.050;  // where the cloth ends and the wood begins, beyond the nose
  double rail_top = 0.040;    // height of the wood there
  double rail_width = 0.12;   // of the wood
  double corner_jaw_radius = 0.070, corner_jaw_start = 0.09051;
  double middle_jaw_radius = 0.040, middle_jaw_start = 0.0885;
  double corner_fall_offset = 0.026159, middle_fall_offset = 0.055;
  double corner_fall_radius = 0.0475, middle_fall_radius = 0.051;
  // Drawn marks.
  double line_y = -1.0475, line_slope = 0, line_width = 0.0025;
  Vec2 d_centre = Vec2(0, -1.0475);
  double d_radius = 0.292;
  std::map<std::string, Vec2> spots;
  double spot_radius = 0.004;
};

struct Look {
  Colour cloth = Colour(0.02, 0.16, 0.06), wood = Colour(0.10, 0.04, 0.02), floor = Colour(0.10, 0.09, 0.08);
  int floor_kind = 0;  // 0 planks, 1 tiles, 2 carpet
  Colour chalk = Colour(0.6, 0.6, 0.55);
  int specks = 30;
  double grain = 0.03;  // of the cloth's brightness
  double nap = 0.04;    // slow change of the cloth's brightness over the bed
  unsigned seed = 1;
};

struct Lamp {
  Vec3 at = Vec3(0, 0, 1.2);
  double power = 1;   // irradiance at 1 m
  double size = 0.2;  // radius, m: how soft its shadows are
  Colour colour = Colour(1, 1, 1);
};

// A flat thing between camera and table: a lamp's canopy or frame, a shelf, a beam.
struct Board {
  std::vector<Vec3> corners;  // in order
  Colour colour = Colour(0.02, 0.02, 0.02);
};

// A limb: two balls and what lies between them.
struct Limb {
  Vec3 a, b;
  double ra = 0.05, rb = 0.05;
  Colour colour = Colour(0.1, 0.1, 0.3);
};

// A ball over time: spans in order, each lasting until the next begins.
struct BallSpan {
  enum class Kind { rest, roll, fall, gone, hand };
  Kind kind = Kind::rest;
  double from = 0;
  Vec2 place = Vec2::Zero();     // rest; fall, hand: where it starts
  Vec2 to = Vec2::Zero();        // hand: where it is put
  double until = 0;              // hand: when
  Vec2 velocity = Vec2::Zero();  // fall
  double clock = 0;              // roll: story's time of the pieces' zero
  std::vector<Piece> pieces;     // roll
};
struct BallNow {
  Vec3 at = Vec3::Zero();
  int state = 0;  // as in the truth: 0 on the table, 1 falling, 2 off, 3 in the hand
  bool moving = false;
};
struct Ball {
  std::string name;
  Colour colour = Colour(0.8, 0.8, 0.75);
  double radius = 0.02625;
  std::vector<BallSpan> spans;
  [[nodiscard]] BallNow now(double time) const;
};

// Who is where: people are made of limbs, by time.
struct Person {
  enum class Kind { walks, leans, hand };
  Kind kind = Kind::walks;
  double from = 0, to = 0;
  Vec2 start = Vec2::Zero(),
       end = Vec2::Zero();  // walks: on the floor; hand: start is where it comes from, end the ball
  // leans: bridge hand, cue's line
  Vec2 bridge = Vec2::Zero(), ahead = Vec2(0, 1);  // ahead: unit, the way the cue points
  double strike = 0;                               // time of the contact of tip and ball
  Vec2 ball = Vec2::Zero();                        // the cue ball's place
  Colour shirt = Colour(0.1, 0.1, 0.3), skin = Colour(0.5, 0.3, 0.2), hair = Colour(0.02, 0.015, 0.01);
  bool left_handed = false;
};

// How it is filmed.
struct Recording {
  double rate = 30, exposure = 0.008, readout = 0.016;
  double jitter = 0;                       // s, sd of a frame's time
  double drop = 0;                         // share of frames that are missing
  double blur = 0.7;                       // px, sd: of the lens
  double sharpen = 0;                      // share of the fine detail that the phone adds
  double noise = 1.5;                      // levels, sd at mid grey
  double level = 100;                      // luma of the cloth's middle
  double flicker = 0, flicker_rate = 100;  // depth; 1/s
  double drift = 0, drift_time = 8;        // slow change of light: depth, period
  double vignette = 0.2;                   // loss at the corners
  int rotation = 0;                        // degrees clockwise for display
  std::string codec = "libx264";
  int quality = 23;  // of the encoder: larger is worse
  std::string speed = "veryfast";
  unsigned seed = 1;
};

// A knock of the mount: from `time` on the camera is turned by `angle` about `axis` (its own), after ringing down.
struct Knock {
  double time = -1;
  Vec3 axis = Vec3(1, 0, 0);
  double angle = 0, ring = 8, decay = 6;  // rad; Hz; 1/s
};

struct Scene {
  Optics optics;
  TableShape table;
  Look look;
  std::vector<Lamp> lamps;
  double ambient = 0.25;
  std::vector<Board> boards;
  std::vector<Ball> balls;
  std::vector<Person> people;
  Recording recording;
  Knock knock;
  double duration = 0;
  std::vector<double> times;  // of the frames (pts); made by frame_times()
};

[[nodiscard]] std::vector<double> frame_times(const Recording& recording, double duration);
// The camera at a time: knocked and ringing.
[[nodiscard]] Optics optics_at(const Scene& scene, double time);
// Everybody's limbs at a time, cue included.
[[nodiscard]] std::vector<Limb> limbs_at(const std::vector<Person>& people, double time);

}  // namespace baizetrace::drawn
