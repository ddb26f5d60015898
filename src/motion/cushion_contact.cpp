#include "motion/cushion_contact.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::motion {

namespace {
// Velocities during the contact, m/s, in a frame along the cushion (x), into it (y), up (z): the slip at the nose,
// along it and across it (down the cushion's face), and the slip at the cloth. These decide everything; the ball's
// velocity and spin are put together from them afterwards. Then the integral of the nose's normal velocity over the
// normal impulse over the mass, p; the last place only fills up.
using Slips = Eigen::Matrix<double, 6, 1>;
auto nose(const Slips& s) { return s.head<2>(); }
auto cloth(const Slips& s) { return s.segment<2>(2); }
double work(const Slips& s) { return s[4]; }

// Which way friction acts at the two points: unit vectors along the slips, or shorter where friction holds one.
struct Ways {
  Vec2 nose = Vec2::Zero(), cloth = Vec2::Zero();
};

// How far one step may go. Steps are chosen beforehand, from the state alone, and hardly ever taken back: so the
// outcome stays smooth in what comes in.
constexpr double kEven = 2;             // steps in compression and in restitution, at least
constexpr double kRest = 0.1;           // of an even step that the last ones take along
constexpr double kImplicitShare = 0.5;  // of it that a step of the implicit method, of lower order, may take
// A closing slip: what a step leaves of it; less where it runs straight to zero, the faster the smaller kStraight; so
// much of its size and of the contact's speed at least, since no stage of a step may see the slip beyond zero.
constexpr double kLeave = 0.45, kStraight = 10, kSpare = 0.3, kLeastSpare = 0.003;
constexpr double kLanding = 0.98;    // of a slip that closes along friction's line, used up by one implicit step
constexpr double kTurn = 0.3;        // rad by which a slip may turn, twice that where it is small
constexpr double kSmallSlip = 1e-3;  // of the contact's speed
constexpr double kStable = 1.3;      // of 3.3, the explicit method's limit: friction turns a slip into its own line
constexpr double kFast = 1.5;        // friction over growth of a slip that leaves zero fast enough for that method
// An implicit step leaves out how a slip is turned into friction's line; what that moves may be this much of the
// contact's speed, and twice as much for each step after kHurry. Slips larger than kMayTurn of it are always followed.
constexpr double kLeftOut = 1e-7, kMayTurn = 0.02;
constexpr int kHurry = 20;
// After kRelaxed steps a slip may turn further in each, by this share for every step since.
constexpr int kRelaxed = 18;
constexpr double kHurrying = 0.5;
// The last kLate steps divide what is left evenly, and kKept of all are kept for the way back.
constexpr int kLate = 4, kKept = 8;
constexpr double kAlmost = 0.99;  // of friction's most: a slip held so barely is let go
// Of the contact's speed: a slip that is none; what is left at the end that one straight line does, and one step of
// second order.
constexpr double kZero = 1e-7, kEnd = 3e-4, kNearEnd = 0.003;

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

  [[nodiscard]] double into(const Slips& s) const { return (s[3] - s[1]) * share_; }

  // To no speed into the cushion; returns the work put in.
  double compress(Slips& s) {
    run(s, kMostCushionSteps - kKept, [&](const Slips& now, double) { return into(now); });
    return work(s);
  }
  // Until the cushion has given back `given`.
  void restore(Slips& s, double given) {
    const double end = work(s) - given;
    run(s, kMostCushionSteps, [&](const Slips& now, double slowing) {
      const double out = -into(now), square = out * out + 2 * (work(now) - end) * slowing / cosine_;
      return std::sqrt(std::max(0.0, square)) - out;
    });
  }
  [[nodiscard]] int steps() const { return steps_; }

 private:
  [[nodiscard]] double cloth_limit(double across) const {
    return cloth_friction_ * std::max(0.0, sine_ + cosine_ * across);
  }

