#include "compare/routes.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <random>
#include <span>

#include "base/median.hpp"
#include "base/threads.hpp"
#include "motion/simulator.hpp"

namespace baizetrace::compare {
namespace {

using Key = std::pair<std::vector<std::string>, std::vector<std::pair<std::string, std::string>>>;

// The pot, or the fullness, aimed quickly: cue ball and object ball alone, of a plant with the ball between them, of a
// double up to its last cushion; secant steps on one number that the setup's own aim has set.
class QuickAim {
 public:
  // balls: cue ball first, the one to be potted last.
  QuickAim(const table::Table& table, const motion::Conditions& c, std::span<const motion::Ball> balls, bool pot,
           const Vec2& target, std::vector<std::string> bank)
      : simulator_(table, c), cue_(balls.front()), pot_(pot), target_(target), bank_(std::move(bank)) {
    for (const motion::Ball& b : balls) {
      bodies_.push_back({b.radius, b.mass});
      states_.emplace_back();
      states_.back().place = b.place;
    }
  }
  // Pot: by how far the object ball's last line passes the target; onto: the sine of the cut. nullopt: not met.
  std::optional<double> offset(motion::Strike s, double heading) {
    s.heading = heading;
    states_[0] = motion::struck(s, cue_.place, cue_.radius);
    const int until_it_rolls = 8 * static_cast<int>(states_.size() - 1 + 4 * bank_.size());  // events: contacts, phases
    simulator_.run(bodies_, states_, until_it_rolls);
    const motion::Event* hit = nullptr;
    for (const motion::Event& e : simulator_.events())
      if (e.ball == 0) {
        hit = &e;
        break;
      }
    if (!hit || hit->kind != ContactKind::ball || hit->with != 1) return std::nullopt;
    if (!pot_) {
      const Vec2 line = (states_[1].place - hit->at).normalized();
      return -cross(hit->velocity_in.normalized(), line);
    }
    const std::size_t potted = states_.size() - 1;
    double start = -1, until = 1e9;
    std::size_t cushions = 0;
    for (const motion::Event& e : simulator_.events()) {
      if (e.ball != potted) continue;
      if (start < 0) {
        if (e.kind != ContactKind::ball || e.with != potted - 1) return std::nullopt;
        start = e.time;
      } else if (cushions < bank_.size()) {
        if (e.kind != ContactKind::cushion || simulator_.ground().cushions[e.with] != bank_[cushions])
          return std::nullopt;
        ++cushions;
        start = e.time;
      } else if (e.time > start + 1e-12) {
        until = e.time;
        break;
      }
    }
    if (start < 0 || cushions < bank_.size()) return std::nullopt;
    const Piece* last = nullptr;
    for (const Piece& p : simulator_.pieces(potted))
      if (p.phase != Piece::Phase::rest && p.from >= start - 1e-12 && p.to <= until + 1e-12) last = &p;
    if (!last) return std::nullopt;
    const double when = last->phase == Piece::Phase::roll ? last->from : last->to;
    const Vec2 v = last->velocity_at(when);
    if (v.norm() < 1e-6) return std::nullopt;
    return cross(v.normalized(), target_ - last->at(when));
  }
  // The heading near `about` with that offset.
  std::optional<double> heading(const motion::Strike& s, double wanted, double about) {
    constexpr double kEnough = 1e-6;  // m, or of the sine
    constexpr int kMost = 12;
    double a = about, b = about + 2e-4;
    auto fa = offset(s, a), fb = offset(s, b);
    if (!fa || !fb) return std::nullopt;
    for (int i = 0; i < kMost; ++i) {
      if (std::abs(*fb - wanted) < kEnough) return b;
      if (*fb == *fa) return std::nullopt;
      constexpr double kStride = 0.02;  // rad: further is another aim
      const double next = b - std::clamp((*fb - wanted) * (b - a) / (*fb - *fa), -kStride, kStride);
      a = b;
      fa = fb;
      b = next;
      fb = offset(s, b);
      if (!fb) return std::nullopt;
    }
    return std::nullopt;
  }

