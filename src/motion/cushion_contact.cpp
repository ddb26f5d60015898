#include "motion/cushion_contact.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

namespace baizetrace::motion {

namespace {
constexpr double kAny = std::numeric_limits<double>::infinity();

// Velocities during the contact, m/s, in a frame along the cushion (x), into it (y), up (z): the slip at the nose,
// along it and across it (down the cushion's face), and the slip at the cloth. These four decide everything; the ball's
// velocity and spin are put together from them afterwards.
struct Slips {
  double nose_x = 0, nose_y = 0, cloth_x = 0, cloth_y = 0;
  double work = 0;  // integral of the nose's normal velocity over the normal impulse over the mass, p
};
Slips operator+(const Slips& a, const Slips& b) {
  return {a.nose_x + b.nose_x, a.nose_y + b.nose_y, a.cloth_x + b.cloth_x, a.cloth_y + b.cloth_y, a.work + b.work};
}
Slips operator*(double h, const Slips& a) {
  return {h * a.nose_x, h * a.nose_y, h * a.cloth_x, h * a.cloth_y, h * a.work};
}

// How far one step may go. Steps are chosen beforehand, from the state alone, and never rejected: so the outcome stays
// smooth in what comes in.
constexpr double kEvenHeld = 8;  // the same while friction holds a slip, so that its letting go is not missed by far
constexpr double kEven = 3;      // steps in compression and in restitution, at least
constexpr double kCloseShare = 0.5;  // of a closing slip that one step may use up; more where it runs straight to zero
constexpr double kStraight = 10;     // how fast that share grows as the closest pass to zero gets small
// What is left of it at least: no stage of a step may see the slip beyond zero. It closes evenly but for about its
// size.
constexpr double kSpare = 0.3, kLeastSpare = 0.003;
constexpr double kTurn = 0.22;       // rad by which a slip may turn, twice that where it is small
constexpr double kSmallSlip = 1e-3;  // of the contact's speed
constexpr double kStable = 2.5;      // of 3.3, the method's limit: friction turns a slip into its own line
constexpr double kBend = 0.05;       // how far a slip may lie off that line, over its square
constexpr double kFine = 1e-7;       // of the contact's speed: errors that do not matter
// A slip that lies so near to friction's line keeps its direction through a step, once kPatient steps have gone: a
// small one that hardly changes would ask for ever more steps.
constexpr int kPatient = 10;
constexpr double kOnTheLine = 1e-6;  // of the contact's speed; twice as much for each step after kHurry
constexpr int kHurry = 16;
// A slip below the first share of the contact's speed is none, below the second too if friction can hold it.
constexpr double kZero = 1e-7, kHold = 1e-5;

// Of the way back: until here the ratio of two things that begin at zero is taken at its limit.
constexpr double kStart = 1e-3;
constexpr double kBackShare = 1.5;  // and after that a step is no longer than this share of the way back

class Contact {
 public:
  Contact(double sine, double cosine, double nose_friction, double cloth_friction, double scale)
      : sine_(sine),
        cosine_(cosine),
        nose_friction_(nose_friction),
        cloth_friction_(cloth_friction),
        scale_(scale),
        zero_(kZero * scale),
        a_(2.5 * sine - 1),
        b_(2.5 - sine),
        d_(2.5 + sine * sine),
        share_(1 / (1 + sine)) {}

  [[nodiscard]] double into(const Slips& s) const { return (s.cloth_y - s.nose_y) * share_; }

  // From speed `speed` into the cushion to none; returns the work put in.
  double compress(Slips& s, double speed) {
    back_ = false;
    run(s, speed);
    return s.work;
  }
  // Until the cushion has given back `work`.
  void restore(Slips& s, double work) {
    back_ = true;
    start_ = kStart * std::sqrt(work);
    run(s, std::sqrt(work));
  }
  [[nodiscard]] int steps() const { return steps_; }

 private:
  struct Forces {  // over the normal force: at the nose (f), at the cloth (g)
    double f1, f2, g1, g2;
  };
  [[nodiscard]] double cloth_limit(double f2) const { return cloth_friction_ * std::max(0.0, sine_ + cosine_ * f2); }