  // d/dp; friction's forces over the normal force are f at the nose and g at the cloth.
  [[nodiscard, gnu::always_inline]] inline Slips change(const Ways& ways) const {
    const Vec2 f = nose_friction_ * ways.nose, g = cloth_limit(f.y()) * ways.cloth;
    Slips r;
    r << a_ * g.x() - 3.5 * f.x(), sine_ * cosine_ - d_ * f.y() - b_ * g.y(), a_ * f.x() - 3.5 * g.x(),
        -cosine_ - b_ * f.y() - 3.5 * g.y(), 0, 0;
    return r;
  }
  [[nodiscard]] double slowing(const Slips& change) const { return (change[1] - change[3]) * share_; }
  // d/dt, t the speed into the cushion that is used up. `stretch_` is dp/dt.
  [[nodiscard, gnu::always_inline]] inline Slips rate(const Slips& s, const Ways& ways) {
    Slips r = change(ways);
    stretch_ = 1 / slowing(r);
    r[4] = cosine_ * into(s);
    return stretch_ * r;
  }

  // What moves a slip over p but for its own friction, and what the whole of that friction takes off along x and y.
  struct Push {
    Vec2 free;
    double kx, ky;
    // Of friction's most, what holds a slip that is zero.
    [[nodiscard]] double load() const { return std::hypot(free.x() / kx, free.y() / ky); }
  };
  [[nodiscard]] Push on_nose(const Ways& ways) const {
    const double limit = cloth_limit(nose_friction_ * ways.nose.y());
    const double pressed = limit > 0 ? b_ * cloth_friction_ * ways.cloth.y() : 0;
    return {Vec2(a_ * limit * ways.cloth.x(), sine_ * cosine_ - sine_ * pressed), 3.5 * nose_friction_,
            nose_friction_ * (d_ + cosine_ * pressed)};
  }
  [[nodiscard]] Push on_cloth(const Ways& ways) const {
    const Vec2 f = nose_friction_ * ways.nose;
    const double limit = 3.5 * cloth_limit(f.y());
    return {Vec2(a_ * f.x(), -cosine_ - b_ * f.y()), limit, limit};
  }
  // Friction's way against a slip that was `from`, a stretch p of the impulse later: along it, or what holds it.
  [[nodiscard]] static Vec2 way(const Vec2& from, double p, const Push& push) {
    const Vec2 free = from / p + push.free;
    const double size = free.norm();
    if (!(size > 0)) return Vec2::Zero();
    if (push.kx == push.ky) return free / std::max(size, push.kx);
    const Vec2 square = free.cwiseAbs2();
    double left = std::max(0.0, size - (push.kx * square.x() + push.ky * square.y()) / (size * size));
    constexpr int kNewton = 5;  // 1 / |n| is all but straight in what is left
    constexpr double kClose = 1e-7;
    for (int i = 0;; ++i) {
      const double ix = 1 / (left + push.kx), iy = 1 / (left + push.ky);
      const Vec2 n(free.x() * ix, free.y() * iy);
      const double length_square = n.squaredNorm();
      if (length_square <= 1 && left <= 0) return n;  // held
      const double length = std::sqrt(length_square);
      if (i == kNewton || std::abs(length_square - 1) < kClose) return n / length;
      const double slope = n.x() * n.x() * ix + n.y() * n.y() * iy;
      left = std::max(0.0, left + length_square / slope * (length - 1));
    }
  }
  // The ways that belong to the slips at the end of a stretch p of the impulse, from `from`; at the start: a guess.
  void settle(const Slips& from, double p, Ways& ways) const {
    ways.nose = way(nose(from), p, on_nose(ways));
    ways.cloth = way(cloth(from), p, on_cloth(ways));
  }
  // d/dt at the end of an implicit stage of length h from `from`.
  // `nearing`: by how much a round brings the ways nearer to what they come to, as seen so far.
  [[nodiscard]] Slips implicit(const Slips& from, double h, Ways& ways, double& nearing) {
    Slips k = rate(from, ways);
    double change = 0;
    for (int round = 0; round < kRounds; ++round) {
      const Ways last = ways;
      settle(from, h * stretch_, ways);
      k = rate(from + h * k, ways);
      const double now = std::sqrt(apart(ways, last));
      if (change > 0) nearing = std::min(kSlow, now / change);
      change = now;
      if (now * nearing < kSettled) break;
    }
    return k;
  }
  static constexpr int kRounds = 40;
  static constexpr double kSettled = 1e-8, kSlow = 0.5;
  [[nodiscard]] static double apart(const Ways& a, const Ways& b) {
    return (a.nose - b.nose).squaredNorm() + (a.cloth - b.cloth).squaredNorm();
  }
  // A slip of no size goes the way given.
  [[nodiscard, gnu::always_inline]] inline Ways ways_at(const Slips& s, const Ways& none) const {
    Ways r = none;
    if (const double square = nose(s).squaredNorm(); square > zero_ * zero_) r.nose = 1 / std::sqrt(square) * nose(s);
    if (const double square = cloth(s).squaredNorm(); square > zero_ * zero_)
      r.cloth = 1 / std::sqrt(square) * cloth(s);
    return r;
  }