 private:
  motion::Simulator simulator_;
  motion::Ball cue_;
  std::vector<motion::Body> bodies_;
  std::vector<motion::State> states_;
  bool pot_;
  Vec2 target_;
  std::vector<std::string> bank_;
};

struct Played {
  bool done = false, potted = false, goal = false, in_off = false;
  Key key;
  Vec2 rest = Vec2::Zero();
  std::string nearest_pocket;
  double nearest = 1e9;
};

struct Table {
  const practice::Setup& setup;
  const table::Table& table;
  const table::BallSet& set;
  const motion::Conditions& conditions;
};

Played play(const Table& on, const motion::Strike& s,
            std::optional<std::vector<std::pair<std::string, Vec2>>> places = {}) {
  practice::Overrides o;
  o.speed = s.speed, o.heading = s.heading, o.right = s.right, o.height = s.height;
  o.places = std::move(places);
  const auto p = practice::predict_setup(on.setup, on.table, on.set, on.conditions, o);
  Played out;
  if (!p || !p->motion.complete) return out;
  out.done = true;
  out.potted = !p->meant_to_pot || p->pots;
  const BallPath* white = p->motion.ball("white");
  out.in_off = white->pocket.has_value();
  if (white->rest) out.rest = white->rest->at;
  out.key.first = p->route.cushions;
  for (const motion::GatePass& g : p->route.gates) out.key.second.emplace_back(std::min(g.a, g.b), std::max(g.a, g.b));
  for (const motion::PocketPass& q : p->route.pockets)
    if (q.distance < out.nearest) out.nearest = q.distance, out.nearest_pocket = q.pocket;
  if (on.setup.goal) {
    const auto parts = practice::judge(on.setup, on.table, *p);
    out.goal = std::all_of(parts.begin(), parts.end(), [](const practice::GoalPart& part) { return part.met; });
  }
  return out;
}

}  // namespace

Result<Spread> spread_named(const std::string& name) {
  const std::array<Spread, 3> all{{{"professional", radians(0.035), 0.02, 0.0006, 0.0005},
                                   {"good-club", radians(0.08), 0.04, 0.0012, 0.001},
                                   {"club", radians(0.15), 0.07, 0.0022, 0.001}}};
  for (const Spread& s : all)
    if (s.name == name) return s;
  return fail("--spread {}: expected professional, good-club or club", name);
}

Result<Routes> find_routes(const practice::Setup& setup, const table::Table& table, const table::BallSet& set,
                           const motion::Conditions& conditions, const Spread& spread, const RoutesOptions& o) {
  if (!setup.shot) return fail("{}: has no [shot], expected one", setup.file);
  const practice::Shot& shot = *setup.shot;
  const auto own = practice::predict_setup(setup, table, set, conditions);
  if (!own) return pass_on(own);
  const bool aims = shot.kind != practice::Shot::Kind::heading;
  const Table on{setup, table, set, conditions};
  const auto ball_named = [&](const std::string& name) {
    return *std::find_if(own->balls.begin(), own->balls.end(), [&](const motion::Ball& b) { return b.name == name; });
  };
  const motion::Ball cue = ball_named("white");
  std::vector<motion::Ball> met{cue};
  if (aims && !shot.first.empty()) met.push_back(ball_named(shot.first));
  if (aims) met.push_back(ball_named(shot.ball));
  Vec2 target = Vec2::Zero();
  if (shot.kind == practice::Shot::Kind::pot) target = table.pocket(shot.pocket)->mouth_middle();
  const bool pot = shot.kind == practice::Shot::Kind::pot;
  double wanted = 0;
  if (aims) {
    QuickAim aim(table, conditions, met, pot, target, shot.bank);
    const auto offset = aim.offset(own->strike, own->strike.heading);
    if (!offset)
      return fail("{}: the setup's own strike does not meet {}{}", setup.file, met[1].name,
                  met.size() > 2 || !shot.bank.empty() ? " and send the ball on as it is meant to" : "");
    wanted = *offset;
  }

  Routes out;
  out.spread = spread;
  out.has_goal = setup.goal.has_value();
  const int n = o.paces * o.tips * o.tips;
  out.outcomes.resize(static_cast<std::size_t>(n));
  std::vector<Played> played(static_cast<std::size_t>(n));
  const auto tip = [&](int i) { return o.tips > 1 ? o.most_off * (2.0 * i / (o.tips - 1) - 1) : 0.0; };
  const double base = own->strike.speed;
  // A row of the grid (one pace, one height) goes from the middle outwards, each aim starting at its neighbour's.
  share_out(o.paces * o.tips, std::max(1, o.threads), [&](int row) {
    const int pace = row / o.tips, up = row % o.tips;
    QuickAim aim(table, conditions, met, pot, target, shot.bank);
    motion::Strike s = own->strike;
    s.speed = base * (o.slowest + (o.fastest - o.slowest) * (o.paces > 1 ? double(pace) / (o.paces - 1) : 0.5));
    s.height = tip(up);
    for (const int way : {1, -1}) {
      double about = own->strike.heading;
      for (int i = o.tips / 2 + (way < 0 ? -1 : 0); i >= 0 && i < o.tips; i += way) {
        const auto at = static_cast<std::size_t>(row * o.tips + i);
        Outcome& x = out.outcomes[at];
        s.right = tip(i);
        x.speed = s.speed, x.right = s.right, x.height = s.height;
        constexpr double kRounding = 1e-9;
        if (std::hypot(s.right, s.height) > o.most_off + kRounding) continue;
        x.tried = true;
        s.heading = own->strike.heading;
        if (aims) {
          auto h = aim.heading(s, wanted, about);
          if (!h) h = aim.heading(s, wanted, own->strike.heading);
          if (!h) continue;
          s.heading = about = *h;
        }
        x.heading = s.heading;
        played[at] = play(on, s);
        x.aimed = played[at].done;
        x.potted = played[at].potted;
        x.in_off = played[at].in_off;
        x.goal = played[at].goal;
        x.rest = played[at].rest;
      }
    }
  });

  std::map<Key, int> numbers;
  std::vector<std::vector<std::size_t>> members;
  for (std::size_t i = 0; i < out.outcomes.size(); ++i) {
    Outcome& x = out.outcomes[i];
    out.tried += x.tried;
    if (!x.aimed) continue;
    ++out.aimed;
    if (!x.potted) ++out.not_potted;
    if (x.in_off) ++out.in_off;
    if (!x.potted || x.in_off) continue;
    const auto [found, fresh] = numbers.try_emplace(played[i].key, static_cast<int>(members.size()));
    if (fresh) members.emplace_back();
    members[static_cast<std::size_t>(found->second)].push_back(i);
  }
  std::vector<const Key*> keys(members.size());
  for (const auto& [key, k] : numbers) keys[static_cast<std::size_t>(k)] = &key;
  std::vector<std::size_t> order(members.size());
  for (std::size_t k = 0; k < order.size(); ++k) order[k] = k;
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return members[a].size() > members[b].size(); });
  for (std::size_t r = 0; r < order.size(); ++r) {
    const auto& in = members[order[r]];
    OneRoute route;
    route.cushions = keys[order[r]]->first;
    route.gates = keys[order[r]]->second;
    route.strikes = static_cast<int>(in.size());
    route.speed = route.right = route.height = {1e9, -1e9};
    route.nearest = 1e9;
    for (const std::size_t i : in) {
      Outcome& x = out.outcomes[i];
      x.route = static_cast<int>(r);
      route.with_goal += x.goal;
      route.stops += x.rest / route.strikes;
      for (const auto& [span, v] :
           {std::pair(&route.speed, x.speed), std::pair(&route.right, x.right), std::pair(&route.height, x.height)})
        *span = {std::min((*span)[0], v), std::max((*span)[1], v)};
      if (played[i].nearest < route.nearest)
        route.nearest = played[i].nearest, route.nearest_pocket = played[i].nearest_pocket;
    }
    std::vector<double> off;
    for (const std::size_t i : in) off.push_back((out.outcomes[i].rest - route.stops).norm());
    route.stops_spread = upper_median(off);
    // The best: furthest, in the player's own scatter, from strikes that do something else.
    const auto inside = [&](int pace, int up, int side) {
      if (pace < 0 || up < 0 || side < 0 || pace >= o.paces || up >= o.tips || side >= o.tips) return false;
      const Outcome& x = out.outcomes[static_cast<std::size_t>((pace * o.tips + up) * o.tips + side)];
      return x.route == static_cast<int>(r) && (route.with_goal == 0 || x.goal);
    };
    const double pace_step = (o.fastest - o.slowest) / std::max(1, o.paces - 1) / spread.pace;
    const double tip_step = 2 * o.most_off / std::max(1, o.tips - 1) * cue.radius / spread.tip;
    double deepest = -1;
    for (const std::size_t i : in) {
      const int side = static_cast<int>(i) % o.tips, up = static_cast<int>(i) / o.tips % o.tips,
                pace = static_cast<int>(i) / (o.tips * o.tips);
      if (!inside(pace, up, side)) continue;
      double depth = 1e9;
      for (int axis = 0; axis < 3; ++axis)
        for (const int way : {-1, 1}) {
          int k = 1;
          while (inside(pace + (axis == 0 ? way * k : 0), up + (axis == 1 ? way * k : 0),
                        side + (axis == 2 ? way * k : 0)))
            ++k;
          depth = std::min(depth, k * (axis == 0 ? pace_step : tip_step));
        }
      if (depth > deepest) deepest = depth, route.best = out.outcomes[i];
    }
    if (setup.goal && setup.goal->next) {
      practice::Overrides best;
      best.speed = route.best.speed, best.heading = route.best.heading;
      best.right = route.best.right, best.height = route.best.height;
      if (const auto p = practice::predict_setup(setup, table, set, conditions, best)) route.leave = p->leave;
    }
    out.routes.push_back(std::move(route));
  }

  // How likely each is from its best strike, under the spread.
  constexpr int kMostRoutes = 8;
  const int looked = o.samples <= 0 ? 0 : std::min<int>(kMostRoutes, static_cast<int>(out.routes.size()));
  share_out(looked, std::max(1, o.threads), [&](int r) {
    OneRoute& route = out.routes[static_cast<std::size_t>(r)];
    std::mt19937 random(o.seed + static_cast<unsigned>(r));
    // Own normal numbers (Box & Muller 1958): the library's differ between implementations.
    const auto normal = [&] {
      const double u = (random() + 1.0) / 4294967297.0, v = random() / 4294967296.0;
      return std::sqrt(-2 * std::log(u)) * std::cos(2 * kPi * v);
    };
    for (int k = 0; k < o.samples; ++k) {
      motion::Strike s = own->strike;
      s.speed = route.best.speed * std::max(0.1, 1 + spread.pace * normal());
      s.heading = route.best.heading + spread.direction * normal();
      s.right = route.best.right + spread.tip / cue.radius * normal();
      s.height = route.best.height + spread.tip / cue.radius * normal();
      std::vector<std::pair<std::string, Vec2>> places;
      for (const motion::Ball& b : own->balls) {
        const double dx = spread.mark * normal(), dy = spread.mark * normal();
        const bool handled = b.name == "white" || (aims && (b.name == shot.ball || b.name == shot.first));
        places.emplace_back(b.name, handled ? Vec2(b.place + Vec2(dx, dy)) : b.place);
      }
      ++route.tried;
      if (std::hypot(s.right, s.height) > motion::kMiscue) continue;  // a miscue
      const Played p = play(on, s, std::move(places));
      const bool kept = p.done && p.potted && !p.in_off &&
                        (route.with_goal > 0 ? p.goal : p.key.first == route.cushions && p.key.second == route.gates);
      route.held += kept;
    }
    const double m = route.tried, share = route.held / m, z = 1.96;
    const double middle = (share + z * z / (2 * m)) / (1 + z * z / m);
    const double half = z / (1 + z * z / m) * std::sqrt(share * (1 - share) / m + z * z / (4 * m * m));
    route.low = std::max(0.0, middle - half);
    route.high = std::min(1.0, middle + half);
  });
  return out;
}

}  // namespace baizetrace::compare
