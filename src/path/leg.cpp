#include "path/leg.hpp"

#include <algorithm>

namespace baizetrace::path {
namespace {

// Slower than this has no direction, m/s; far below what any camera tells.
constexpr double kNoSpeed = 1e-9;

Vec2 direction(const Vec2& a) {
  const double n = a.norm();
  return n > kNoSpeed ? Vec2(a / n) : Vec2::Zero();
}

// Derivative of a / |a|.
Mat2 turning(const Vec2& a) {
  const double n = std::max(a.norm(), 1e-6);  // m/s: keeps the slope finite where the direction is not defined
  const Vec2 d = a / n;
  return (Mat2::Identity() - d * d.transpose()) / n;
}

}  // namespace

Vec2 Leg::at(double time, const Cloth& c) const {
  const double dt = time - t;
  if (dt <= 0) return p;
  const double sliding = w.norm() / c.slide;
  if (dt < sliding) return p + v * dt - direction(w) * (0.5 * c.slide * dt * dt);
  const Vec2 rolling = v - w;
  const double s = std::min(dt - sliding, rolling.norm() / c.roll);
  return p + v * sliding - w * (0.5 * sliding) + rolling * s - direction(rolling) * (0.5 * c.roll * s * s);
}

Vec2 Leg::velocity_at(double time, const Cloth& c) const {
  const double dt = time - t;
  if (dt < 0) return Vec2::Zero();
  const double sliding = w.norm() / c.slide;
  if (dt < sliding) return v - direction(w) * (c.slide * dt);
  const Vec2 rolling = v - w;
  const double left = rolling.norm() - c.roll * (dt - sliding);
  return left > 0 ? Vec2(direction(rolling) * left) : Vec2::Zero();
}

Vec2 Leg::slip_at(double time, const Cloth& c) const {
  const double n = w.norm();
  const double left = n - c.slide * std::max(0.0, time - t);
  return left > 0 && n > kNoSpeed ? Vec2(w * (left / n)) : Vec2::Zero();
}

LegSlopes slopes(const Leg& leg, double time, const Cloth& c) {
  LegSlopes s;
  s.at = leg.at(time, c);
  const double dt = time - leg.t;
  if (dt <= 0) return s;
  s.velocity = leg.velocity_at(time, c);
  const double n = leg.w.norm();
  const double sliding = n / c.slide;
  const Vec2 along_w = direction(leg.w);
  if (dt < sliding) {
    s.by_v = dt * Mat2::Identity();
    s.by_w = -(0.5 * c.slide * dt * dt) * turning(leg.w);
    s.by_slide = -along_w * (0.5 * dt * dt);
    s.by_t = -s.velocity;
    return s;
  }
  const Vec2 rolling = leg.v - leg.w;
  const double speed = rolling.norm();
  const Vec2 along = direction(rolling);
  const double r = dt - sliding;
  if (r < speed / c.roll) {
    const Mat2 bend = (0.5 * c.roll * r * r) * turning(rolling);
    s.by_v = dt * Mat2::Identity() - bend;
    s.by_w = (0.5 * sliding - dt) * Mat2::Identity() + bend +
             (0.5 * leg.w + along * (c.roll * r)) * along_w.transpose() / c.slide;
    s.by_slide = -(0.5 * leg.w + along * (c.roll * r)) * (n / (c.slide * c.slide));
    s.by_roll = -along * (0.5 * r * r);
    s.by_t = -s.velocity;
    return s;
  }
  const Mat2 run = (speed * Mat2::Identity() + rolling * along.transpose()) / (2 * c.roll);
  s.by_v = sliding * Mat2::Identity() + run;
  s.by_w = -0.5 * sliding * Mat2::Identity() + (leg.v - 0.5 * leg.w) * along_w.transpose() / c.slide - run;
  s.by_slide = -(leg.v - 0.5 * leg.w) * (n / (c.slide * c.slide));
  s.by_roll = -rolling * (speed / (2 * c.roll * c.roll));
  return s;
}

void add_pieces(const Leg& leg, double until, const Cloth& c, std::vector<Piece>& pieces) {
  const double slide_end = std::min(leg.slide_ends(c), until);
  constexpr double kShortest = 1e-6;  // s: shorter pieces are not written
  if (slide_end - leg.t > kShortest) {
    Piece piece;
    piece.from = leg.t;
    piece.to = slide_end;
    piece.phase = Piece::Phase::slide;
    piece.place = leg.p;
    piece.velocity = leg.v;
    piece.acceleration = -direction(leg.w) * c.slide;
    pieces.push_back(piece);
  }
  if (until - slide_end > kShortest) {
    Piece piece;
    piece.from = slide_end;
    piece.to = until;
    piece.phase = Piece::Phase::roll;
    piece.place = leg.at(slide_end, c);
    piece.velocity = leg.velocity_at(slide_end + 1e-12, c);
    piece.acceleration = -direction(piece.velocity) * c.roll;
    pieces.push_back(piece);
  }
}

}  // namespace baizetrace::path
