#include "motion/aim.hpp"

#include <algorithm>
#include <cmath>
#include <functional>

#include "motion/roots.hpp"
#include "motion/route.hpp"
#include "motion/simulator.hpp"

namespace baizetrace::motion {

namespace {
constexpr int kMostEvents = 4000;

// One table with balls, asked many times with other headings.
class Trial {
 public:
  Trial(const table::Table& table, const Conditions& c, std::span<const Ball> balls, const Strike& strike)
      : simulator_(table, c), balls_(balls), strike_(strike) {
    for (const Ball& b : balls) {
      bodies_.push_back({b.radius, b.mass});
      states_.push_back({b.place, Vec2::Zero(), Vec3::Zero()});
    }
    cue_ = *index("white");
  }
  std::optional<std::size_t> index(const std::string& name) const {
    for (std::size_t i = 0; i < balls_.size(); ++i)
      if (balls_[i].name == name) return i;
    return std::nullopt;
  }
  void play(double heading) {
    Strike s = strike_;
    s.heading = heading;
    states_[cue_] = struck(s, balls_[cue_].place, balls_[cue_].radius);
    simulator_.run(bodies_, states_, kMostEvents);
    first_ = nullptr;
    // Straight: what it meets off a cushion was not aimed at. (Brushing a cushion along which it runs is no matter.)
    constexpr double kBrush = 0.02;  // of its speed
    for (const Event& e : simulator_.events()) {
      if (e.ball != cue_) continue;
      if (e.kind == ContactKind::ball) first_ = &e;
      if (first_ || (e.velocity_out - e.velocity_in).norm() > kBrush * e.velocity_in.norm()) break;
    }
  }
  // The ball that the cue ball meets first, without a cushion before, in the last play.
  const Event* first() const { return first_; }
  std::size_t cue() const { return cue_; }
  const Simulator& simulator() const { return simulator_; }
  std::span<const Ball> balls() const { return balls_; }

  // Offset of the first contact across the cue ball's path over the touching distance: sine of the cut; positive: the
  // object ball lies to the right of the path, so its left side is hit.
  double sine_of_cut() const {
    const Ball& other = balls_[first_->with];
    const Vec2 line = (other.place - first_->at).normalized();
    return -cross(first_->velocity_in.normalized(), line);
  }

  // The same offset where the cue ball's centre goes nearest past a ball that it does not touch, m.
  double passing_offset(std::size_t ball) const {
    BallPath path;
    path.pieces.assign(simulator_.pieces(cue_).begin(), simulator_.pieces(cue_).end());
    const double time = nearest_to(path, balls_[ball].place).second;
    for (const Piece& p : path.pieces)
      if (time >= p.from && time <= p.to && p.velocity_at(time).norm() > 0)
        return -cross(p.velocity_at(time).normalized(), Vec2(balls_[ball].place - p.at(time)));
    return 0;
  }