  // Dormand and Prince's method of fifth order (J. Comp. Appl. Math. 6, 1980, 19).
  [[nodiscard]] Slips explicit_step(const Slips& s, const Ways& start, const Slips& k1, double h) {
    constexpr int kStages = 6;
    static constexpr double kWeights[kStages][kStages] = {
        {1.0 / 5},
        {3.0 / 40, 9.0 / 40},
        {44.0 / 45, -56.0 / 15, 32.0 / 9},
        {19372.0 / 6561, -25360.0 / 2187, 64448.0 / 6561, -212.0 / 729},
        {9017.0 / 3168, -355.0 / 33, 46732.0 / 5247, 49.0 / 176, -5103.0 / 18656},
        {35.0 / 384, 0, 500.0 / 1113, 125.0 / 192, -2187.0 / 6784, 11.0 / 84}};
    Slips k[kStages] = {k1}, now = s;
    for (int stage = 0; stage < kStages; ++stage) {
      if (stage > 0) k[stage] = rate(now, ways_at(now, start));
      Slips sum = kWeights[stage][0] * k[0];
      for (int i = 1; i <= stage; ++i) sum += kWeights[stage][i] * k[i];
      now = s + h * sum;
    }
    return now;
  }
  // The singly diagonally implicit method of fourth order of Hairer and Wanner (Solving Ordinary Differential Equations
  // II, table 6.5; coefficients from memory): what turns fast is followed to where it ends.
  [[nodiscard]] Slips implicit_step(const Slips& s, Ways ways, double h) {
    constexpr int kStages = 5;
    static constexpr double kDiagonal = 1.0 / 4;
    static constexpr double kWeights[kStages][kStages] = {{},
                                                          {1.0 / 2},
                                                          {17.0 / 50, -1.0 / 25},
                                                          {371.0 / 1360, -137.0 / 2720, 15.0 / 544},
                                                          {25.0 / 24, -49.0 / 48, 125.0 / 16, -85.0 / 12}};
    Slips k[kStages], from = s;
    double nearing = kSlow;
    for (int stage = 0; stage < kStages; ++stage) {
      Slips sum = Slips::Zero();
      for (int i = 0; i < stage; ++i) sum += kWeights[stage][i] * k[i];
      from = s + h * sum;
      k[stage] = implicit(from, kDiagonal * h, ways, nearing);
    }
    return from + kDiagonal * h * k[kStages - 1];
  }