  [[nodiscard]] Forces forces(const Slips& s) const {
    Forces r;
    const double nose = s.nose_x * s.nose_x + s.nose_y * s.nose_y,
                 cloth = s.cloth_x * s.cloth_x + s.cloth_y * s.cloth_y;
    double cloth_x = leave_cloth_.x(), cloth_y = leave_cloth_.y();
    if (cloth_line_) {
      cloth_x = cloth_line_->x();
      cloth_y = cloth_line_->y();
    } else if (cloth > zero_ * zero_) {
      const double k = 1 / std::sqrt(cloth);
      cloth_x = k * s.cloth_x;
      cloth_y = k * s.cloth_y;
    }
    if (nose_held_) {
      r.f2 = held_across(cloth_y);
      r.f1 = a_ * cloth_limit(r.f2) * cloth_x / 3.5;
    } else if (nose_line_) {
      r.f1 = nose_friction_ * nose_line_->x();
      r.f2 = nose_friction_ * nose_line_->y();
    } else if (nose > zero_ * zero_) {
      const double k = nose_friction_ / std::sqrt(nose);
      r.f1 = k * s.nose_x;
      r.f2 = k * s.nose_y;
    } else {
      r.f1 = nose_friction_ * leave_nose_.x();
      r.f2 = nose_friction_ * leave_nose_.y();
    }
    if (cloth_held_) {
      r.g1 = a_ * r.f1 / 3.5;
      r.g2 = (-cosine_ - b_ * r.f2) / 3.5;
    } else {
      const double g = cloth_limit(r.f2);
      r.g1 = g * cloth_x;
      r.g2 = g * cloth_y;
    }
    return r;
  }
  // The friction across the nose that keeps its slip at zero while the cloth slips that way.
  [[nodiscard]] double held_across(double cloth_y) const {
    return (sine_ * cosine_ - b_ * cloth_friction_ * sine_ * cloth_y) / (d_ + b_ * cloth_friction_ * cosine_ * cloth_y);
  }

  // d/dt, t running evenly to each half's end: the speed into the cushion that is used up, then the root of the work
  // that has come back. `stretch_` is dp/dt.
  [[nodiscard]] Slips rate(const Slips& s, double t) {
    const auto [f1, f2, g1, g2] = forces(s);
    Slips r;
    if (!nose_held_) {
      r.nose_x = a_ * g1 - 3.5 * f1;
      r.nose_y = sine_ * cosine_ - d_ * f2 - b_ * g2;
    }
    if (!cloth_held_) {
      r.cloth_x = a_ * f1 - 3.5 * g1;
      r.cloth_y = -cosine_ - b_ * f2 - 3.5 * g2;
    }
    const double slowing = (r.nose_y - r.cloth_y) * share_;
    if (back_) {
      const double out = -into(s);
      stretch_ = t > start_ && out > 0 ? 2 * t / (cosine_ * out) : std::sqrt(2 / (cosine_ * slowing));
      return stretch_ * r;
    }
    stretch_ = 1 / slowing;
    r.work = cosine_ * into(s);
    return stretch_ * r;
  }

  // What a slip does that is zero: held, if friction can, else the direction in which it leaves.
  void look(Slips& s) {
    nose_held_ = cloth_held_ = false;
    const double nose_square = s.nose_x * s.nose_x + s.nose_y * s.nose_y,
                 cloth_square = s.cloth_x * s.cloth_x + s.cloth_y * s.cloth_y;
    const double small = kHold * scale_;
    if (nose_square > small * small && cloth_square > small * small) return;
    const double nose = std::sqrt(nose_square), cloth = std::sqrt(cloth_square);
    Vec2 f = Vec2::Zero(), along_cloth(0, -1), g = Vec2::Zero();
    if (nose > small) f = nose_friction_ / nose * Vec2(s.nose_x, s.nose_y);
    if (cloth > small) along_cloth = Vec2(s.cloth_x, s.cloth_y) / cloth;
    constexpr int kRounds = 20;  // each with the other's last answer; one slip alone needs a single one
    for (int round = 0; round < (nose > small || cloth > small ? 1 : kRounds); ++round) {
      if (nose <= small) {
        const double push = sine_ * cosine_ - b_ * (cloth_held_ ? g.y() : cloth_friction_ * sine_ * along_cloth.y());
        const double rub = d_ + (cloth_held_ ? 0.0 : b_ * cloth_friction_ * cosine_ * along_cloth.y());
        const double f2 = push / rub;
        const Vec2 held(a_ * (cloth_held_ ? g.x() : cloth_limit(f2) * along_cloth.x()) / 3.5, f2);
        nose_held_ = held.norm() <= nose_friction_;
        if (!nose_held_) leave_nose_ = leaving(push, rub, cloth_held_ ? Vec2(0, 0) : along_cloth, g.x());
        f = nose_held_ ? held : Vec2(nose_friction_ * leave_nose_);
      }
      if (cloth <= small) {
        const Vec2 push(a_ * f.x(), -cosine_ - b_ * f.y());
        cloth_held_ = push.norm() <= 3.5 * cloth_limit(f.y());
        along_cloth = leave_cloth_ = push / push.norm();
        g = cloth_held_ ? Vec2(push / 3.5) : Vec2(cloth_limit(f.y()) * along_cloth);
      }
    }
    if (nose_held_) s.nose_x = s.nose_y = 0;
    if (cloth_held_) s.cloth_x = s.cloth_y = 0;
  }

