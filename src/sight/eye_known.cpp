// A ball that is known: where it is in this frame.
#include <algorithm>
#include <cmath>

#include "sight/eye_state.hpp"
#include "sight/rim_check.hpp"

namespace baizetrace::sight {

namespace {

constexpr double kShadowChange = 2.5;   // times what noise does: a shadow or a hand near it, not the ball itself
constexpr double kRefitShadowed = 0.1;  // s
constexpr double kVisibleKnown = 0.30;  // share of the outline that must be seen of a ball known to be there
// A moving ball of whose outline less than this is seen may have struck something; another smear is believed when it
// shows one sector of the 32 more, and a little. Wide enough for any turn of a smear of a ball's size.
constexpr double kWholeMoving = 0.95, kMoreVisible = 0.04, kSmearUnknown = 6;  // px
constexpr double kSmearTells = 3;                                              // px: a shorter one is hardly seen
constexpr double kClearOfCue = 0.15;  // s after it was set going: by then it has left the cue behind
// The way between a frame in which it lay and one in which it moves is all of a frame's or nothing of it: half on
// average. The prior lies between that and what was seen, and is as wide.
constexpr double kSetGoing = 1.4, kSetGoingSd = 0.5;
constexpr double kRimKnown = 0.20;    // of one that was followed here
constexpr double kFaded = 0.35;       // of the contrast it usually has: that is not the ball, though it has its colour
constexpr double kContrastShade = 8;  // less of the cloth's own hue: bare cloth in a shadow
// Less of a ball of the cloth's own colour, and its rim is looked at; still less, and it is not that ball.
constexpr double kVisibleFaint = 0.85, kVisibleFaintLeast = 0.65;
constexpr double kVisibleClear = 0.9, kContrastClear = 40;  // a whole ball, standing out well
constexpr double kCreeps = 1.5, kSearchCreeping = 1.5;      // px between frames: where it will be is as good as known
constexpr double kMayCreep = 0.5;                           // s after it seemed to come to rest
constexpr double kSearchAfresh = 5;                         // px
constexpr double kFadedFor = 1.0;                           // s without a fit, and bare cloth in its place: it is gone
constexpr double kFadedStill = 2.0;                         // s, though its picture has not changed since
constexpr double kAnchored = 0.35;  // px that a resting ball's own picture may seem to have moved
constexpr double kBetter = 0.85;    // of the misfit: a better explanation of a resting ball
constexpr int kMostFits = 12;       // that a resting place is the mean of
constexpr int kManyLooks = 24;      // at a ball in the same place: what they did not better the next will hardly
constexpr double kOutOfSight = 0.3, kLookedForEvery = 0.1;  // s unseen where it lay; then

}  // namespace

bool Eye::State::see_known(const View& view, const video::Frame& frame, KnownBall& ball) {
  const double time = own_time(frame, ball.pixel);
  const auto as_before = [&] {
    ball.time = time;
    ball.seen = true;
    ball.fresh = false;
    ball.lost = false;
    return true;
  };
  double differs = 1e9;
  bool unsmeared = false;  // found as a smear that its own picture denies
  // It may be creeping still: only fits tell.
  const bool may_creep = !ball.moving && time - ball.rests_since < kMayCreep;
  if (!ball.moving && !may_creep) {
    const double since = time - ball.fit_time;
    differs = ball.change(view);
    // What is smeared is elsewhere in the next frame: a ball with a shadow as dark as itself is as long as a smear.
    unsmeared = differs < 1 && ball.smear.norm() > kSmearTells;
    if (!unsmeared && ((differs < 1 && since < kRefitEvery) || (differs < kShadowChange && since < kRefitShadowed)))
      return as_before();
  }
  // Its own picture tells whether a resting ball has moved far better than one fit after another does: shadows of
  // people come and go, and the cloth around it is learnt anew.
  const auto moved = ball.moving || may_creep ? std::nullopt : ball.moved_since_anchored(view);
  const bool lies_still = moved && moved->norm() < kAnchored;
  // Then a fit can only tell its place better: no need of one in every frame that a shadow falls into.
  const double look_every = ball.anchor_looks >= kManyLooks ? 2 * kRefitEvery
                            : ball.anchor_fits < kMostFits  ? kRefitShadowed
                                                            : kRefitEvery;
  if (lies_still && !unsmeared && time - ball.fit_time < look_every) return as_before();
  // What hides a ball at rest, or has taken it, does so for longer than a frame.
  if (!ball.moving && frame.time - ball.time > kOutOfSight) {
    ball.passed_over = frame.time > ball.looked_for && frame.time - ball.looked_for < kLookedForEvery;
    if (ball.passed_over) return false;
    ball.looked_for = frame.time;
  }
  const Vec2 start = ball.moving ? Vec2(ball.pixel + ball.velocity * (time - ball.time)) : ball.pixel;
  BallFitOptions o;
  const double step = ball.velocity.norm() * (time - ball.time);  // px
  o.search = may_creep        ? kSearchCreeping
             : !ball.moving   ? kSearchResting
             : step < kCreeps ? kSearchCreeping
                              : std::clamp(0.1 * step, 3.0, 6.0);
  if (ball.moving) {
    const auto [e, u] = exposure.guess(interval);
    const double longest = 6 * ball.ellipse.radius;  // px: three balls' widths; longer smears are not seen as balls
    o.smear = e * ball.velocity;
    if (o.smear.norm() > longest) o.smear *= longest / o.smear.norm();
    o.smear_sd = std::max(0.7, (u + 0.15 * e) * ball.velocity.norm());
    // Seen to move once only: it was set going between two frames, and is faster than the way between them tells.
    if (ball.time - ball.moving_since < 0.5 * interval) {
      o.smear *= kSetGoing;
      o.smear_sd = std::max(o.smear_sd, kSetGoingSd * o.smear.norm());
    }
    o.moving = o.smear.norm() > 1.0;
    if (!o.moving) o.smear.setZero();
    o.known = &ball.shading;
  }
  const char* why = "not on the bed";
  const auto fit_at = [&](const Vec2& from, double visible, double rim) -> std::optional<BallFit> {
    const auto at = rig.camera.on_plane(from, radius);
    if (!at || !region.ball_can_be(*at)) return std::nullopt;
    const auto others = others_near(from, &ball);
    o.others = others;
    o.least_visible = visible;
    auto fit = fit_ball(view, rig.camera, *at, radius, o);
    why = !fit                                           ? "nothing there can be explained as a ball"
          : refusal(*fit, visible)                       ? refusal(*fit, visible)
          : !ball.same_colour(fit->colour)               ? "another colour than this ball's"
          : fit->contrast < kFaded * ball.usual_contrast ? "paler than this ball ever was"
          : !ball.faint && fit->contrast < kContrastShade && cloth.shade(fit->colour)
              ? "no more than a shadow on the cloth"
              : nullptr;
    if (why) return std::nullopt;
    // Of the cloth's own colour: where it has left, the spot's marks still pass for some of its outline.
    if ((ball.faint || cloth.like(fit->colour)) && !ball.moving && fit->visible < kVisibleFaint &&
        (fit->visible < kVisibleFaintLeast || !has_step_at_rim(view, fit->ellipse))) {
      why = "too little there steps off the cloth";
      return std::nullopt;
    }
    // A whole ball that stands out well may lie in the deepest shadow; what is seen in part may not.
    const bool clear = fit->visible >= kVisibleClear && fit->contrast >= kContrastClear;
    const bool told_by_rim = !ball.faint || ball.moving;
    if (told_by_rim && rim_share(view, fit->ellipse, fit->smear, others, clear ? RimFor::known : RimFor::fresh) < rim) {
      why = "no cloth around it: a sleeve, a hand, a cue";
      return std::nullopt;
    }
    return fit;
  };
  auto fit = fit_at(start, kVisibleKnown, kRimKnown);
  if (!fit && ball.moving && ball.time < frame.time - 1.5 * interval) {
    // Lost for a frame already: it is not where it was expected. Where is anything like it?
    constexpr double kAstray = 0.4;  // of the way it would have gone
    const double reach = 2 * ball.ellipse.radius + kAstray * ball.velocity.norm() * (time - ball.time);
    if (const auto place = ball.look_about(view, start, std::min(reach, 5 * ball.ellipse.radius)))
      fit = fit_at(*place, kVisibleNew, kRimNew);
  }
  bool smear_open = false;
  if (fit && ball.moving && fit->visible < kWholeMoving && time - ball.moving_since > kClearOfCue &&
      o.smear.norm() > kSmearTells) {
    // Part of the outline is not where it should be. Something may cover it; or it has struck something, and its smear
    // is another than was thought. A cue behind a ball just struck looks like a longer smear: not then.
    o.smear_sd = std::max(kSmearUnknown, 1.2 * o.smear.norm());
    o.smear = 0.5 * fit->smear;
    o.moving = true;
    o.search = std::max(o.search, 5.0);
    const auto again = fit_at(fit->pixel, kVisibleKnown, kRimKnown);
    if (again && again->visible > fit->visible + kMoreVisible) fit = again, smear_open = true;
  }
  // What cannot be fitted in this frame, but looks as it did, is where it was: noise comes and goes with every picture.
  // Not for ever: an encoder's old picture of a ball that has passed fades as slowly, and cloth is what is left.
  if (fit) ball.fitted_at = time;
  const bool faded = !ball.faint && time - ball.fitted_at > (lies_still ? kFadedStill : kFadedFor) && ball.bare(change);
  if (!fit && !faded && (lies_still || differs < kShadowChange)) {
    ball.fit_time = time;
    return as_before();
  }
  if (!fit) {
    Ellipse expected = ball.ellipse;
    expected.centre += start - ball.pixel;
    note(false, std::string("a ball was expected here: ") + why, expected, o.smear);
    return false;
  }
  if (!ball.moving && !ball.faint && in_nose_shade(view, *fit)) {
    note(false, "no more than the shade along a cushion", ball.ellipse, ball.smear);
    ball.forget = true;
    return false;
  }
  if (unsmeared) {
    take(frame, view, *fit, ball, false);
    ball.anchor(view, fit->misfit);
    return true;
  }
  if (lies_still) {
    // It lies where it lay: a fit that explains its picture better tells that place better, one that does as well
    // counts as much, and one that does worse not at all.
    ball.fit_time = time;
    ++ball.anchor_looks;
    const Vec2 to = fit->pixel - *moved;  // where it would have been when it was anchored
    const bool better = fit->misfit < kBetter * ball.anchor_misfit && fit->visible > ball.visible - kMoreVisible;
    const bool as_good = fit->misfit < ball.anchor_misfit / kBetter && fit->visible > ball.visible - kMoreVisible;
    if (!better && !(as_good && ball.anchor_fits < kMostFits)) return as_before();
    if (better) {
      ball.anchor_fits = 1;
      ball.anchor_looks = 0;
    } else {
      ++ball.anchor_fits;
      const Vec2 mean = ball.pixel + (to - ball.pixel) / ball.anchor_fits;
      const auto at = rig.camera.on_plane(mean, radius);
      const auto outline = at ? ball_ellipse(rig.camera, *at, radius) : std::nullopt;
      if (!outline) return as_before();
      fit->pixel = mean;
      fit->at = *at;
      fit->ellipse = *outline;
    }
    ball.anchor_misfit = std::min(ball.anchor_misfit, fit->misfit);
    take(frame, view, *fit, ball, false);
    return true;
  }
  // The ball's own picture has hardly changed: it has not moved, whatever shadows do to the fit. But when one fit after
  // another says the same, it was the first that was wrong.
  if (differs < kShadowChange && (fit->pixel - ball.pixel).norm() > kMoved) {
    constexpr int kInsists = 3;
    ball.insists = (fit->pixel - ball.disputed).norm() < kMoved ? ball.insists + 1 : 1;
    ball.disputed = fit->pixel;
    ball.fit_time = time;
    if (ball.insists < kInsists) return as_before();
    take(frame, view, *fit, ball, false);
    ball.anchor(view, fit->misfit);
    return true;
  }
  const bool moved_until_now = ball.moving;
  take(frame, view, *fit, ball, true, smear_open);
  if (ball.moving) {
    ball.lift_anchor();
    return true;
  }
  if (moved_until_now) {
    ball.rests_since = time;
    // It has come to rest: looked at afresh, without what was made of it on the way; the outline that
    // stands out more is the ball's.
    o = BallFitOptions();
    o.search = kSearchAfresh;
    const auto afresh = fit_at(ball.pixel, kVisibleKnown, kRimKnown);
    if (afresh && afresh->contrast > fit->contrast) fit = afresh, take(frame, view, *fit, ball, false);
  }
  ball.anchor(view, fit->misfit);
  return true;
}

}  // namespace baizetrace::sight
