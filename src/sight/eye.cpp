#include "sight/eye.hpp"

#include <algorithm>
#include <opencv2/imgproc.hpp>

#include "base/median.hpp"
#include "sight/ball_fit.hpp"
#include "sight/blobs.hpp"
#include "sight/cloth.hpp"
#include "sight/colour.hpp"
#include "sight/eye_state.hpp"
#include "sight/known_ball.hpp"
#include "sight/people.hpp"
#include "sight/region.hpp"
#include "sight/rim_check.hpp"

namespace baizetrace::sight {

namespace {

constexpr double kFollowEvery = 1.0 / 45;  // s: the cloth is followed no more often than this, at 60 frames/s as at 30
constexpr double kPaleMoving = 1.2, kPaleContrast = 100;  // px; green balls on green cloth are 3 mm RMS off
constexpr double kFaintError = 0.6, kFaintContrast = 20;  // px at this contrast: drawn green balls were 1.5 to 2 mm off
constexpr double kForgetResting = 20;                     // s out of sight
constexpr double kForgetMoving = 0.4;                     // s
constexpr double kCloseTogether = 0.9;  // of two radii: nearer, and two places at rest are not two balls
constexpr double kShadowReach = 2.4;    // ball radii around a ball where the cloth is not bare

}  // namespace

Eye::Eye(const camera::Rig& rig, const table::Table& table, const table::BallSet& balls, const EyeOptions& options)
    : state_(std::make_unique<State>(rig, table, balls, options)) {}
Eye::Eye(Eye&&) noexcept = default;
Eye::~Eye() = default;
double Eye::exposure() const { return state_->exposure.value(); }
cv::Mat Eye::people() const {
  if (state_->change.empty()) return {};
  return people_in(state_->change, state_->region);
}
Look Eye::look(const video::Frame& frame) { return state_->look(frame); }
void Eye::explain(std::vector<Note>* notes) { state_->notes = notes; }

void Eye::State::note(bool kept, std::string_view why, const Ellipse& outline, const Vec2& smear, const BallFit* fit) {
  if (!notes) return;
  Note n;
  n.kept = kept;
  n.why = why;
  n.outline = outline;
  n.smear = smear;
  if (fit) {
    n.fitted = true;
    n.at = fit->at;
    n.u = std::sqrt(fit->covariance.diagonal().maxCoeff());
    n.visible = fit->visible;
    n.contrast = fit->contrast;
    n.colour = colours.likelihood(fit->colour);
  }
  notes->push_back(std::move(n));
}

void Eye::State::note_known(const KnownBall& ball) {
  if (!notes) return;
  note(true, ball.fresh ? "fitted" : "its picture has not changed", ball.ellipse, ball.smear);
  Note& n = notes->back();
  n.moving = ball.moving;
  n.fitted = true;
  n.at = ball.at;
  n.u = std::sqrt(ball.covariance.diagonal().maxCoeff());
  n.visible = ball.visible;
  n.contrast = ball.contrast;
  n.colour = colours.likelihood(ball.colour);
}

void Eye::turn_to(const camera::Camera& now) {
  State& s = *state_;
  const camera::Camera before = s.rig.camera;
  s.rig.camera = now;
  s.region = Region::make(s.rig, s.table, s.radius);
  if (s.learned) s.cloth.seen_from(before, now);
  s.refused.clear();
  s.past.clear();
  s.last_time = -1;
  // Balls stay where they lie; what their surroundings looked like has to be remembered anew.
  std::erase_if(s.known, [&](KnownBall& k) {
    const auto pixel = now.project({k.at.x(), k.at.y(), s.radius});
    const auto outline = ball_ellipse(now, k.at, s.radius);
    if (!pixel || !outline) return true;
    k.pixel = *pixel;
    k.ellipse = *outline;
    k.fit_time = -1e9;
    k.forget_picture();
    return false;
  });
}

const char* Eye::State::refusal(const BallFit& fit, double visible) const {
  constexpr double kHardly = 4;  // standard deviations of a pixel
  if (fit.visible < visible) return "too little of a ball's outline";
  if (std::abs(size_off(fit)) > 1) return "not a ball's size";
  if (fit.contrast < kHardly) return "hardly stands out from the cloth";
  if (!region.ball_can_be(fit.at)) return "not on the bed";
  return region.beyond_falls(fit.at) <= kFallen ? nullptr : "beyond a pocket's fall";
}

// The cloth along a cushion lies in its shade, and a disc of that looks like a ball of the cloth's hue, or a dark one;
// but along the cushion it goes on, and a ball does not (a row of five that touch would). Drawn: what was taken for
// balls stood out from beside it by 1 to 3 levels and a tenth to a quarter of what it should, or two thirds once the
// cloth was half learnt; green balls by 10 to 16 levels and 0.85 to 1.
bool Eye::State::in_nose_shade(const View& view, const BallFit& fit) const {
  constexpr double kReach = 3, kBeside = 2.6;                  // ball radii: from a nose; along it
  constexpr double kHardly = 0.3, kPartly = 0.75, kFaint = 6;  // shares; times the noise, with the greater share
  const auto along = region.along_near_nose(fit.at, kReach * radius);
  if (!along) return false;
  const Vec2 there = fit.at + kBeside * radius * *along;
  const auto from = rig.camera.project({fit.at.x(), fit.at.y(), radius}),
             to = rig.camera.project({there.x(), there.y(), radius});
  const auto apart = from && to ? apart_from_beside(view, fit.ellipse, *to - *from) : std::nullopt;
  return apart && (apart->share < kHardly || (apart->share < kPartly && apart->beside < kFaint * view.noise_luma));
}

std::vector<Ellipse> Eye::State::others_near(const Vec2& pixel, const KnownBall* but) const {
  std::vector<Ellipse> others;
  for (const KnownBall& k : known) {
    if (&k == but || !k.seen || (k.ellipse.centre - pixel).norm() > 4 * k.ellipse.radius + 0.5 * k.smear.norm())
      continue;
    // Where a ball is not known to be, what one that moves has swept speaks for none: its outline again and again along
    // the way.
    constexpr double kStep = 0.5;  // radii
    const int steps = but ? 0 : static_cast<int>(std::ceil(0.5 * k.smear.norm() / (kStep * k.ellipse.radius)));
    for (int i = -steps; i <= steps; ++i) {
      others.push_back(k.ellipse);
      if (steps > 0) others.back().centre += 0.5 * i / steps * k.smear;
    }
  }
  return others;
}

void Eye::State::take(const video::Frame& frame, const View& view, const BallFit& fit, KnownBall& ball, bool linked,
                      bool smear_was_open) {
  const double time = own_time(frame, fit.pixel);
  if (linked && time > ball.time) {
    const Vec2 v = (fit.pixel - ball.pixel) / (time - ball.time);
    const bool had = ball.moving;
    ball.moving = (fit.pixel - ball.pixel).norm() > kMoved * std::max(1.0, (time - ball.time) / interval) ||
                  (had && (fit.pixel - ball.pixel).norm() > 0.3 * kMoved);
    if (ball.moving && !had) ball.moving_since = time;
    if (ball.moving && had && !ball.lost && !smear_was_open) exposure.take(fit, 0.5 * (v + ball.velocity), interval);
    ball.velocity = ball.moving ? v : Vec2(0, 0);
    if (ball.lost) ball.run.clear(), ball.traced = false;
  }
  if (ball.id == 0) ball.id = next_id++;
  if (!ball.moving)
    ball.run.clear(), ball.traced = false;
  else
    ball.run_on({frame.index, time, fit.pixel, fit.smear});
  ball.at = fit.at;
  ball.covariance = fit.covariance;
  // The less a ball stands out, the more its shade, lines that end at it and what an encoder holds on to lead the fit.
  const double share = kFaintContrast / std::max(kFaintContrast / 1.4, fit.contrast);
  double led = kFaintError * share * share;
  // More so when it moves: its shade and shadow are those that it had a moment ago, which leads alike in frame after
  // frame.
  if (ball.moving) led = std::hypot(led, kPaleMoving * std::max(0.0, kPaleContrast / std::max(20.0, fit.contrast) - 1));
  const Mat2 metres = rig.camera.plane_jacobian({fit.at.x(), fit.at.y(), radius}).inverse();
  ball.covariance += led * led * metres * metres.transpose();
  ball.pulled = fit.pulled * std::sqrt(std::abs(metres.determinant()));
  ball.pixel = fit.pixel;
  ball.ellipse = fit.ellipse;
  ball.smear = fit.smear;
  constexpr float kNewShading = 0.2F;  // share of the new in the running mean; 0.1 and 0.3 do as well
  for (std::size_t i = 0; i < ball.shading.size(); ++i) {
    if (fit.shading[i].size() == 0) continue;
    if (!ball.moving || ball.shading[i].size() == 0)
      ball.shading[i] = fit.shading[i];
    else
      ball.shading[i] += kNewShading * (fit.shading[i] - ball.shading[i]);
  }
  ball.visible = fit.visible;
  ball.contrast = fit.contrast;
  constexpr double kWhole = 0.85, kUsual = 0.2;  // visible; share of the new in the running mean
  if (fit.visible > kWhole)
    ball.usual_contrast += (ball.usual_contrast > 0 ? kUsual : 1.0) * (fit.contrast - ball.usual_contrast);
  ball.colour = fit.colour;
  ball.time = ball.fit_time = ball.fitted_at = time;
  ball.seen = true;
  ball.fresh = true;
  ball.lost = false;
  ball.insists = 0;
  ball.remember(view);
}

bool Eye::State::overlap(const Vec2& a, const Vec2& b) const { return (a - b).norm() < kCloseTogether * 2 * radius; }

// Two balls at rest do not fill one place: the one of which more is seen stays. What it was taken to touch is gone, so
// it is looked at afresh: along a cue, one ghost stands in for what should be cloth around the next.
void Eye::State::part() {
  for (std::size_t i = 0; i < known.size(); ++i)
    for (std::size_t j = i + 1; j < known.size(); ++j) {
      KnownBall &a = known[i], &b = known[j];
      if (!a.seen || !b.seen || a.moving || b.moving || !overlap(a.at, b.at)) continue;
      KnownBall& worse = a.visible >= b.visible ? b : a;
      KnownBall& better = a.visible >= b.visible ? a : b;
      note(false, "another ball fills that place", worse.ellipse, worse.smear);
      worse.forget = true;
      worse.seen = false;
      better.fit_time = -1e9;
      better.forget_picture();
    }
}

void Eye::State::erase(const KnownBall& ball) {
  // What a seen ball explains: itself, its smear and a rim for the outline's blur.
  const Vec2 box = ball.ellipse.half_box() * 1.25 + 0.5 * ball.smear.cwiseAbs() + Vec2::Constant(2);
  const Vec2 c = ball.ellipse.centre;
  for (int y = std::max(0, static_cast<int>((c.y() - box.y()) / 2));
       y <= std::min(region.rows - 1, static_cast<int>((c.y() + box.y()) / 2)); ++y)
    for (int x = std::max(0, static_cast<int>((c.x() - box.x()) / 2));
         x <= std::min(region.cols - 1, static_cast<int>((c.x() + box.x()) / 2)); ++x) {
      const Vec2 p(2 * x + 0.5, 2 * y + 0.5);
      const double l2 = ball.smear.squaredNorm();
      const double t = l2 > 0 ? std::clamp((p - c).dot(ball.smear) / l2, -0.5, 0.5) : 0;
      if (ball.ellipse.share(p - t * ball.smear) < 1.15 + 1.5 / ball.ellipse.radius) change.at<std::uint8_t>(y, x) = 0;
    }
}

void Eye::State::cover_rest(Look& look) {
  look.cover.half_width = region.cover_half_width;
  look.cover.half_length = region.cover_half_length;
  look.cover.cells |= region.beyond;
  open.create(region.rows, region.cols, CV_8U);
  open.setTo(Cloth::kOpen);
  const double ball_area = kPi * region.ball_radius * region.ball_radius / 4;
  for (const Blob& blob :
       find_blobs(change, region.box, Cloth::kThing, std::max(4, static_cast<int>(0.25 * ball_area)))) {
    if (shadow_beside(known, 2 * blob.centre, blob.area / ball_area)) continue;
    for (const Run& r : blob.runs) {
      const int y = r.y / Region::kCellStep;
      for (int x = r.x0 / Region::kCellStep; x <= (r.x1 - 1) / Region::kCellStep; ++x) {
        const short cell = region.cell.at<short>(y, x);
        if (cell >= 0) look.cover.cells.set(static_cast<std::size_t>(cell));
      }
    }
    // People and hands may stand still as long as they like; small leftovers (a mark, a line uncovered) are cloth.
    if (blob.area > 1.5 * ball_area && stout_share(blob, 0.5 * region.ball_radius) > 0.3)
      for (const Run& r : blob.runs) {
        auto* row = open.ptr<std::uint8_t>(r.y);
        std::fill(row + r.x0, row + r.x1, Cloth::kPerson);
      }
  }
  for (const KnownBall& k : known) {
    const Vec2 c = k.ellipse.centre / 2;
    const double reach = kShadowReach * k.ellipse.radius / 2 + 0.25 * k.smear.norm();
    for (int y = std::max(0, static_cast<int>(c.y() - reach));
         y <= std::min(region.rows - 1, static_cast<int>(c.y() + reach) + 1); ++y) {
      const double w2 = reach * reach - (y - c.y()) * (y - c.y());
      if (w2 <= 0) continue;
      const double w = std::sqrt(w2);
      const int x0 = std::max(0, static_cast<int>(c.x() - w)),
                x1 = std::min(region.cols, static_cast<int>(c.x() + w) + 1);
      if (x0 < x1) std::fill(open.ptr<std::uint8_t>(y) + x0, open.ptr<std::uint8_t>(y) + x1, Cloth::kBall);
    }
  }
}

Sighting Eye::State::told(const video::Frame& frame, const KnownBall& ball) const {
  Sighting s;
  s.frame = frame.index;
  s.time = own_time(frame, ball.pixel);
  s.at = ball.at;
  s.covariance = ball.covariance;
  s.pulled = ball.moving ? 0 : ball.pulled;
  s.pixel = ball.pixel;
  s.row = frame.row_share(ball.pixel);
  s.visible = ball.visible;
  s.fresh = ball.fresh;
  s.streak = ball.smear.norm() > 2;
  s.colour = colours.likelihood(ball.colour);
  return s;
}

Look Eye::State::look_again(const video::Frame& frame) {
  const double later = frame.time - last.time;
  last.frame = frame.index;
  last.time = frame.time;
  last.mends.clear();
  for (Sighting& s : last.sightings) {
    s.frame = frame.index;
    s.time += later;
    s.fresh = false;
    s.again = true;
  }
  for (KnownBall& k : known) {
    if (!k.seen) continue;
    k.time += later;
    k.fresh = false;
    note_known(k);
  }
  return last;
}

Look Eye::State::look(const video::Frame& frame) {
  Look out;
  out.frame = frame.index;
  out.time = frame.time;
  out.damaged = frame.damaged;
  out.repeated = frame.repeated;
  if (notes) notes->clear();
  // An encoder with few bits repeats the picture as long as nothing happens.
  if (frame.repeated && !frame.damaged && last_time >= 0 && frame.time > last_time &&
      std::none_of(known.begin(), known.end(), [](const KnownBall& k) { return k.moving; }))
    return look_again(frame);
  if (frame.damaged || frame.repeated || !learned) return out;
  if (last_time >= 0 && frame.time > last_time) interval += 0.1 * (std::min(frame.time - last_time, 0.2) - interval);
  last_time = frame.time;

  cloth.halve(frame, halves);
  const Gain gain = cloth.gain_of(frame, halves);
  cloth.compare(frame, halves, gain, change);
  const View view = cloth.view(frame, gain);
  for (KnownBall& k : known) k.seen = k.fresh = k.passed_over = false;
  // Resting balls first: they tell the others' surroundings.
  for (const bool moving : {false, true})
    for (KnownBall& k : known)
      if (k.moving == moving && !k.seen) see_known(view, frame, k);
  // Two memories of one ball: the better stays.
  for (std::size_t i = 0; i < known.size(); ++i)
    for (std::size_t j = i + 1; j < known.size(); ++j)
      if (known[i].seen && known[j].seen &&
          (known[i].ellipse.centre - known[j].ellipse.centre).norm() < 1.0 * known[i].ellipse.radius) {
        const bool first = known[i].visible * known[i].contrast >= known[j].visible * known[j].contrast;
        const KnownBall& other = first ? known[j] : known[i];
        note(false, "the same ball as another, and worse", other.ellipse, other.smear);
        (first ? known[j] : known[i]).forget = true;
        (first ? known[j] : known[i]).seen = false;
      }
  for (const int id : companions.follow(known))
    for (KnownBall& k : known)
      if (k.id == id) {
        note(false, "another ball's shadow: it goes along with that ball", k.ellipse, k.smear);
        k.forget = true;
        k.seen = false;
      }
  part();
  for (const KnownBall& k : known)
    if (k.seen) erase(k);
  if (spots_looked_at < 0 || frame.time - spots_looked_at > kRefitEvery || frame.time < spots_looked_at)
    seek_on_spots(view, frame);
  seek_new(view, frame);

  std::erase_if(known, [&](const KnownBall& k) {
    if (k.forget) return true;
    if (k.seen) return false;
    const double unseen = frame.time - k.time;
    if (k.moving) return unseen > kForgetMoving;
    // Bare cloth where it lay: it is gone.
    return unseen > kForgetResting || (!k.faint && unseen > 2 * interval && k.bare(change));
  });
  for (const KnownBall& k : known) {
    if (!k.seen) continue;
    note_known(k);
    out.sightings.push_back(told(frame, k));
    if (k.fresh && !k.moving) colours.take(k.colour);
  }
  for (KnownBall& k : known)
    if (k.seen && k.fresh && k.moving && !k.traced && k.run.size() >= 2) look_back(k, out);
  keep(frame, gain);
  cover_rest(out);
  if (followed < 0 || frame.time - followed > kFollowEvery || frame.time < followed) {
    cloth.follow(frame, gain, change, open);
    followed = frame.time;
  }
  last = out;
  return out;
}

}  // namespace baizetrace::sight