 private:
  Simulator simulator_;
  std::span<const Ball> balls_;
  Strike strike_;
  std::vector<Body> bodies_;
  std::vector<State> states_;
  std::size_t cue_ = 0;
  const Event* first_ = nullptr;
};

Result<Trial> prepare(const table::Table& table, const Conditions& c, std::span<const Ball> balls, Strike strike) {
  strike.heading = 0;
  // Names every fault of the input in simulate()'s words.
  if (auto ok = simulate(table, c, balls, strike, {.most_events = 1}); !ok) return pass_on(ok);
  return Trial(table, c, balls, strike);
}

// The offset by which the ball's line, after its contacts `bank`, passes the target: positive if the target lies to the
// left. nullopt: the ball was not sent that way.
std::optional<double> passing(const Trial& trial, std::size_t ball, std::size_t by,
                              const std::vector<std::string>& bank, const Vec2& target) {
  const auto& sim = trial.simulator();
  double from = -1, to = kNever;
  std::size_t banked = 0;
  bool sent = false;
  for (const Event& e : sim.events()) {
    if (e.ball != ball) continue;
    if (!sent) {
      if (e.kind != ContactKind::ball || e.with != by) return std::nullopt;
      sent = true;
      from = e.time;
      continue;
    }
    if (banked < bank.size()) {
      if (e.kind != ContactKind::cushion || sim.ground().cushions[e.with] != bank[banked]) return std::nullopt;
      ++banked;
      from = e.time;
      continue;
    }
    to = e.time;
    break;
  }
  if (!sent || banked < bank.size()) return std::nullopt;
  const Piece* last = nullptr;
  for (const Piece& p : sim.pieces(ball))
    if (p.from >= from && p.to <= to + 1e-12 && p.phase != Piece::Phase::rest) last = &p;
  if (!last) return std::nullopt;
  const Vec2 v = last->phase == Piece::Phase::roll ? last->velocity : last->velocity_at(last->to);
  if (v.norm() < kStill) return std::nullopt;
  const Vec2 at = last->phase == Piece::Phase::roll ? last->place : last->at(last->to);
  const Vec2 way = v.normalized();
  if (way.dot(target - at) < 0) return std::nullopt;
  return cross(way, target - at);
}

using Function = std::function<std::optional<double>(double)>;

// A root of f between a and b, where it is defined at both ends with different signs: bisection kept honest by Illinois
// steps. Returns the abscissa.
std::optional<double> root_between(const Function& f, double a, double fa, double b, double fb, double tolerance) {
  constexpr int kMost = 100;
  for (int i = 0; i < kMost; ++i) {
    double t = i % 3 == 2 ? 0.5 * (a + b) : a + (b - a) * fa / (fa - fb);
    if (!(t > std::min(a, b) && t < std::max(a, b))) t = 0.5 * (a + b);
    const auto ft = f(t);
    if (!ft) return std::nullopt;  // a jump between two kinds of shot, not a root
    if (std::abs(*ft) <= tolerance || std::abs(b - a) < 1e-15) return t;
    if ((*ft > 0) == (fa > 0)) {
      a = t;
      fa = *ft;
    } else {
      b = t;
      fb = *ft;
    }
  }
  return 0.5 * (a + b);
}

// Whether the ball falls by the way that was meant: sent by `by`, off the cushions of `bank`, and from there into the
// pocket, off its jaws and the ends of the cushions beside it at most. Falling in some other way is luck, not an aim.
bool falls(const Trial& trial, std::size_t ball, std::size_t by, const std::vector<std::string>& bank,
           const std::string& pocket) {
  constexpr double kBeside = 0.3;  // m from the fall's middle
  const auto& ground = trial.simulator().ground();
  const auto in =
      std::find(ground.pocket_names.begin(), ground.pocket_names.end(), pocket) - ground.pocket_names.begin();
  const Vec2 there = ground.pockets[static_cast<std::size_t>(in)].fall_centre;
  bool sent = false;
  std::size_t banked = 0;
  for (const Event& e : trial.simulator().events()) {
    if (e.ball != ball) continue;
    if (e.kind == ContactKind::pocket) return sent && banked == bank.size() && ground.pocket_names[e.with] == pocket;
    if (!sent) {
      if (e.kind != ContactKind::ball || e.with != by) return false;
      sent = true;
    } else if (e.kind == ContactKind::cushion && banked < bank.size()) {
      if (ground.cushions[e.with] != bank[banked++]) return false;
    } else if (e.kind == ContactKind::ball || (e.at - there).norm() > kBeside) {
      return false;
    }
  }
  return false;
}

// How far the heading may go from `good` towards `side` and keep `holds`.
double reach(const std::function<bool(double)>& holds, double good, double side, double most) {
  constexpr double kStart = 1e-5;       // rad, far below any margin that matters
  constexpr double kResolution = 1e-7;  // rad
  constexpr double kFurther = 1.15;     // short strides: not over a gap into the next window
  double inside = 0, outside = kStart;
  while (holds(good + side * outside)) {
    inside = outside;
    outside *= kFurther;
    if (outside > most) return inside;
  }
  while (outside - inside > kResolution) {
    const double middle = 0.5 * (inside + outside);
    (holds(good + side * middle) ? inside : outside) = middle;
  }
  return inside;
}

void describe(const Trial& trial, Aimed& out) {
  const double sine = trial.sine_of_cut();
  out.fullness = 1 - std::abs(sine);
  out.cut = std::asin(std::clamp(std::abs(sine), 0.0, 1.0));
  out.hits_left = sine > 0;
  out.distance = 0;
  BallPath run;
  for (const Piece& p : trial.simulator().pieces(trial.cue()))
    if (p.to <= trial.first()->time + 1e-12) run.pieces.push_back(p);
  out.distance = path_length(run);
}

// The heading at which the first ball is met with an offset s (sine of the cut), from a straight cue ball's geometry
// and then corrected for swerve by secant steps.
std::optional<double> heading_for(Trial& trial, std::size_t ball, double s) {
  const Ball& cue = trial.balls()[trial.cue()];
  const Ball& object = trial.balls()[ball];
  const Vec2 d = object.place - cue.place;
  const double touching = touching_distance(cue.radius, object.radius);
  const double ratio = std::clamp(s * touching / d.norm(), -1.0, 1.0);
  double heading = heading_of(d) - std::asin(ratio);
  constexpr int kMost = 30;
  double previous = 0, previous_f = 0;
  for (int i = 0; i < kMost; ++i) {
    trial.play(heading);
    if (trial.first() && trial.first()->with != ball) return std::nullopt;
    // Swerve may carry the first tries past the ball: then the offset at which it goes past stands for the sine.
    const auto offset = trial.first() ? trial.sine_of_cut() : trial.passing_offset(ball) / touching;
    const double f = offset - s;
    if (std::abs(f) * touching <= 0.01 * kAimError) return heading;
    double slope = -d.norm() / touching;
    if (i > 0 && f != previous_f && heading != previous) slope = (f - previous_f) / (heading - previous);
    previous = heading;
    previous_f = f;
    heading -= f / slope;
  }
  return heading;
}

// The ball that the cue ball met in the trial before it could meet the wanted one; "": none.
std::string in_the_way_of(std::size_t wanted, const Trial& trial) {
  if (!trial.first() || trial.first()->with == wanted) return "";
  return trial.balls()[trial.first()->with].name;
}
}  // namespace

Result<Aimed> aim_pot(const table::Table& table, const Conditions& conditions, std::span<const Ball> balls,
                      const Strike& strike, const PotAim& aim) {
  auto trial = prepare(table, conditions, balls, strike);
  if (!trial) return pass_on(trial);
  const auto ball = trial->index(aim.ball);
  if (!ball || *ball == trial->cue()) return fail("there is no ball \"{}\" to pot", aim.ball);
  const auto first = aim.first.empty() ? ball : trial->index(aim.first);
  if (!first || *first == trial->cue()) return fail("there is no ball \"{}\" to play first", aim.first);
  const table::Pocket* pocket = table.pocket(aim.pocket);
  if (!pocket) return fail("there is no pocket \"{}\"", aim.pocket);
  const Vec2 target = pocket->mouth_middle();
  const std::size_t by = *first == *ball ? trial->cue() : *first;

  std::string in_the_way;  // the last that was met instead
  bool ever_met = false;
  const auto play = [&](double heading) {
    trial->play(heading);
    const bool met = trial->first() && trial->first()->with == *first;
    if (const std::string other = in_the_way_of(*first, *trial); !other.empty()) in_the_way = other;
    ever_met = ever_met || met;
    return met;
  };
  const Function miss = [&](double heading) -> std::optional<double> {
    if (!play(heading)) return std::nullopt;
    return passing(*trial, *ball, by, aim.bank, target);
  };
  const auto pots = [&](double heading) { return play(heading) && falls(*trial, *ball, by, aim.bank, aim.pocket); };

  // All headings that meet the first ball, seen from fine on one side to fine on the other.
  const Vec2 d = balls[*first].place - balls[trial->cue()].place;
  const double touching = touching_distance(balls[trial->cue()].radius, balls[*first].radius);
  const double half = std::asin(std::min(1.0, touching / d.norm()));
  const double straight = heading_of(d);
  constexpr double kSwerve = 0.02;  // rad: swerve and curve beyond the straight line's range
  const int samples = aim.first.empty() && aim.bank.empty() ? 48 : 240;
  std::optional<double> best;
  bool best_pots = false;
  std::optional<double> previous;
  double previous_heading = 0;
  for (int i = 0; i <= samples; ++i) {
    const double heading = straight + (half + kSwerve) * (2.0 * i / samples - 1.0);
    const auto m = miss(heading);
    if (m && previous && (*m > 0) != (*previous > 0)) {
      const auto root = root_between(miss, previous_heading, *previous, heading, *m, kAimError);
      if (root) {
        const bool good = pots(*root);
        // Of several roots: one that pots, then the thickest.
        if (!best || (good && !best_pots) ||
            (good == best_pots && std::abs(*root - straight) < std::abs(*best - straight))) {
          best = root;
          best_pots = good;
        }
      }
    }
    previous = m;
    previous_heading = heading;
  }
  if (!best_pots) {
    // The pocket's middle may be out of reach (a ball near a cushion) and the pot still on: look for a heading that
    // does it near the line, then take the middle of the window.
    const double about = best.value_or(straight);
    const double range = best ? 0.15 * half : half;
    constexpr int kLooks = 120;
    for (int i = 0; i <= kLooks && !best_pots; ++i) {
      const double off = range * ((i + 1) / 2) / (kLooks / 2) * (i % 2 ? 1 : -1);
      if (!pots(about + off)) continue;
      const double up = reach(pots, about + off, 1, half), down = reach(pots, about + off, -1, half);
      best = about + off + 0.5 * (up - down);
      best_pots = pots(*best);
    }
  }
  if (!best) {
    if (!ever_met && !in_the_way.empty()) return fail("{} is in the way of {}", in_the_way, balls[*first].name);
    return fail("no heading sends {} towards {}{}{}", aim.ball, aim.pocket,
                aim.bank.empty() && aim.first.empty() ? "" : " by that way",
                in_the_way.empty() ? "" : fmt::format("; {} hides a part of {}", in_the_way, balls[*first].name));
  }
  Aimed out;
  if (best_pots) {
    // The middle of the window: for a ball that comes at an angle it is not the line to the middle of the mouth.
    double plus = reach(pots, *best, 1, half), minus = reach(pots, *best, -1, half);
    const double middle = *best + 0.5 * (plus - minus);
    if (pots(middle)) {
      best = middle;
      plus = minus = 0.5 * (plus + minus);
    }
    play(*best);
    describe(*trial, out);
    // With its left side hit the ball lies to the right of the path, so turning clockwise is thicker.
    out.thinner = out.hits_left ? minus : plus;
    out.thicker = out.hits_left ? plus : minus;
  } else {
    play(*best);
    describe(*trial, out);
  }
  out.heading = wrap_angle(*best);
  out.pots = best_pots;
  return out;
}

Result<Aimed> aim_onto(const table::Table& table, const Conditions& conditions, std::span<const Ball> balls,
                       const Strike& strike, const OntoAim& aim) {
  auto trial = prepare(table, conditions, balls, strike);
  if (!trial) return pass_on(trial);
  const auto ball = trial->index(aim.ball);
  if (!ball || *ball == trial->cue()) return fail("there is no ball \"{}\" to play onto", aim.ball);
  if (!(aim.fullness > 0 && aim.fullness <= 1)) return fail("fullness is {}, expected over 0 up to 1", aim.fullness);
  const double s = (aim.on_its_left ? 1 : -1) * (1 - aim.fullness);
  const auto heading = heading_for(*trial, *ball, s);
  if (!heading) {
    const std::string in_the_way = in_the_way_of(*ball, *trial);
    if (!in_the_way.empty()) return fail("{} is in the way of {}", in_the_way, aim.ball);
    return fail("no heading meets {} {}-ball at that pace", aim.ball, aim.fullness);
  }
  Aimed out;
  out.heading = wrap_angle(*heading);
  trial->play(*heading);
  describe(*trial, out);
  return out;
}

std::optional<Aimed> meeting_of(const Prediction& prediction, std::span<const Ball> balls,
                                const std::string& cue_ball) {
  const BallPath* cue = prediction.ball(cue_ball);
  if (!cue) return std::nullopt;
  for (const Contact& c : cue->contacts) {
    if (c.kind != ContactKind::ball) continue;
    const BallPath* other = prediction.ball(c.with);
    if (!other) return std::nullopt;
    Aimed out;
    out.heading = prediction.strike.heading;
    const Vec2 there = other->at(c.time).value_or(c.at);
    const double sine = -cross(along_heading(c.heading_in), Vec2((there - c.at).normalized()));
    out.fullness = 1 - std::abs(sine);
    out.cut = std::asin(std::min(1.0, std::abs(sine)));
    out.hits_left = sine > 0;
    BallPath run;
    for (const Piece& p : cue->pieces)
      if (p.to <= c.time + 1e-12) run.pieces.push_back(p);
    out.distance = path_length(run);
    (void)balls;
    return out;
  }
  return std::nullopt;
}

}  // namespace baizetrace::motion