  // Direction n with n parallel to push - friction * rub * n (rub differs along and across).
  [[nodiscard]] Vec2 leaving(double push_y, double rub_y, const Vec2& along_cloth, double g1) const {
    Vec2 n(0, push_y > 0 ? 1 : -1);
    constexpr int kRounds = 6, kHalvings = 50;
    for (int round = 0; round < kRounds; ++round) {
      const double push_x = a_ * (along_cloth.isZero() ? g1 : cloth_limit(nose_friction_ * n.y()) * along_cloth.x());
      const auto at = [&](double grow) {
        return Vec2(push_x / (grow + nose_friction_ * 3.5), push_y / (grow + nose_friction_ * rub_y));
      };
      double low = 0, high = std::hypot(push_x, push_y);
      for (int i = 0; i < kHalvings; ++i) {
        const double middle = 0.5 * (low + high);
        (at(middle).squaredNorm() > 1 ? low : high) = middle;
      }
      n = at(0.5 * (low + high)).normalized();
    }
    return n;
  }

  // How far a slip (x, y) that changes by (dx, dy) lets a step of at most h go. `rub`: the rate of friction. `other`:
  // what the other slip along the cushion does to this one.
  [[nodiscard]] double careful(double x, double y, double dx, double dy, double rub, double other, double h,
                               std::optional<Vec2>& line) const {
    const double square = x * x + y * y, speed_square = dx * dx + dy * dy;
    if (square <= zero_ * zero_ ||
        (h * h * speed_square <= kTurn * kTurn * square && h * h * rub * rub <= kStable * kStable * square))
      return h;
    const double speed = std::sqrt(speed_square), size = std::sqrt(square);
    const double closing = -(x * dx + y * dy), turning = std::abs(x * dy - y * dx);
    const double pass = turning / (speed * scale_);  // how near to zero a straight line would go
    double most = kAny;
    if (closing > 0) {
      const double spare = std::max(kStraight * std::sqrt(pass), kSpare * size / scale_ + kLeastSpare);
      most = (1 - std::min(kCloseShare, spare)) * square / closing;
    }
    if (turning > 0) most = std::min(most, kTurn * (1 + std::min(1.0, kSmallSlip * scale_ / size)) * square / turning);
    const double off = std::min(std::max(pass, kBend * square / (scale_ * scale_)),
                                (std::abs(x) + std::abs(a_ * other) * size / scale_) / scale_);
    // The method multiplies what lies off friction's line by the sixth power of the step.
    const double stable = off < kFine ? kStable * std::cbrt(std::sqrt(kFine / std::max(off, 1e-30))) : kStable;
    if (stable * size / rub >= std::min(h, most)) return std::min(h, most);
    if (steps_ >= kPatient && off <= std::ldexp(kOnTheLine, std::max(0, steps_ - kHurry))) {
      line = Vec2(x, y) / size;
      return std::min({h / 2, most, closing > 0 ? 0.98 * square / closing : kAny});
    }
    return stable * size / rub;
  }

  // Dormand and Prince's method of fifth order (J. Comp. Appl. Math. 6, 1980, 19).
  [[nodiscard]] Slips step(const Slips& s, const Slips& k1, double t, double h) {
    const Slips k2 = rate(s + (h / 5) * k1, t + h / 5);
    const Slips k3 = rate(s + h * ((3.0 / 40) * k1 + (9.0 / 40) * k2), t + 0.3 * h);
    const Slips k4 = rate(s + h * ((44.0 / 45) * k1 + (-56.0 / 15) * k2 + (32.0 / 9) * k3), t + 0.8 * h);
    const Slips k5 =
        rate(s + h * ((19372.0 / 6561) * k1 + (-25360.0 / 2187) * k2 + (64448.0 / 6561) * k3 + (-212.0 / 729) * k4),
             t + 8.0 / 9 * h);
    const Slips k6 = rate(s + h * ((9017.0 / 3168) * k1 + (-355.0 / 33) * k2 + (46732.0 / 5247) * k3 +
                                   (49.0 / 176) * k4 + (-5103.0 / 18656) * k5),
                          t + h);
    return s + h * ((35.0 / 384) * k1 + (500.0 / 1113) * k3 + (125.0 / 192) * k4 + (-2187.0 / 6784) * k5 +
                    (11.0 / 84) * k6);
  }