  [[nodiscard]] double nose_rub() const { return 3.5 * nose_friction_ * stretch_; }
  [[nodiscard]] double cloth_rub() const { return 3.5 * cloth_limit(nose_friction_) * stretch_; }
  // How far a slip u that changes by du lets a step of at most h go that follows how it turns.
  [[nodiscard]] double following(const Vec2& u, const Vec2& du, double h) const {
    const double square = u.squaredNorm(), speed = du.norm();
    if (square <= zero_ * zero_ || h * speed <= kTurn * std::sqrt(square)) return h;
    const double size = std::sqrt(square), closing = -u.dot(du), turning = std::abs(u.x() * du.y() - u.y() * du.x());
    const double pass = turning / (speed * scale_);  // how near to zero a straight line would go
    const double hurry = 1 + kHurrying * std::max(0, steps_ - kRelaxed);
    double most = h;
    if (closing > 0) {
      const double spare = std::max(kStraight * std::sqrt(pass), kSpare * size / scale_ + kLeastSpare);
      most = std::min(most, (1 - std::min(kLeave / hurry, spare)) * square / closing);
    }
    if (turning > 0)
      most = std::min(most, hurry * kTurn * (1 + std::min(1.0, kSmallSlip * scale_ / size)) * square / turning);
    return most;
  }
  // Whether an explicit step of length h is too long for it, where friction turns it by `rub`.
  [[nodiscard]] bool stiff(const Vec2& u, const Vec2& du, double rub, double h) const {
    const double size = u.norm();
    if (size <= zero_) return rub > kFast * du.norm();
    return h * rub > kStable * size;
  }
  // How far it lets an implicit step go.
  [[nodiscard]] double implicit_reach(const Vec2& u, const Vec2& du, double h) const {
    const double square = u.squaredNorm(), closing = -u.dot(du);
    return square > zero_ * zero_ && closing > 0 ? std::min(h, kLanding * square / closing) : h;
  }

  // A step of at most h that ends where friction no longer holds a slip, as far as can be seen from both its ends.
  [[nodiscard]] double until_let_go(const Slips& s, const Ways& start, double h) {
    const bool holds_nose = start.nose.squaredNorm() < kAlmost * kAlmost,
               holds_cloth = start.cloth.squaredNorm() < kAlmost * kAlmost;
    if (!holds_nose && !holds_cloth) return h;
    Ways end = start;
    settle(s, h * stretch_, end);
    const auto limit = [&](double load, double later) {
      if (later > 1) h = std::min(h, h * (1 - load) / (later - load));
    };
    if (holds_nose) limit(start.nose.norm(), on_nose(end).load());
    if (holds_cloth) limit(start.cloth.norm(), on_cloth(end).load());
    return h;
  }

  struct Step {
    Slips s, k;
    Ways ways;
    double length = 0;
    bool implicitly = false;
  };
  [[nodiscard]] Slips taken(const Step& a) {
    return a.implicitly ? implicit_step(a.s, a.ways, a.length) : explicit_step(a.s, a.ways, a.k, a.length);
  }
  [[nodiscard]] bool stiff(const Step& a, double h) const {
    return stiff(nose(a.s), nose(a.k), nose_rub(), h) || stiff(cloth(a.s), cloth(a.k), cloth_rub(), h);
  }
  // Sets the length of a step, `h` at most, and the method.
  void choose(Step& a, double h, double even) const {
    double at_nose = following(nose(a.s), nose(a.k), h), at_cloth = following(cloth(a.s), cloth(a.k), h);
    const double small = kMayTurn * kMayTurn * scale_ * scale_;
    const bool small_nose = at_nose < h && nose(a.s).squaredNorm() < small,
               small_cloth = at_cloth < h && cloth(a.s).squaredNorm() < small;
    if (small_nose || small_cloth) {
      const double far_nose = small_nose ? implicit_reach(nose(a.s), nose(a.k), h) : at_nose,
                   far_cloth = small_cloth ? implicit_reach(cloth(a.s), cloth(a.k), h) : at_cloth;
      const double most = std::ldexp(kLeftOut, std::max(0, steps_ - kHurry)) * scale_;
      Ways line = a.ways;
      settle(a.s, std::min(far_nose, far_cloth) * stretch_, line);
      if (nose(a.s).norm() * (line.nose - a.ways.nose).norm() <= most) at_nose = std::max(at_nose, far_nose);
      if (cloth(a.s).norm() * (line.cloth - a.ways.cloth).norm() <= most) at_cloth = std::max(at_cloth, far_cloth);
    }
    a.length = std::min(at_nose, at_cloth);
    a.implicitly = stiff(a, a.length);
    if (a.implicitly) a.length = std::min(a.length, kImplicitShare * even);
  }

