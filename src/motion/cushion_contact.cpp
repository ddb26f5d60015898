#include "motion/cushion_contact.hpp"

#include <algorithm>
#include <cmath>

#include "motion/cushion_series.hpp"

namespace baizetrace::motion {

namespace {
using Lane = CushionSeries::Lane;

// Of the contact's speed: what the last terms of a step's series may be, and a slip that is none. Both grow by kHurry
// with every step after kCalm, so that the number of steps stays bounded.
constexpr double kError = 7e-7, kZero = 3e-8, kHurry = 2;
constexpr double kNearError = 0.03;  // of a slip that passes near zero: the same, there
constexpr int kCalm = 18;
constexpr double kAtZero = 30;        // of that error: where the series of a size is zero, the slip is as good as none
constexpr double kSmall = 0.3;        // of the contact's speed: a slip that may pass near zero
constexpr double kStraight = 1e-3;    // sine of the angle to a way straight to zero
constexpr double kFarthest = 4;       // a step over what is left, as seen from its start
constexpr double kEnd = 1e-12;        // of the contact's speed: a phase that is over
constexpr double kHeldAlmost = 1e-9;  // of friction's most: what holds a slip is all of it
constexpr double kPoint = 1e-7;       // of the contact's speed: two slips that leave zero at once are led on so far
constexpr double kOverNone = 10;      // and at least so far, over a slip that is none
// After kPatience steps, a small slip that friction turns faster than it changes is followed implicitly: so much of its
// size in a step; how small; a step over the contact's speed, over what brings it to zero, and over the other slip.
// After kCareful what is left is gone through evenly; so many steps are kept for the way back.
constexpr int kPatience = 14, kCareful = 22, kKept = 4;
constexpr double kStuck = 1.0, kTurned = 0.02, kLong = 0.15, kLanding = 0.98, kOther = 0.25;

// Where a falling f comes to zero in (from, most]: then `most` is set to it. Requires: f(from) > 0. By chords, the end
// that stays counted less (Anderson and Bjoerck, BIT 13, 253, 1973; from memory).
template <class F>
bool falls(const F& f, double from, double& most) {
  double low = from, high = most, below = f(high);
  if (!(below <= 0)) return false;
  double above = f(from);
  constexpr int kTries = 100;
  constexpr double kExact = 1e-14, kNone = 1e-14;
  const double none = kNone * above;
  int side = 0;
  const auto less = [](double now, double before) { return now < before ? 1 - now / before : 0.5; };
  for (int i = 0; i < kTries && high - low > kExact * most; ++i) {
    double middle = low + (high - low) * above / (above - below);
    if (!(middle > low && middle < high)) middle = 0.5 * (low + high);
    const double value = f(middle);
    if (std::abs(value) <= none) {
      high = middle;
      break;
    }
    if (value > 0) {
      if (side > 0) below *= less(value, above);
      low = middle;
      above = value;
      side = 1;
    } else {
      if (side < 0) above *= less(-value, -below);
      high = middle;
      below = value;
      side = -1;
    }
  }
  most = high;
  return true;
}

class Contact {
 public:
  Contact(const CushionLaw& law, double scale) : law_(law), scale_(scale) {}

  // To no speed into the cushion, and on until it has given back `share` of the work put in.
  void run(Slips& s, double share) {
    for (;; ++steps_) {
      const double hurry = steps_ > kCalm ? std::pow(kHurry, steps_ - kCalm) : 1, none = kZero * hurry * scale_;
      if (s.nose.squaredNorm() <= none * none) s.nose.setZero();
      if (s.cloth.squaredNorm() <= none * none) s.cloth.setZero();
      now_.ways = law_.at_once(s);
      now_.rate = law_.rate(now_.ways);
      const double slowing = (now_.rate.nose.y() - now_.rate.cloth.y()) * law_.share, left = left_of(s, slowing);
      if (left * slowing <= kEnd * scale_ || steps_ >= kMostCushionSteps) {
        advance(s, left);
        if (back_) return;
        turn(s.work, share);
        continue;
      }
      now_.nose = kind(s.nose, now_.ways.nose, let_go_ == Ends::kNoseLetGo);
      now_.cloth = kind(s.cloth, now_.ways.cloth, let_go_ == Ends::kClothLetGo);
      let_go_ = Ends::kReach;
      // What is left, evenly, in the last steps, by the method that nothing upsets.
      const int others = std::max(1, (back_ ? kMostCushionSteps : kMostCushionSteps - kKept) - steps_);
      const auto evenly = [&] { s = law_.implicit_step(s, now_.ways, left / others); };
      if (steps_ >= kCareful) {
        evenly();
        continue;
      }
      if (now_.nose == SlipKind::kLeaves && now_.cloth == SlipKind::kLeaves) {
        advance(s, std::max(kPoint * scale_, kOverNone * none));
        continue;
      }
      const double error = kError * hurry * scale_;
      double h = expand(s, passing(s), error, kNearError * hurry, left);
      if (!std::isfinite(h)) {
        evenly();
        continue;
      }
      if (steps_ >= kPatience && follow(s, h, left, slowing)) continue;
      const double far = h;
      const Slips farthest = series_.at(far);
      const Ends ends = limit(s, farthest, h, error);
      double from = 0;
      if (!back_) {
        double turning = h;
        if (falls([&](double at) { return series_.into(at); }, 0, turning)) {
          turn(series_.work(turning), share);
          from = turning;
        }
      }
      const bool over = back_ && falls([&](double at) { return series_.work(at) - end_; }, from, h);
      s = h < far ? series_.at(h) : farthest;
      if (over) return;
      if (ends == Ends::kNoseAtZero) s.nose.setZero();
      if (ends == Ends::kClothAtZero) s.cloth.setZero();
      let_go_ = ends;
    }
  }
  [[nodiscard]] int steps() const { return steps_; }

