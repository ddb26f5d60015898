#include "compare/miss.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "compare/beside.hpp"
#include "practice/wording.hpp"

namespace baizetrace::compare {
namespace {

constexpr std::size_t kParts = 5;
constexpr std::array<const char*, kParts> kPartNames{"placing", "aim", "pace", "side", "height"};
enum : unsigned { kPlacing = 1, kAim = 2, kPace = 4, kSide = 8, kHigh = 16 };

// Everything between meant and explained.
struct Ends {
  std::vector<motion::Ball> marks, real;  // the balls as they were to stand and as they stood
  motion::Strike meant, found;
  double re_aimed = 0;  // rad: the meant shot's heading from where the balls stood
};

// The tip no further out than a cue can hold the ball.
motion::Strike playable(motion::Strike s) {
  if (const double off = std::hypot(s.right, s.height); off > motion::kMiscue) {
    s.right *= motion::kMiscue / off * (1 - 1e-12);
    s.height *= motion::kMiscue / off * (1 - 1e-12);
  }
  return s;
}

std::optional<Vec2> rest_with(const Ends& e, unsigned switched, const table::Table& table,
                              const motion::Conditions& conditions) {
  motion::Strike s = e.meant;
  if (switched & kPlacing) s.heading = e.re_aimed;
  if (switched & kAim) s.heading += wrap_angle(e.found.heading - e.re_aimed);
  if (switched & kPace) s.speed = e.found.speed;
  if (switched & kSide) s.right = e.found.right;
  if (switched & kHigh) {
    s.height = e.found.height;
    s.elevation = e.found.elevation;
  }
  const auto p = motion::simulate(table, conditions, switched & kPlacing ? e.real : e.marks, playable(s));
  if (!p || !p->complete) return std::nullopt;
  const BallPath* white = p->ball("white");
  if (!white) return std::nullopt;
  if (white->rest) return white->rest->at;
  // It falls on the way: where it left the bed stands for its rest.
  return white->contacts.empty() ? std::nullopt : std::optional<Vec2>(white->contacts.back().at);
}

// Each part's mean over the orders in which the five are switched. nullopt: one of the shots between cannot be played.
std::optional<std::array<Vec2, kParts>> shares(const Ends& e, const table::Table& table,
                                               const motion::Conditions& conditions) {
  std::array<Vec2, 1U << kParts> rest;
  for (unsigned s = 0; s < rest.size(); ++s) {
    const auto r = rest_with(e, s, table, conditions);
    if (!r) return std::nullopt;
    rest[s] = *r;
  }
  // |S|! (n - 1 - |S|)! / n! for sets S without the part.
  constexpr std::array<double, kParts> kWeight{24.0 / 120, 6.0 / 120, 4.0 / 120, 6.0 / 120, 24.0 / 120};
  std::array<Vec2, kParts> out;
  for (unsigned k = 0; k < kParts; ++k) {
    out[k] = Vec2::Zero();
    for (unsigned s = 0; s < rest.size(); ++s)
      if (!(s & (1U << k)))
        out[k] += kWeight[static_cast<std::size_t>(__builtin_popcount(s))] * (rest[s | (1U << k)] - rest[s]);
  }
  return out;
}

// How far off the object ball's centre the white's way goes at the contact, m; positive to the right of the way.
std::optional<double> off_centre(const motion::Prediction& p, const std::vector<motion::Ball>& balls,
                                 const std::string& object) {
  const BallPath* white = p.ball("white");
  if (!white || white->contacts.empty()) return std::nullopt;
  const Contact& c = white->contacts.front();
  if (c.kind != ContactKind::ball || c.with != object) return std::nullopt;
  for (const motion::Ball& b : balls)
    if (b.name == object) return cross(b.place - c.at, along_heading(c.heading_in));
  return std::nullopt;
}

std::vector<motion::Ball> stood(const practice::Attempt& a, const Evidence& e, const ShotNumbers& n,
                                const table::BallSet& set) {
  std::vector<motion::Ball> balls;
  for (const auto& [name, place] : a.before) {
    motion::Ball b = motion::make_ball(set, name, place.at);
    for (std::size_t k = 0; k < e.moved; ++k)
      if (e.balls[k].name == name) b.place = n.places[k];
    balls.push_back(std::move(b));
  }
  return balls;
}

std::optional<Ends> ends_of(const practice::Attempt& a, const practice::Setup& setup,
                            const practice::SetupPrediction& meant, const Evidence& evidence, const ShotNumbers& found,
                            const table::Table& table, const table::BallSet& set, const motion::Conditions& conditions,
                            std::string& why) {
  Ends e;
  e.marks = meant.balls;
  e.meant = meant.strike;
  e.found = playable(found.strike);
  e.real = stood(a, evidence, found, set);
  if (const auto parted = motion::part(table, e.real); !parted) {
    why = parted.error().what;
    return std::nullopt;
  }
  practice::Overrides o;
  o.speed = e.meant.speed, o.right = e.meant.right, o.height = e.meant.height, o.elevation = e.meant.elevation;
  o.places.emplace();
  for (const motion::Ball& b : e.real) o.places->emplace_back(b.name, b.place);
  const auto again = practice::predict_setup(setup, table, set, conditions, o);
  if (!again) {
    why = "the shot that was meant could not be aimed from where the balls lay: " + again.error().what;
    return std::nullopt;
  }
  e.re_aimed = again->strike.heading;
  return e;
}

}  // namespace

practice::Strike told_strike(const StrikeFound& f) {
  practice::Strike s;
  s.from = "whole motion";
  s.speed = f.speed.value;
  s.heading = f.numbers.strike.heading;
  s.u["speed"] = f.speed.u();
  s.u["heading"] = f.heading.u();
  s.interval["speed"] = {f.speed.low, f.speed.high};
  s.interval["heading"] = {f.heading.low, f.heading.high};
  if (f.elevation) {
    s.elevation = f.elevation->value;
    s.u["elevation"] = f.elevation->u();
    s.interval["elevation"] = {f.elevation->low, f.elevation->high};
  }
  const auto tell = [&](const char* name, const Told& t, std::optional<double>& number, std::optional<double>& at_least,
                        std::optional<double>& at_most) {
    if (t.number()) {
      number = t.value;
      s.u[name] = t.u();
    }
    // A bound is told when it says more than the tip's own limit does.
    constexpr double kSaysSomething = 0.1;  // ball radii inside the limit
    if (!t.open_low && !t.open_high) s.interval[name] = {t.low, t.high};
    if (number) return;
    if (!t.open_low && t.low > -motion::kMiscue + kSaysSomething) at_least = t.low;
    if (!t.open_high && t.high < motion::kMiscue - kSaysSomething) at_most = t.high;
  };
  tell("right", f.right, s.right, s.right_at_least, s.right_at_most);
  tell("height", f.height, s.height, s.height_at_least, s.height_at_most);
  return s;
}

Result<motion::Prediction> play_explained(const practice::Attempt& a, const Evidence& evidence,
                                          const ShotNumbers& numbers, const table::Table& table,
                                          const table::BallSet& set, const motion::Conditions& conditions) {
  std::vector<motion::Ball> balls = stood(a, evidence, numbers, set);
  if (const auto parted = motion::part(table, balls); !parted) return pass_on(parted);
  return motion::simulate(table, conditions, balls, playable(numbers.strike));
}

void explain_attempt(practice::Attempt& a, const std::optional<practice::Setup>& setup, const table::Table& table,
                     const table::BallSet& set, const KnownPlay& play, const std::string& play_words,
                     const WhyOptions& o) {
  a.meant.reset();
  a.explained.reset();
  a.miss.reset();
  a.not_explained.clear();
  const std::string cue = set.kinds[0].name;
  const auto white = a.balls.find(cue);
  std::optional<practice::SetupPrediction> meant;
  if (setup && setup->shot) {
    auto p = practice::predict_setup(*setup, table, set, play.conditions);
    if (p) {
      meant = std::move(*p);
      a.meant = computed_path(meant->motion, a.strike_time);
      a.prediction = a.meant;
      a.prediction_label = "the setup's shot from its marks; " + play_words;
      if (white != a.balls.end()) a.comparison = compare_paths(white->second, white->second.rest, *a.meant);
    } else {
      a.not_explained = "the setup's shot cannot be played: " + p.error().what;
    }
  }
  if (!a.strike) {
    a.not_explained = "the strike was not seen";
    return;
  }
  const auto evidence = evidence_of(a, table, set);
  if (!evidence) {
    a.not_explained = evidence.error().what;
    return;
  }
  const StrikeFound found = find_strike(*evidence, *a.strike, table, play);
  if (!found.fits) {
    a.not_explained = found.why;
    return;
  }
  a.strike = told_strike(found);
  // The best that any strike does with these very conditions: what it leaves over is not the strike's.
  StrikeFound start = found;
  start.numbers.play.setZero();
  StrikeFitOptions exact{.play_free = false,
                         .intervals = false,
                         .near = &start,
                         .draws = meant ? o.draws : 0,
                         .tip_u = {std::max(0.002, found.right.u()), std::max(0.002, found.height.u())},
                         .seed = o.seed};
  StrikeFound under = find_strike(*evidence, *a.strike, table, play, exact);
  if (!under.fits) {  // not near the other, perhaps elsewhere
    exact.near = nullptr;
    under = find_strike(*evidence, *a.strike, table, play, exact);
  }
  if (!under.fits) {
    a.not_explained = "with how the table is taken to play, " + under.why;
    return;
  }
  const StrikeFound& its = under;
  const auto explained = play_explained(a, *evidence, its.numbers, table, set, play.conditions);
  if (!explained || !explained->complete) {
    a.not_explained = explained ? explained->why : explained.error().what;
    return;
  }
  a.explained = computed_path(*explained, a.strike_time + its.numbers.delay);
  if (!meant) return;
  const BallPath* would = explained->ball(cue);
  const BallPath* wanted = meant->motion.ball(cue);
  if (!white->second.rest || a.ended != practice::Ended::rest) {
    a.not_explained = a.in_off ? "the white went in-off: it has no resting place to compare"
                               : "the white was not seen to come to rest";
    return;
  }
  if (!wanted || !wanted->rest) {
    a.not_explained = "the shot that was meant leaves the table with these conditions";
    return;
  }
  if (!would || !would->rest) {
    a.not_explained = "the strike found leaves the table with these conditions, the real white did not";
    return;
  }
  const auto ends = ends_of(a, *setup, *meant, *evidence, its.numbers, table, set, play.conditions, a.not_explained);
  if (!ends) return;
  const auto parts = shares(*ends, table, play.conditions);
  if (!parts) {
    a.not_explained = "a shot between the meant and the explained one cannot be played";
    return;
  }

  practice::Miss m;
  Vec2* const into[kParts] = {&m.placing, &m.aim, &m.pace, &m.side, &m.height};
  for (std::size_t k = 0; k < kParts; ++k) *into[k] = (*parts)[k];
  m.left_over = white->second.rest->at - would->rest->at;

  // The parts within the strike's uncertainty.
  std::array<double, kParts> square{};
  double both = 0, left = 0;
  int drawn_well = 0;
  std::vector<double> aims;
  for (const ShotNumbers& n : its.draws) {
    std::string why;
    const auto there = ends_of(a, *setup, *meant, *evidence, n, table, set, play.conditions, why);
    if (!there) continue;
    const auto s = shares(*there, table, play.conditions);
    if (!s) continue;
    ++drawn_well;
    for (std::size_t k = 0; k < kParts; ++k) square[k] += ((*s)[k] - (*parts)[k]).squaredNorm();
    both += ((*s)[2] + (*s)[4] - (*parts)[2] - (*parts)[4]).squaredNorm();
    Vec2 sum = Vec2::Zero();
    for (std::size_t k = 0; k < kParts; ++k) sum += (*s)[k] - (*parts)[k];
    left += sum.squaredNorm();
    aims.push_back(wrap_angle(there->found.heading - there->re_aimed));
  }
  // A part is told when it exceeds its own uncertainty, and when what was meant is outside what the strike is known to.
  // Where too few draws say what that uncertainty is, none is.
  constexpr int kFewestDraws = 8;
  const bool drawn = drawn_well >= kFewestDraws;
  const auto sd = [&](double sum) { return std::sqrt(sum / drawn_well); };
  if (drawn) {
    for (std::size_t k = 0; k < kParts; ++k) m.u[kPartNames[k]] = sd(square[k]);
    m.u["pace_and_height"] = sd(both);
    m.u["left_over"] = std::hypot(sd(left), white->second.rest->u.norm());
  } else {
    m.not_told.insert(m.not_told.end(), {"pace_and_height", "left_over"});
  }
  // Of a table that nobody measured too hard and too soft mean nothing.
  if (!play.tuned) m.u.erase("pace");
  const auto holds = [](const Told& t, double wished) { return wished >= t.low && wished <= t.high; };
  const bool within[kParts] = {false, false, holds(found.speed, ends->meant.speed),
                               holds(found.right, ends->meant.right), holds(found.height, ends->meant.height)};
  for (std::size_t k = 0; k < kParts; ++k)
    if (const auto u = m.u.find(kPartNames[k]); within[k] || u == m.u.end() || 1.96 * u->second > into[k]->norm())
      m.not_told.emplace_back(kPartNames[k]);

  // Thick or thin at the object ball: the way found beside the way that would have done it.
  MissWords w;
  if (setup->shot->kind != practice::Shot::Kind::heading) {
    const std::string object = setup->shot->first.empty() ? setup->shot->ball : setup->shot->first;
    motion::Strike aimed = ends->meant;
    aimed.heading = ends->re_aimed;
    const auto right_way = motion::simulate(table, play.conditions, ends->real, aimed);
    if (right_way) {
      const auto wanted_off = off_centre(*right_way, ends->real, object),
                 real_off = off_centre(*explained, ends->real, object);
      if (wanted_off && real_off) {
        // Towards the centre is thick, on whichever side the ball was to be hit. A straight shot has no thick side, nor
        // has one that went past the centre: these are told as right or left of the line.
        const double straight = 2 * set.kinds[0].radius * std::sin(practice::kStraightCut);
        if (std::abs(*wanted_off) < straight || *wanted_off * *real_off < 0)
          w.aim_right = *wanted_off - *real_off;
        else
          m.aim_at_ball = (*wanted_off > 0 ? 1 : -1) * (*wanted_off - *real_off);
        double sum = 0;
        const double aim = wrap_angle(ends->found.heading - ends->re_aimed);
        for (const double x : aims) sum += (x - aim) * (x - aim);
        double run = 0;
        for (const motion::Ball& from : ends->real)
          for (const motion::Ball& to : ends->real)
            if (from.name == cue && to.name == object) run = (to.place - from.place).norm();
        m.u_aim_at_ball = run * std::sqrt(sum / std::max<std::size_t>(1, aims.size()));
      }
    }
  }

  w.pace = {found.speed.low / ends->meant.speed - 1, found.speed.high / ends->meant.speed - 1};
  w.right = {found.right.low - ends->meant.right, found.right.high - ends->meant.right};
  w.height = {found.height.low - ends->meant.height, found.height.high - ends->meant.height};
  w.radius = set.kinds[0].radius;
  w.rest_off = white->second.rest->at - wanted->rest->at;
  w.pace_known = play.tuned;
  for (const Piece& p : wanted->pieces)
    if (p.phase != Piece::Phase::rest && p.velocity.norm() > 1e-6) w.along = p.velocity.normalized();
  m.sentence = sentence_of(m, w);
  a.miss = std::move(m);
}

}  // namespace baizetrace::compare