  // `left_of`: how far it still is, in t, from a state and its slowing.
  template <class Left>
  void run(Slips& s, int most_steps, const Left& left_of) {
    double even = 0;
    Step a;
    for (;; ++steps_) {
      const Ways ways = at_once(s);
      const Slips k = rate(s, ways);
      const double left = left_of(s, 1 / stretch_), size = std::abs(left);
      if (size <= kEnd * scale_ || steps_ >= most_steps) {
        s = s + left * k;
        return;
      }
      if (size < kNearEnd * scale_ && following(nose(s), nose(k), size) >= size &&
          following(cloth(s), cloth(k), size) >= size && !stiff({s, k, ways}, size)) {
        const Slips there = s + left * k;
        s = s + 0.5 * left * (k + rate(there, ways_at(there, ways)));
        continue;
      }
      if (left < 0) {  // the last step was too long
        a.length = std::max(0.0, a.length + left);
        s = taken(a);
        continue;
      }
      a.s = s;
      a.k = k;
      a.ways = ways;
      if (even == 0) even = left / kEven;
      choose(a, until_let_go(s, ways, left / std::max(1.0, std::ceil(left / even - kRest))), even);
      if (const int others = most_steps - steps_; others <= kLate && left / others > a.length) {
        a.length = left / others;
        a.implicitly = stiff(a, a.length);
      }
      s = taken(a);
      if (nose(s).squaredNorm() <= zero_ * zero_) s.head<2>().setZero();
      if (cloth(s).squaredNorm() <= zero_ * zero_) s.segment<2>(2).setZero();
    }
  }

  // The ways at once: also those of slips that are zero, held or leaving.
  [[nodiscard]] Ways at_once(const Slips& s) const {
    const bool nose_slips = nose(s).squaredNorm() > zero_ * zero_, cloth_slips = cloth(s).squaredNorm() > zero_ * zero_;
    Ways ways = ways_at(s, {Vec2(0, 1), Vec2(0, -1)});
    for (int round = 0; round < kRounds && !(nose_slips && cloth_slips); ++round) {
      const Ways last = ways;
      if (!nose_slips) ways.nose = way(Vec2::Zero(), 1, on_nose(ways));
      if (!cloth_slips) ways.cloth = way(Vec2::Zero(), 1, on_cloth(ways));
      if (nose_slips || apart(ways, last) < kSettled * kSettled)
        break;  // the cloth's friction does not change what moves it
    }
    return ways;
  }

  double sine_, cosine_;  // of the height angle of the nose seen from the centre: sine = (h - R) / R
  double nose_friction_, cloth_friction_;
  double scale_, zero_;  // m/s: the contact's own speed; a slip that is none
  double a_, b_, d_, share_;
  double stretch_ = 0;
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
  Slips before;
  before << vx + sine * wy - cosine * wz, -sine * vy + wx, vx - wy, vy + wx, 0, 0;
  const double scale = std::max({vy, std::abs(vx), std::abs(wx), std::abs(wy), std::abs(wz)});
  const double e = quiet_restitution(c.cushion_restitution_at(vy), vy);
  Slips s = before;
  Contact contact(sine, cosine, c.cushion_friction, c.sliding, scale);
  const double given = contact.compress(s);
  contact.restore(s, e * e * given);
  report.steps = contact.steps();

  // Back to velocities and spins. The nose's friction along x, summed over p, is what turns the ball about the
  // vertical.
  const double a = 2.5 * sine - 1, nose_x = s[0] - before[0], cloth_x = s[2] - before[2];
  const double spin_z = wz - 2.5 * cosine * (3.5 * nose_x + a * cloth_x) / (12.25 - a * a);
  const double out_x = (s[0] + cosine * spin_z + sine * s[2]) / (1 + sine);
  const double into = std::min(0.0, contact.into(s));
  ball.velocity = out_x * x_axis + into * outward;
  const Vec2 flat = ((s[3] - into) * x_axis + (out_x - s[2]) * outward) / radius;
  ball.spin = Vec3(flat.x(), flat.y(), spin_z / radius);
  report.normal_out = -into;
  return report;
}

}  // namespace baizetrace::motion