 private:
  enum class Ends { kReach, kNoseAtZero, kClothAtZero, kNoseLetGo, kClothLetGo, kPress };
  // Of a state: friction's ways, how the slips change over p, and what the slips do.
  struct Now {
    Ways ways, rate;
    SlipKind nose = SlipKind::kSlips, cloth = SlipKind::kSlips;
  };

  // The cushion gives back from here.
  void turn(double work, double share) {
    back_ = true;
    end_ = work * (1 - share);
  }
  // How far the phase still goes, in p, were the slowing not to change.
  [[nodiscard]] double left_of(const Slips& s, double slowing) const {
    if (!back_) return law_.into(s) / slowing;
    const double out = -law_.into(s), square = out * out + 2 * slowing * (s.work - end_) / law_.cosine;
    return (std::sqrt(std::max(0.0, square)) - out) / slowing;
  }
  void advance(Slips& s, double p) const {
    s.work += p * law_.cosine * law_.into(s);
    s.nose += p * now_.rate.nose;
    s.cloth += p * now_.rate.cloth;
  }

  // A slip that is zero and was just let go leaves, though what held it may seem to by a rounding.
  [[nodiscard]] static SlipKind kind(const Vec2& slip, Vec2& way, bool let_go) {
    if (slip.squaredNorm() > 0) return SlipKind::kSlips;
    const double size = way.norm();
    if (size < 1 - kHeldAlmost && !let_go) return SlipKind::kHeld;
    if (size > 0) way /= size;
    return SlipKind::kLeaves;
  }

  // Expands about a state, and says how far that reaches. `share`: what the error may be of a slip that passes near.
  double expand(const Slips& s, Lane near, double error, double share, double left) {
    series_.expand(law_, s, now_.ways, now_.nose, now_.cloth, near);
    if (near == CushionSeries::kNone) return std::min(series_.reach(error, scale_), kFarthest * left);
    const double size = (near == CushionSeries::kNose ? s.nose : s.cloth).norm();
    return series_.reach(std::min(error, share * size), scale_);
  }

  // The slip that passes near zero, if one does.
  [[nodiscard]] Lane passing(const Slips& s) const {
    if (now_.nose == SlipKind::kLeaves || now_.cloth == SlipKind::kLeaves) return CushionSeries::kNone;
    const auto passes = [&](SlipKind kind, const Vec2& u, const Vec2& du) {
      if (kind != SlipKind::kSlips || u.squaredNorm() > kSmall * kSmall * scale_ * scale_) return false;
      return u.dot(du) >= 0 || std::abs(u.x() * du.y() - u.y() * du.x()) > kStraight * u.norm() * du.norm();
    };
    const bool at_nose = passes(now_.nose, s.nose, now_.rate.nose),
               at_cloth = passes(now_.cloth, s.cloth, now_.rate.cloth);
    if (at_nose && !(at_cloth && s.cloth.squaredNorm() < s.nose.squaredNorm())) return CushionSeries::kNose;
    return at_cloth ? CushionSeries::kCloth : CushionSeries::kNone;
  }

  // An implicit step where the series gets nowhere.
  bool follow(Slips& s, double h, double left, double slowing) const {
    const Slips there = series_.at(h);
    const auto stuck = [&](SlipKind kind, const Vec2& from, const Vec2& to) {
      return kind == SlipKind::kSlips && from.norm() < kTurned * scale_ && (to - from).norm() < kStuck * from.norm();
    };
    const bool at_nose = stuck(now_.nose, s.nose, there.nose), at_cloth = stuck(now_.cloth, s.cloth, there.cloth);
    if (!at_nose && !at_cloth) return false;
    double p = std::min(left, kLong * scale_ / slowing);
    const auto shorten = [&](bool stays, const Vec2& u, const Vec2& du) {
      if (!stays) p = std::min(p, kOther * u.norm() / du.norm());
      if (const double closing = -u.dot(du); closing > 0) p = std::min(p, kLanding * u.squaredNorm() / closing);
    };
    shorten(at_nose, s.nose, now_.rate.nose);
    shorten(at_cloth, s.cloth, now_.rate.cloth);
    if (p * slowing <= std::max(0.0, law_.into(s) - law_.into(there))) return false;
    s = law_.implicit_step(s, now_.ways, p);
    return true;
  }