  void run(Slips& s, double end) {
    for (double t = 0; t < end;) {
      nose_line_ = cloth_line_ = std::nullopt;
      look(s);
      const Slips k = rate(s, t);
      double h = end / (nose_held_ || cloth_held_ ? kEvenHeld : kEven);
      if (back_ && t > 0) h = std::min(h, kBackShare * std::max(t, start_));
      std::optional<Vec2> nose_line, cloth_line;
      if (!nose_held_)
        h = careful(s.nose_x, s.nose_y, k.nose_x, k.nose_y, 3.5 * nose_friction_ * stretch_, s.cloth_x, h, nose_line);
      if (!cloth_held_)
        h = careful(s.cloth_x, s.cloth_y, k.cloth_x, k.cloth_y, 3.5 * cloth_limit(nose_friction_) * stretch_, s.nose_x,
                    h, cloth_line);
      nose_line_ = nose_line;
      cloth_line_ = cloth_line;
      ++steps_;
      h = std::max(h, zero_);
      const bool last = h >= end - t || steps_ >= kMostCushionSteps;
      s = step(s, k, t, last ? end - t : h);
      if (last) break;
      t += h;
    }
  }

  double sine_, cosine_;  // of the height angle of the nose seen from the centre: sine = (h - R) / R
  double nose_friction_, cloth_friction_;
  double scale_, zero_;  // m/s: the contact's own speed; a slip that is none
  double a_, b_, d_, share_;
  bool back_ = false, nose_held_ = false, cloth_held_ = false;
  Vec2 leave_nose_ = Vec2::Zero(), leave_cloth_ = Vec2::Zero();
  std::optional<Vec2> nose_line_, cloth_line_;  // kept through this step
  double stretch_ = 0, start_ = 0;
  int steps_ = 0;
};
}  // namespace

CushionReport hit_cushion(State& ball, double radius, double nose_height, const Vec2& outward, const Conditions& c) {
  CushionReport report;
  const Vec2 x_axis(outward.y(), -outward.x());
  const double sine = std::clamp((nose_height - radius) / radius, -0.99, 0.99);
  const double cosine = std::sqrt(1 - sine * sine);
  const double vx = ball.velocity.dot(x_axis), vy = ball.velocity.dot(outward);
  report.normal_in = vy;
  if (vy <= 0) return report;
  const double wx = radius * ball.spin.head<2>().dot(x_axis), wy = radius * ball.spin.head<2>().dot(outward),
               wz = radius * ball.spin.z();
  const Slips before{vx + sine * wy - cosine * wz, -sine * vy + wx, vx - wy, vy + wx, 0};
  const double scale = std::max({vy, std::abs(vx), std::abs(wx), std::abs(wy), std::abs(wz)});
  const double e = quiet_restitution(c.cushion_restitution_at(vy), vy);
  Slips s = before;
  Contact contact(sine, cosine, c.cushion_friction, c.sliding, scale);
  const double given = contact.compress(s, vy);
  contact.restore(s, e * e * given);
  report.steps = contact.steps();

  // Back to velocities and spins. The nose's friction along x, summed over p, is what turns the ball about the
  // vertical.
  const double a = 2.5 * sine - 1, nose_x = s.nose_x - before.nose_x, cloth_x = s.cloth_x - before.cloth_x;
  const double spin_z = wz - 2.5 * cosine * (3.5 * nose_x + a * cloth_x) / (12.25 - a * a);
  const double out_x = (s.nose_x + cosine * spin_z + sine * s.cloth_x) / (1 + sine);
  const double into = std::min(0.0, contact.into(s));
  ball.velocity = out_x * x_axis + into * outward;
  const Vec2 flat = ((s.cloth_y - into) * x_axis + (out_x - s.cloth_x) * outward) / radius;
  ball.spin = Vec3(flat.x(), flat.y(), spin_z / radius);
  report.normal_out = -into;
  return report;
}

}  // namespace baizetrace::motion
