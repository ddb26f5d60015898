#include "drawn/story.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "drawn/dice.hpp"
#include "motion/aim.hpp"
#include "table/ball_set.hpp"

namespace baizetrace::drawn {

namespace {
constexpr double kMark = 0.0015, kMarkOthers = 0.001;  // m, sd of putting a ball back; common practice, no source

motion::Conditions random_cloth(Dice& d) {
  motion::Conditions c;
  c.sliding = d.between(0.16, 0.24);
  c.rolling = d.between(0.007, 0.012);
  c.spin_decay = d.between(7, 11);
  c.ball_restitution = d.between(0.92, 0.97);
  const double lively = d.between(0.85, 0.96);
  c.cushion_restitution = {{0.5, lively}, {5.0, lively - d.between(0.06, 0.10)}};
  c.cushion_friction = d.between(0.13, 0.20);
  return c;
}

Ball* find(Scene& s, const std::string& name) {
  for (Ball& b : s.balls)
    if (b.name == name) return &b;
  return nullptr;
}

std::vector<motion::Ball> balls_at(const table::BallSet& set, const std::map<std::string, Vec2>& places) {
  std::vector<motion::Ball> out;
  for (const auto& [name, at] : places) {
    std::string kind = name;
    if (name.substr(0, 3) == "red") kind = "red-1";
    motion::Ball b = motion::make_ball(set, kind, at);
    b.name = name;
    out.push_back(b);
  }
  return out;
}

BallSpan rest_at(double from, const Vec2& at) {
  BallSpan s;
  s.from = from;
  s.place = at;
  return s;
}

// What the shot does to every ball, as spans. Where each is in the end; potted balls are left out.
std::map<std::string, Vec2> play(Scene& scene, const TrueAttempt& a) {
  std::map<std::string, Vec2> end;
  for (const BallPath& path : a.went.balls) {
    Ball* ball = find(scene, path.ball);
    const Vec2 start = a.start.at(path.ball);
    if (path.pieces.empty()) {
      end[path.ball] = start;
      continue;
    }
    BallSpan roll;
    roll.kind = BallSpan::Kind::roll;
    roll.from = a.strike_time;
    roll.clock = a.strike_time;
    roll.place = start;
    roll.pieces = path.pieces;
    ball->spans.push_back(roll);
    const Piece& last = path.pieces.back();
    if (path.pocket) {
      BallSpan fall;
      fall.kind = BallSpan::Kind::fall;
      fall.from = a.strike_time + path.pocket_time;
      fall.place = last.at(path.pocket_time);
      fall.velocity = last.velocity_at(path.pocket_time);
      ball->spans.push_back(fall);
    } else {
      end[path.ball] = path.rest ? path.rest->at : last.at(last.to);
    }
  }
  return end;
}

void lean_in(Scene& s, Dice& d, const TrueAttempt& a, const Vec2& ball, double stays) {
  Person p;
  p.kind = Person::Kind::leans;
  p.from = a.enters;
  p.to = a.strike_time + stays;
  p.strike = a.strike_time;
  p.ball = ball;
  p.ahead = along_heading(a.strike.heading);
  p.bridge = ball - d.between(0.20, 0.28) * p.ahead;
  p.left_handed = s.people.empty() ? d.chance(0.2) : s.people.front().left_handed;
  p.shirt = s.people.empty() ? Colour(d.between(0.02, 0.4), d.between(0.02, 0.3), d.between(0.02, 0.4))
                             : s.people.front().shirt;
  p.skin = s.people.empty() ? Colour(Colour(0.45, 0.28, 0.2) * d.between(0.3, 1.2)) : s.people.front().skin;
  s.people.push_back(p);
}

// A ball that the shot leaves alone, bumped before the strike: it rolls straight, meets nothing, and is still on its
// way when the white is struck. Its path is the story's; "": there is none that could.
std::string send_a_passer(TrueAttempt& a, const Scene& scene, const motion::Conditions& cloth, Dice& d) {
  constexpr double kClear = 0.06, kStep = 0.01;  // m between centres; s
  for (int tries = 0; tries < 300; ++tries) {
    BallPath& path = a.went.balls[static_cast<std::size_t>(d.one_of(static_cast<int>(a.went.balls.size())))];
    if (!path.pieces.empty() && path.pieces[0].phase != Piece::Phase::rest) continue;
    if (path.ball == "white" || path.pieces.size() > 1) continue;
    Piece roll;
    roll.from = -d.between(0.7, 1.3);
    roll.place = a.start.at(path.ball);
    const double speed = d.between(0.4, 1.2), slows = cloth.rolling * kGravity;
    roll.to = roll.from + speed / slows;
    roll.velocity = speed * along_heading(d.between(0, 2 * kPi));
    roll.acceleration = -slows * roll.velocity / speed;
    bool clear = true;
    for (double t = roll.from; clear && t < std::max(roll.to, a.went.total_time); t += kStep) {
      const Vec2 at = roll.at(std::min(t, roll.to));
      clear = std::abs(at.x()) < scene.table.half_width - 0.04 && std::abs(at.y()) < scene.table.half_length - 0.04;
      for (const BallPath& other : a.went.balls)
        if (&other != &path)
          clear = clear && (other.at(std::max(t, 0.0)).value_or(a.start.at(other.ball)) - at).norm() > kClear;
    }
    if (!clear) continue;
    path.pieces = {roll};
    path.rest = Place{roll.at(roll.to), Vec2::Zero()};
    path.rest_time = roll.to;
    a.start[path.ball] = roll.at(0);
    a.went.total_time = std::max(a.went.total_time, roll.to);
    return path.ball;
  }
  return "";
}

void walk_by(Scene& s, Dice& d, double from) {
  Person p;
  p.kind = Person::Kind::walks;
  p.from = from;
  p.to = from + d.between(2.5, 5);
  const double aside = (d.chance(0.5) ? 1 : -1) * (s.table.half_width + d.between(0.4, 0.7));
  p.start = Vec2(aside, -2.6);
  p.end = Vec2(aside, 2.6);
  if (d.chance(0.5)) std::swap(p.start, p.end);
  p.shirt = Colour(d.between(0.02, 0.4), d.between(0.02, 0.3), d.between(0.02, 0.4));
  s.people.push_back(p);
}

// A shot that can be played: a pot now and then hit a little off, or just somewhere.
struct Plan {
  motion::Strike strike;
  std::string ball, pocket;
};
std::optional<Plan> plan_shot(Dice& d, const table::Table& table, const motion::Conditions& c,
                              const std::vector<motion::Ball>& balls) {
  Plan plan;
  const double pace = d.between(0, 1);
  plan.strike.speed = pace < 0.15  ? d.between(0.3, 1.0)
                      : pace < 0.6 ? d.between(1.0, 2.5)
                      : pace < 0.9 ? d.between(2.5, 4.5)
                                   : d.between(4.5, 7.0);
  plan.strike.height = d.between(-0.35, 0.35);
  plan.strike.right = d.chance(0.5) ? 0 : d.between(-0.3, 0.3);
  plan.strike.elevation = radians(d.between(2, 5));
  plan.strike.heading = d.between(-kPi, kPi);
  if (d.chance(0.75)) {
    for (int tries = 0; tries < 12; ++tries) {
      const motion::Ball& b = balls[static_cast<std::size_t>(d.one_of(static_cast<int>(balls.size())))];
      const auto& pocket = table.pockets()[static_cast<std::size_t>(d.one_of(6))];
      if (b.name == "white") continue;
      motion::PotAim aim;
      aim.ball = b.name;
      aim.pocket = pocket.name;
      const auto aimed = motion::aim_pot(table, c, balls, plan.strike, aim);
      if (!aimed || !aimed->pots) continue;
      plan.strike.heading = aimed->heading;
      plan.ball = b.name;
      plan.pocket = pocket.name;
      break;
    }
  }
  return plan;
}

std::optional<motion::Prediction> play_out(const table::Table& table, const motion::Conditions& c,
                                           const std::vector<motion::Ball>& balls, const motion::Strike& strike) {
  auto went = motion::simulate(table, c, balls, strike);
  if (!went || !went->complete || went->total_time > 20) return std::nullopt;
  return *went;
}

void mean_what_happened(Story& story, const Plan& plan, const motion::Prediction& meant) {
  story.object_ball = plan.ball;
  story.pocket = plan.pocket;
  if (const BallPath* white = meant.ball("white")) {
    for (const Contact& c : white->contacts)
      if (c.kind == ContactKind::cushion) story.cushions.push_back(c.with);
    if (white->rest) story.zone = white->rest->at;
  }
}

Result<Story> begin(unsigned seed, const Wishes& wishes, Dice& d, std::string& what, Result<table::BallSet>& set) {
  Story story;
  story.seed = seed;
  story.scene = random_scene(seed, wishes, what);
  story.scene.people.clear();
  if (!find(story.scene, "white")) {
    Ball white = story.scene.balls.empty() ? Ball{} : story.scene.balls.front();
    white.name = "white";
    white.colour = Colour(0.80, 0.78, 0.68);
    white.spans = {rest_at(-1e9, Vec2(0.31, -0.52))};
    std::erase_if(story.scene.balls,
                  [](const Ball& b) { return (b.spans[0].place - Vec2(0.31, -0.52)).norm() < 0.06; });
    story.scene.balls.push_back(white);
  }
  if (story.scene.balls.size() < 2) {
    Ball red = story.scene.balls.front();
    red.name = "red";
    red.colour = Colour(0.42, 0.02, 0.02);
    red.spans = {rest_at(-1e9, Vec2(-0.4, 0.7))};
    story.scene.balls.push_back(red);
  }
  story.conditions = random_cloth(d);
  set = table::read_ball_set("snooker");
  if (!set) return pass_on(set);
  return story;
}
}  // namespace

Result<table::Table> table_of(const TableShape& t) {
  auto spec = table::read_spec("full-size");
  if (!spec) return pass_on(spec);
  spec->half_width = t.half_width;
  spec->half_length = t.half_length;
  spec->nose_height = t.nose_height;
  spec->corner_jaw_radius = t.corner_jaw_radius;
  spec->corner_jaw_start = t.corner_jaw_start;
  spec->middle_jaw_radius = t.middle_jaw_radius;
  spec->middle_jaw_start = t.middle_jaw_start;
  spec->corner_fall_offset = t.corner_fall_offset;
  spec->corner_fall_radius = t.corner_fall_radius;
  spec->middle_fall_offset = t.middle_fall_offset;
  spec->middle_fall_radius = t.middle_fall_radius;
  return table::Table(*spec);
}

Result<Story> random_shot(unsigned seed, const Wishes& wishes, std::string& what) {
  Dice d(seed + 500000);
  Result<table::BallSet> set = fail("");
  auto story = begin(seed, wishes, d, what, set);
  if (!story) return story;
  story->kind = "shot";
  const auto table = table_of(story->scene.table);
  if (!table) return pass_on(table);
  for (const Ball& b : story->scene.balls) story->marks[b.name] = b.spans[0].place;
  TrueAttempt a;
  a.start = story->marks;
  const auto balls = balls_at(*set, a.start);
  for (int tries = 0; tries < 40; ++tries) {
    const auto plan = plan_shot(d, *table, story->conditions, balls);
    if (!plan) continue;
    motion::Strike struck = plan->strike;
    if (!plan->ball.empty()) struck.heading += d.normal(radians(0.12));
    const auto meant = play_out(*table, story->conditions, balls, plan->strike);
    auto went = play_out(*table, story->conditions, balls, struck);
    if (!meant || !went) continue;
    mean_what_happened(*story, *plan, *meant);
    a.strike = struck;
    a.went = std::move(*went);
    break;
  }
  if (a.went.balls.empty()) return fail("no shot could be played from seed {}", seed);
  a.enters = -2;
  a.address = -0.3;
  a.strike_time = d.between(1.6, 2.4);
  lean_in(story->scene, d, a, a.start.at("white"), d.between(0.8, 2.5));
  const std::string passer = wishes.passer ? send_a_passer(a, story->scene, story->conditions, d) : std::string();
  (void)play(story->scene, a);
  if (!passer.empty()) {
    BallSpan& roll = find(story->scene, passer)->spans.back();
    roll.from = a.strike_time + roll.pieces[0].from;
    what += fmt::format("; the {} is on its way at the strike, at {:.1f} s", passer, a.strike_time);
  } else if (wishes.passer) {
    what += "; no ball could pass";
  }
  story->scene.duration = a.strike_time + a.went.total_time + 1.2;
  if (d.chance(0.3)) walk_by(story->scene, d, d.between(0, story->scene.duration));
  what += fmt::format("; {:.1f} m/s, {} balls, {:.0f} s", a.strike.speed, a.start.size(), story->scene.duration);
  story->attempts.push_back(std::move(a));
  story->scene.times = frame_times(story->scene.recording, story->scene.duration);
  return story;
}

Result<Story> random_session(unsigned seed, const Wishes& wishes, std::string& what) {
  Dice d(seed + 900000);
  Result<table::BallSet> set = fail("");
  auto story = begin(seed, wishes, d, what, set);
  if (!story) return story;
  story->kind = "session";
  Scene& scene = story->scene;
  const auto table = table_of(scene.table);
  if (!table) return pass_on(table);
  for (const Ball& b : scene.balls) story->marks[b.name] = b.spans[0].place;
  // The shot that is meant, the same each time.
  std::optional<Plan> plan;
  for (int tries = 0; tries < 60; ++tries) {
    const auto balls = balls_at(*set, story->marks);
    plan = plan_shot(d, *table, story->conditions, balls);
    const auto meant = plan ? play_out(*table, story->conditions, balls, plan->strike) : std::nullopt;
    if (!meant || meant->total_time > 12 || (plan->ball.empty() && tries < 40)) {
      plan.reset();
      continue;
    }
    mean_what_happened(*story, *plan, *meant);
    break;
  }
  if (!plan) return fail("no shot could be played from seed {}", seed);
  std::map<std::string, Vec2> now = story->marks;
  double clock = d.between(0.5, 2);
  const int attempts = 3 + d.one_of(6);
  const int knocked_before = d.chance(0.25) ? 1 + d.one_of(attempts - 1) : -1;
  for (int i = 0; i < attempts; ++i) {
    if (i > 0) {
      // Each ball that moved or fell is put back, one after the other.
      for (Ball& ball : scene.balls) {
        const auto lies = now.find(ball.name);
        const Vec2 mark = story->marks.at(ball.name);
        if (lies != now.end() && (lies->second - mark).norm() < 0.012) continue;
        const double sd = ball.name == "white" ? kMark : kMarkOthers;
        Vec2 to = mark + Vec2(d.normal(sd), d.normal(sd));
        bool free = true;
        for (const auto& [other, at] : now) free = free && (other == ball.name || (at - to).norm() > 0.0535);
        if (!free) to = mark;
        Person hand;
        hand.kind = Person::Kind::hand;
        hand.from = clock;
        hand.to = clock + d.between(1.8, 2.8);
        hand.start = Vec2((to.x() >= 0 ? 1 : -1) * (scene.table.half_width + 0.35), to.y() + d.normal(0.1));
        hand.end = to;
        if (!scene.people.empty()) hand.shirt = scene.people.front().shirt, hand.skin = scene.people.front().skin;
        scene.people.push_back(hand);
        BallSpan carried;
        carried.kind = BallSpan::Kind::hand;
        carried.from = hand.from + 0.3 * (hand.to - hand.from);
        carried.until = hand.from + 0.6 * (hand.to - hand.from);
        carried.place = lies != now.end() ? lies->second : hand.start;
        carried.to = to;
        ball.spans.push_back(carried);
        ball.spans.push_back(rest_at(carried.until, to));
        now[ball.name] = to;
        story->placements.push_back({ball.name, "placed", carried.from, carried.until, to});
        clock = hand.to + d.between(0.1, 0.6);
        if (d.chance(0.12)) {  // a ball is touched in passing
          for (Ball& touched : scene.balls) {
            if (touched.name == ball.name || now.count(touched.name) == 0 || !d.chance(0.3)) continue;
            const Vec2 moved = now[touched.name] + Vec2(d.normal(0.012), d.normal(0.012));
            bool clear = std::abs(moved.x()) < scene.table.half_width - 0.03 &&
                         std::abs(moved.y()) < scene.table.half_length - 0.03;
            for (const auto& [other, at] : now) clear = clear && (other == touched.name || (at - moved).norm() > 0.054);
            if (!clear) break;
            BallSpan pushed = carried;
            pushed.from = clock;
            pushed.until = clock + 0.3;
            pushed.place = now[touched.name];
            pushed.to = moved;
            hand.from = clock - 0.6;
            hand.to = clock + 1.0;
            hand.end = moved;
            scene.people.push_back(hand);
            touched.spans.push_back(pushed);
            touched.spans.push_back(rest_at(pushed.until, moved));
            now[touched.name] = moved;
            story->placements.push_back({touched.name, "nudged", pushed.from, pushed.until, moved});
            clock += 1.2;
            break;
          }
        }
      }
    }
    if (i == knocked_before) {
      scene.knock.time = clock + 0.3;
      scene.knock.axis = Vec3(d.normal(1), d.normal(1), d.normal(1));
      scene.knock.angle = radians(d.between(0.05, 0.6));
      clock += 2;
    }
    if (d.chance(0.3)) walk_by(scene, d, clock - d.between(0, 3));
    TrueAttempt a;
    a.start = now;
    const auto balls = balls_at(*set, now);
    for (int tries = 0; tries < 40 && a.went.balls.empty(); ++tries) {
      a.strike = plan->strike;
      if (!plan->ball.empty() && now.count(plan->ball) != 0) {
        motion::PotAim aim;
        aim.ball = plan->ball;
        aim.pocket = plan->pocket;
        if (const auto aimed = motion::aim_pot(*table, story->conditions, balls, plan->strike, aim))
          a.strike.heading = aimed->heading;
      }
      a.strike.heading += d.normal(radians(0.15));
      a.strike.speed *= 1 + d.normal(0.05);
      a.strike.height = std::clamp(a.strike.height + d.normal(0.05), -0.5, 0.5);
      a.strike.right = std::clamp(a.strike.right + d.normal(0.05), -0.5, 0.5);
      if (auto went = play_out(*table, story->conditions, balls, a.strike)) a.went = std::move(*went);
    }
    if (a.went.balls.empty()) return fail("no shot could be played from seed {}", seed);
    if (d.chance(0.15)) {  // gets down, gets up again
      TrueAttempt broken = a;
      broken.enters = clock;
      broken.strike_time = clock + 3;
      lean_in(scene, d, broken, now.at("white"), 0);
      scene.people.back().strike = clock + 1e6;
      clock += 3.5;
    }
    a.enters = clock;
    a.address = clock + 1.2;
    a.strike_time = clock + d.between(2.5, 4);
    lean_in(scene, d, a, now.at("white"), d.between(0.8, 2));
    now = play(scene, a);
    clock = a.strike_time + a.went.total_time + d.between(1.0, 3.0);
    story->attempts.push_back(std::move(a));
  }
  scene.duration = clock;
  what += fmt::format("; session of {} attempts, {:.0f} s{}", attempts, clock,
                      scene.knock.time > 0 ? ", mount knocked" : "");
  scene.times = frame_times(scene.recording, scene.duration);
  return story;
}

}  // namespace baizetrace::drawn
