// Looking back: how a ball that is seen to run freely must have looked in the frames before, when its speed was not
// known yet. A ball just struck, or just turned by a contact, is a streak of unknown length in an unknown direction;
// two frames later both are known.
#include <algorithm>
#include <cmath>

#include "sight/eye_state.hpp"
#include "sight/rim_check.hpp"

namespace baizetrace::sight {

namespace {

constexpr double kAlike = 0.25, kAlikeAtLeast = 1.0;  // of a smear, and px: as long as another, or in its direction
constexpr double kTooShort = 2.5;                     // px: such smears hardly lead a fit astray
constexpr double kTold = 0.15;        // of a smear, standard deviation: speed changes from frame to frame
constexpr double kVisibleThen = 0.7;  // share of the outline
constexpr double kRimThen = 0.2;      // share of the rim that must look like one, as of any ball that is followed
constexpr double kSomewhere = 0.3;    // of a streak, standard deviation of a place anywhere along it: 1 / sqrt(12)
constexpr double kSamePlace = 1.5;    // px: it was seen there already

Vec2 along(const Vec2& smear, const Vec2& way) { return smear.dot(way) < 0 ? Vec2(-smear) : smear; }

bool alike(const Vec2& a, const Vec2& b) {
  return (a - b).norm() < kAlikeAtLeast + kAlike * std::max(a.norm(), b.norm());
}

}  // namespace

void KnownBall::run_on(const Glimpse& now) {
  constexpr std::size_t kKept = 3;
  constexpr double kWay = 0.15, kWayAtLeast = 2;  // of a frame's way, and px: on the way that it was on
  if (run.size() >= 2) {
    const Glimpse &b = run.back(), &a = run[run.size() - 2];
    const Vec2 v = (b.pixel - a.pixel) / (b.time - a.time);
    const Vec2 expected = b.pixel + v * (now.time - b.time);
    if ((now.pixel - expected).norm() > kWayAtLeast + kWay * v.norm() * (now.time - b.time)) {
      run.erase(run.begin(), run.end() - 1);
      traced = false;
    }
  }
  run.push_back(now);
  if (run.size() > kKept) run.erase(run.begin());
}

void Eye::State::look_back(KnownBall& ball, Look& out) {
  const Glimpse &b = ball.run.back(), &a = ball.run[ball.run.size() - 2];
  Vec2 v = (b.pixel - a.pixel) / (b.time - a.time);
  const Vec2 smear_a = along(a.smear, v), smear_b = along(b.smear, v), smear = 0.5 * (smear_a + smear_b);
  const double share = smear.norm() / v.norm();                                                 // s, an exposure
  if (share > 1.05 * interval || !alike(smear_a, smear_b) || !alike(smear, share * v)) return;  // not yet
  const double usual = exposure.value();
  if (usual > 0 && !alike(smear, usual * v)) return;
  if (smear.norm() < kTooShort) return;
  ball.traced = true;
  Vec2 at = a.pixel;
  double time = a.time;
  for (auto then = past.rbegin(); then != past.rend(); ++then) {
    if (then->frame.index >= a.frame) continue;
    Vec2 expected = at;
    for (int pass = 0; pass < 2; ++pass) expected = at - v * (time - own_time(then->frame, expected));
    const auto on_bed = rig.camera.on_plane(expected, radius);
    if (!on_bed || !region.ball_can_be(*on_bed)) return;
    for (const Past::Seen& s : then->seen)
      if (s.ball == ball.id && (s.pixel - expected).norm() < kSamePlace && alike(along(s.smear, v), share * v)) return;
    std::vector<Ellipse> others;
    for (const Past::Seen& s : then->seen)
      if (s.resting && s.ball != ball.id) others.push_back(s.outline);
    BallFitOptions o;
    o.moving = true;
    o.smear = share * v;
    o.smear_sd = std::max(0.7, kTold * o.smear.norm());
    o.known = &ball.shading;
    o.search = std::clamp(0.1 * v.norm() * interval, 3.0, 6.0);
    o.least_visible = kVisibleThen;
    o.others = others;
    const View view = cloth.view(then->frame, then->gain);
    const auto fit = fit_ball(view, rig.camera, *on_bed, radius, o);
    if (!fit || refusal(*fit, kVisibleThen) || !ball.same_colour(fit->colour) ||
        !alike(along(fit->smear, v), share * v) ||
        rim_share(view, fit->ellipse, fit->smear, others, RimFor::known) < kRimThen) {
      // It set out, or turned, while that frame was exposed: what was seen there is somewhere along its streak.
      for (const Past::Seen& s : then->seen)
        if (s.ball == ball.id && !s.resting) {
          Mend doubt{s.told, {s.pixel}};
          const Mat2 metres = rig.camera.plane_jacobian({s.told.at.x(), s.told.at.y(), radius}).inverse();
          const Vec2 off = metres * (kSomewhere * share * v);
          doubt.instead.covariance += off.squaredNorm() * Mat2::Identity();
          out.mends.push_back(std::move(doubt));
        }
      return;
    }
    KnownBall was = ball;
    was.forget_picture();  // a copy's pictures are the ball's own
    take(then->frame, view, *fit, was, false);
    Mend mend;
    mend.instead = told(then->frame, was);
    // What was made of this streak then: the ball itself, or bits of it.
    const double reach = 0.5 * fit->smear.norm() + 0.8 * fit->ellipse.radius;
    for (const Past::Seen& s : then->seen)
      if (!s.resting && (s.ball == ball.id || ball.same_colour(s.colour)) && (s.pixel - fit->pixel).norm() < reach)
        mend.away.push_back(s.pixel);
    out.mends.push_back(std::move(mend));
    const double dt = time - was.time;
    if (dt <= 0) return;
    v = (at - fit->pixel) / dt;
    at = fit->pixel;
    time = was.time;
  }
}

void Eye::State::keep(const video::Frame& frame, const Gain& gain) {
  constexpr std::size_t kFrames = kHindsight;
  Past now{frame, gain, {}};
  for (const KnownBall& k : known)
    if (k.seen) now.seen.push_back({k.id, k.pixel, k.smear, k.ellipse, k.colour, !k.moving, told(frame, k)});
  past.push_back(std::move(now));
  if (past.size() > kFrames) past.pop_front();
}

}  // namespace baizetrace::sight
