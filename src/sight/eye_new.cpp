// Balls that were not known, or were lost from sight: where something is that may be one, and whether it is.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "sight/blobs.hpp"
#include "sight/eye_state.hpp"
#include "sight/rim_check.hpp"

namespace baizetrace::sight {

namespace {

constexpr double kPersonArea = 2.5;        // ball areas: a blob that large is not one ball
constexpr double kRefusedFor = 0.25;       // s that a place in such a blob is not looked at again
constexpr double kRefusedStill = 2;        // px: the same again, where nobody stands: looked at once in so many
constexpr double kRefusedStillFor = 0.12;  // s, a few frames; as long again each time,
constexpr double kRefusedStillMost = 0.5;  // s at most
constexpr double kRimFitted = 0.62;        // of a new ball's outline, once fitted; and
constexpr double kRimSpot = 0.25;          // of one on a spot, where balls belong; then it must stand out well
constexpr double kVisibleSpot = 0.7;
// Of the ball that belongs on a spot and looks like it, though it has nearly the cloth's own colour or other things are
// near: its rim is no test, but it must step off its surroundings there.
constexpr double kContrastFaint = 12, kStrangestFaint = 4;
// Of one that was not known and has the cloth's own hue: shadows of people have outlines, too. Most of those that a
// drawn clip took for balls had less of an outline, or stood out by 5 to 13; a green ball on the move has 40 and more.
constexpr double kVisibleShade = 0.8;
// A ball's own shadow on a grey cloth stands out well, all of it; drawn ones lay 2.7 to 5.6 from every kind's colour,
// balls newly found within 3.1, and those of the cloth's own hue within 2.
constexpr double kStrangestShade = 2.5;
// A ball of the cloth's hue has still one of its own, by some levels; a shadow has none. Drawn: green balls on green
// cloth and red ones on red 3 to 9, in dim light 1 to 2; shadows taken for such balls, up to 6 cm off, 0.3 to 2.
constexpr double kOwnHue = 2, kOwnHueKnown = 1;  // the latter of one that moves, or was lost from sight near there
constexpr double kOwnHueBeside = 5;              // beside another ball, whose colour runs over into its own shadow
constexpr double kShadeThere = 0.5;  // of the bare cloth's luma in that place; a black ball is darker (0.5 at most)
// Where light falls in slantwise a ball's shadow lies beside it, whole and sharp: drawn ones 80 to 105 mm off. On cloth
// of a ball's own hue it looks like that ball.
constexpr double kShadowOf = 0.13;  // m
constexpr double kStrangest = 25;   // squared standard deviations from the nearest kind's colour
constexpr double kScatter = 5;      // levels of chroma: a ball has one colour, a sleeve and a hand have not
constexpr double kFastest = 12;     // m/s, of anything on a table
constexpr double kMoreOfIt = 0.1;   // of the outline, that speaks for the newcomer

}  // namespace

// A ball of the cloth's own colour leaves no whole blob; where balls are spotted it is looked for directly.
void Eye::State::seek_on_spots(const View& view, const video::Frame& frame) {
  spots_looked_at = frame.time;
  for (const auto& [name, spot] : rig.spots) {
    const auto outline = ball_ellipse(rig.camera, spot, radius);
    if (!outline) continue;
    const auto taken = [&](const Ellipse& e) {
      return std::any_of(known.begin(), known.end(),
                         [&](const KnownBall& k) { return (k.ellipse.centre - e.centre).norm() < 1.5 * e.radius; });
    };
    if (taken(*outline)) continue;
    const auto others = others_near(outline->centre, nullptr);
    BallFitOptions o;
    o.others = others;
    o.search = std::max(4.0, 0.4 * outline->radius);
    o.least_visible = kVisibleSpot;
    const auto fit = fit_ball(view, rig.camera, spot, radius, o);
    const char* why = !fit ? "nothing like a ball" : refusal(*fit, kVisibleSpot);
    if (why) note(false, fmt::format("on the {}'s spot: {}", name, why), *outline, Vec2::Zero(), fit ? &*fit : nullptr);
    if (why || taken(fit->ellipse)) continue;
    const bool clear =
        fit->contrast >= kContrastSpot && rim_share(view, fit->ellipse, fit->smear, others) >= kRimSpot &&
        (!learned ||
         (colours.strangeness(fit->colour) <= kStrangest && fit->colour_scatter <= kScatter + 2 * view.noise_chroma));
    // What has just left a spot is not there; marks that it uncovered look like its outline.
    constexpr double kLeftLately = 20;  // s
    const bool away = std::any_of(known.begin(), known.end(), [&](const KnownBall& k) {
      return (k.moving || frame.time - k.rests_since < kLeftLately) && colours.looks_like(name, k.colour);
    });
    const bool its_own = !clear && !away && fit->contrast >= kContrastFaint && colours.looks_like(name, fit->colour) &&
                         colours.strangeness(fit->colour) <= kStrangestFaint && has_step_at_rim(view, fit->ellipse);
    if (!clear && !its_own) {
      note(false, fmt::format("on the {}'s spot: neither stands out as a ball nor looks like the {}", name, name),
           *outline, Vec2::Zero(), &*fit);
      continue;
    }
    known.emplace_back();
    known.back().faint = its_own && cloth.like(fit->colour);
    take(frame, view, *fit, known.back(), false);
    erase(known.back());
  }
}

// A person is full of places that are no balls; elsewhere what was refused just now and has not moved is refused again,
// and what was refused again and again for longer.
double Eye::State::Refused::lasts() const {
  return in_person ? kRefusedFor : std::min(kRefusedStillFor * times, kRefusedStillMost);
}

Eye::State::Refused* Eye::State::refused_here(const Vec2& pixel, double time, bool restless) {
  constexpr double kAgain = 0.1;  // s after it is due: what is refused then is refused again
  std::erase_if(refused, [&](const Refused& r) { return time < r.time || time - r.time > r.lasts() + kAgain; });
  const auto here = std::find_if(refused.rbegin(), refused.rend(), [&](const Refused& r) {
    return (r.pixel - pixel).norm() < (r.restless && restless ? 0.5 * region.ball_radius : kRefusedStill);
  });
  return here == refused.rend() ? nullptr : &*here;
}

// A short smear makes a ball look larger rather than longer, and does not tell its way: the best of a few.
BallFit Eye::State::smeared_any_way(const View& view, const Vec2& at, BallFitOptions o, BallFit best) const {
  constexpr int kWays = 4;
  constexpr double kStart = 3, kSd = 4;  // px
  o.moving = true;
  o.smear_sd = kSd;
  for (int i = 0; i < kWays; ++i) {
    const double angle = kPi * i / kWays;
    o.smear = kStart * Vec2(std::cos(angle), std::sin(angle));
    const auto fit = fit_ball(view, rig.camera, at, radius, o);
    if (fit && std::abs(size_off(*fit)) <= 1 && (size_off(best) > 1 || fit->misfit < best.misfit)) best = *fit;
  }
  return best;
}

std::optional<BallFit> Eye::State::new_ball(const View& view, const video::Frame& frame, const Blob& blob,
                                            const Seed& seed, const Ellipse& size) {
  const auto taken = [&](const Vec2& pixel) {
    return std::any_of(known.begin(), known.end(), [&](const KnownBall& k) {
      return k.seen && (k.ellipse.centre - pixel).norm() < 0.8 * k.ellipse.radius;
    });
  };
  // Where a known ball lay and is not looked for in this frame, it is in one of the next: as the ball that it is.
  const bool passed_over = std::any_of(known.begin(), known.end(), [&](const KnownBall& k) {
    return k.passed_over && (k.ellipse.centre - seed.at).norm() < 0.8 * k.ellipse.radius;
  });
  const auto at = rig.camera.on_plane(seed.at, radius);
  if (taken(seed.at) || passed_over || !at || !region.ball_can_be(*at)) return std::nullopt;
  BallFitOptions o;
  const auto others = others_near(seed.at, nullptr);
  o.others = others;
  o.search = std::max(4.0, 0.4 * size.radius);
  // The dark beyond a pocket's fall is full of what the encoder makes of it: no ball of the bed can be fitted there.
  if (region.beyond_falls(*at) > kFallen + (o.search + 1.5) * radius / size.radius) return std::nullopt;
  o.least_visible = kVisibleNew;
  o.smear = seed.smear;
  o.moving = seed.smear.norm() > 1.5;
  o.smear_sd = std::max(1.5, 0.4 * seed.smear.norm());
  const auto outline = ball_ellipse(rig.camera, *at, radius);
  if (!outline) return std::nullopt;
  const auto thrown_away = [&](const char* why, const BallFit* fit = nullptr) {
    note(false, why, fit ? fit->ellipse : *outline, fit ? fit->smear : seed.smear, fit);
    return std::nullopt;
  };
  if (rim_share(view, *outline, seed.smear, others) < kRimNew) return thrown_away("no cloth around it");
  const bool in_person = blob.area > kPersonArea * kPi * size.radius * size.radius / 4;
  // In a person seeds wander from frame to frame, and so they do in a pocket's mouth, whose dark the encoder draws
  // anew: half a ball apart they are the same place. But a ball that was lost may be in that mouth.
  const bool mouth = region.beyond_falls(*at) > -radius &&
                     std::none_of(known.begin(), known.end(), [](const KnownBall& k) { return !k.seen && k.moving; });
  const Refused* const before = refused_here(seed.at, frame.time, in_person || mouth);
  if (before && frame.time - before->time <= before->lasts()) return thrown_away("thrown away just now, and unchanged");
  refused.push_back({seed.at, frame.time, in_person, in_person || mouth, before ? before->times + 1 : 1});
  auto fit = fit_ball(view, rig.camera, *at, radius, o);
  const bool smeared = o.moving || (fit && size_off(*fit) > 1);
  if (fit && !o.moving && smeared) fit = smeared_any_way(view, *at, o, *fit);
  if (!fit) return thrown_away("nothing there can be explained as a ball");
  if (const char* why = refusal(*fit, kVisibleNew)) return thrown_away(why, &*fit);
  if (rim_share(view, fit->ellipse, fit->smear, others, in_person ? RimFor::near_people : RimFor::fresh) < kRimFitted)
    return thrown_away("no cloth around it: a sleeve, a hand, a cue", &*fit);
  if (cloth.shade(fit->colour) && (fit->visible < kVisibleShade || fit->contrast < kContrastFaint ||
                                   (learned && colours.strangeness(fit->colour) > kStrangestShade)))
    return thrown_away("no more than a shadow on the cloth", &*fit);
  const double own_hue = smeared || lost_from_sight(frame, *fit) ? kOwnHueKnown : kOwnHue;
  const Shade inside = shade_inside(view, fit->ellipse);
  // Far from the lamps a lesser shade is darker than any of the cloth's usual ones.
  const bool shade_there = inside.share > kShadeThere && inside.share < 1;
  if ((cloth.shade(fit->colour) || shade_there) && inside.beyond < own_hue)
    return thrown_away("cannot be told from a shadow on the cloth", &*fit);
  // Of one that lies somewhere and was not seen just now a shadow elsewhere is none the more.
  const KnownBall* lost = lost_from_sight(frame, *fit);
  const bool comes_back = lost && (lost->moving || (lost->at - fit->at).norm() < radius);
  if ((cloth.shade(fit->colour) || (shade_there && inside.beyond < kOwnHueBeside)) && !comes_back &&
      std::any_of(known.begin(), known.end(),
                  [&](const KnownBall& k) { return k.seen && &k != lost && (k.at - fit->at).norm() < kShadowOf; }))
    return thrown_away("another ball's shadow, or it cannot be told from one", &*fit);
  if (in_nose_shade(view, *fit)) return thrown_away("no more than the shade along a cushion", &*fit);
  if (companions.shadow_at(known, fit->at, radius))
    return thrown_away("another ball's shadow: one there went along with it", &*fit);
  if (learned && colours.strangeness(fit->colour) > kStrangest)
    return thrown_away("no ball of this set has that colour", &*fit);
  if (learned && fit->colour_scatter > kScatter + 2 * view.noise_chroma)
    return thrown_away("more than one colour", &*fit);
  if (taken(fit->ellipse.centre)) return std::nullopt;
  if (!smeared && std::any_of(known.begin(), known.end(), [&](const KnownBall& k) {
        return k.seen && !k.moving && overlap(k.at, fit->at) && k.visible + kMoreOfIt > fit->visible;
      }))
    return thrown_away("another ball fills that place", &*fit);
  refused.pop_back();
  return fit;
}

// One that was lost from sight, of this colour and near enough; nullptr: none.
KnownBall* Eye::State::lost_from_sight(const video::Frame& frame, const BallFit& fit) {
  KnownBall* best = nullptr;
  double nearest = 1e9;
  for (KnownBall& k : known) {
    if (k.seen || !k.same_colour(fit.colour)) continue;
    const double dt = own_time(frame, fit.pixel) - k.time;
    const double reach = kFastest * dt + 0.03, d = (k.at - fit.at).norm();
    if (d < reach && d < nearest) {
      nearest = d;
      best = &k;
    }
  }
  return best;
}

// That one, or one that was not known.
KnownBall& Eye::State::recognise(const video::Frame& frame, const View& view, const BallFit& fit) {
  KnownBall* best = lost_from_sight(frame, fit);
  const bool linked = best != nullptr;
  if (!linked) best = &known.emplace_back();
  best->lift_anchor();
  if (linked && own_time(frame, fit.pixel) - best->time > 2.5 * interval) best->lost = true;
  take(frame, view, fit, *best, linked);
  return *best;
}

void Eye::State::seek_new(const View& view, const video::Frame& frame) {
  const double small_area = kPi * region.smallest_ball * region.smallest_ball / 4;
  // A ball of its cloth's own hue that was just hit runs on as a smeared shade.
  constexpr double kLostLately = 0.5;                        // s
  constexpr double kLargestShade = 1.6, kLargestLost = 3.5;  // areas of a ball
  constexpr std::size_t kSeedsOfLost = 3;
  const bool lost = std::any_of(known.begin(), known.end(), [&](const KnownBall& k) {
    return !k.seen && frame.time - k.time < kLostLately && cloth.shade(k.colour);
  });
  // What may be a ball's shadow is told once that ball is known.
  struct Place {
    Blob blob;
    Seed seed;
    Ellipse size;
  };
  std::vector<Place> shades;
  for (const int level : {static_cast<int>(Cloth::kThing), static_cast<int>(Cloth::kShade)}) {
    const auto blobs = find_blobs(change, region.box, level, std::max(4, static_cast<int>(0.3 * small_area)));
    for (const Blob& blob : blobs) {
      const auto middle = rig.camera.on_plane(2 * blob.centre, radius);
      const auto size = middle ? ball_ellipse(rig.camera, *middle, radius) : std::nullopt;
      if (!size) continue;
      const auto seeds = seeds_in(blob, size->radius);
      // Shades: only what is as large as a ball; as one with its smear, while a ball is lost from sight.
      if (level == Cloth::kShade &&
          (seeds.size() > (lost ? kSeedsOfLost : std::size_t{1}) ||
           blob.area > (lost ? kLargestLost : kLargestShade) * kPi * size->radius * size->radius / 4))
        continue;
      for (const Seed& seed : seeds) {
        const auto fit = new_ball(view, frame, blob, seed, *size);
        if (fit && cloth.shade(fit->colour))
          shades.push_back({blob, seed, *size});
        else if (fit)
          erase(recognise(frame, view, *fit));
      }
    }
  }
  for (const Place& p : shades)
    if (const auto fit = new_ball(view, frame, p.blob, p.seed, p.size)) erase(recognise(frame, view, *fit));
}

}  // namespace baizetrace::sight