  // Shortens a step to where the law changes, and says how. `there`: at its end.
  [[nodiscard]] Ends limit(const Slips& s, const Slips& there, double& h, double error) const {
    Ends ends = Ends::kReach;
    const auto comes_to_zero = [&](Lane lane, const Vec2& from, const Vec2& to) {
      double at = h;
      if (from.dot(to) > 0 || !falls([&](double x) { return series_.size(lane, x); }, 0, at)) return false;
      const Slips zero = series_.at(at);  // the series of a size may end before that of the slip
      if ((lane == CushionSeries::kNose ? zero.nose : zero.cloth).norm() > kAtZero * error) return false;
      h = at;
      return true;
    };
    if (now_.nose == SlipKind::kSlips && comes_to_zero(CushionSeries::kNose, s.nose, there.nose))
      ends = Ends::kNoseAtZero;
    if (now_.cloth == SlipKind::kSlips && comes_to_zero(CushionSeries::kCloth, s.cloth, there.cloth))
      ends = Ends::kClothAtZero;
    if (now_.nose != now_.cloth) {
      const auto lets_go = [&](Lane lane) { return falls([&](double x) { return series_.hold(lane, x); }, 0, h); };
      if (now_.nose == SlipKind::kHeld && lets_go(CushionSeries::kNose)) ends = Ends::kNoseLetGo;
      if (now_.cloth == SlipKind::kHeld && lets_go(CushionSeries::kCloth)) ends = Ends::kClothLetGo;
    }
    if (law_.press(-law_.nose_friction) < 0) {  // the nose may lift the ball off the cloth
      const double next = kEnd * h;
      const double side = series_.press(std::abs(series_.press(0)) < kEnd ? next : 0) > 0 ? 1 : -1;
      if (falls([&](double x) { return side * series_.press(x); }, next, h)) ends = Ends::kPress;
    }
    return ends;
  }

  const CushionLaw& law_;
  double scale_;  // m/s: the contact's own speed
  CushionSeries series_;
  Now now_;
  Ends let_go_ = Ends::kReach;  // how the last step ended
  bool back_ = false;
  double end_ = 0;  // of the work, m2/s2
  int steps_ = 0;
};
}  // namespace

CushionReport hit_cushion(State& ball, double radius, double nose_height, const Vec2& outward, const Conditions& c) {
  CushionReport report;
  const Vec2 x_axis(outward.y(), -outward.x());
  const double sine = std::clamp((nose_height - radius) / radius, -0.99, 0.99);
  const CushionLaw law(sine, c.cushion_friction, c.sliding);
  const double cosine = law.cosine, vx = ball.velocity.dot(x_axis), vy = ball.velocity.dot(outward);
  report.normal_in = vy;
  if (vy <= 0) return report;
  const double wx = radius * ball.spin.head<2>().dot(x_axis), wy = radius * ball.spin.head<2>().dot(outward),
               wz = radius * ball.spin.z();
  const Slips before{Vec2(vx + sine * wy - cosine * wz, -sine * vy + wx), Vec2(vx - wy, vy + wx)};
  const double scale = std::max({vy, std::abs(vx), std::abs(wx), std::abs(wy), std::abs(wz)});
  const double e = quiet_restitution(c.cushion_restitution_at(vy), vy);
  Slips s = before;
  Contact contact(law, scale);
  contact.run(s, e * e);
  report.steps = contact.steps();

  // Back to velocities and spins. The nose's friction along x, summed over p, is what turns the ball about the
  // vertical.
  const double nose_x = s.nose.x() - before.nose.x(), cloth_x = s.cloth.x() - before.cloth.x();
  const double spin_z = wz - 2.5 * cosine * (3.5 * nose_x + law.a * cloth_x) / (12.25 - law.a * law.a);
  const double out_x = (s.nose.x() + cosine * spin_z + sine * s.cloth.x()) / (1 + sine);
  const double into = std::min(0.0, law.into(s));
  ball.velocity = out_x * x_axis + into * outward;
  const Vec2 flat = ((s.cloth.y() - into) * x_axis + (out_x - s.cloth.x()) * outward) / radius;
  ball.spin = Vec3(flat.x(), flat.y(), spin_z / radius);
  report.normal_out = -into;
  return report;
}

}  // namespace baizetrace::motion
