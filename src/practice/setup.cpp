#include "practice/setup.hpp"

#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "base/toml.hpp"

namespace baizetrace::practice {

namespace {
// Checks names and places while a setup is read; every fault goes to its key.
class Reader {
 public:
  Reader(const table::Table& table, const table::BallSet& set, Setup& setup)
      : table_(table), set_(set), setup_(setup) {}

  void balls(TomlTable& t) {
    for (const std::string& name : t.keys()) {
      const auto kind = set_.kind_of(name);
      if (!kind) {
        (void)t.has(name);
        t.fault(name, fmt::format("is no ball of the set \"{}\"{}", set_.name, near(name, ball_words())));
        return;
      }
      Mark m;
      m.ball = name;
      if (t.is_text(name)) {
        const std::string word = t.text(name);
        const auto spot = table_.spots().find(set_.kinds[*kind].home);
        if (word != "spot")
          t.fault(name, fmt::format("is \"{}\", expected [x, y] or \"spot\"", word));
        else if (spot == table_.spots().end())
          t.fault(name, "has no spot of its own on this table, expected [x, y]");
        else
          m.place = spot->second;
        m.on_spot = true;
      } else {
        m.place = t.point(name);
      }
      if (!m.place.allFinite()) t.fault(name, "expected finite numbers");
      const double radius = set_.radius_of(name);
      if (!table_.on_bed(m.place, radius, kWrittenTo))
        t.fault(name, fmt::format("({:.4f}, {:.4f}) is off the bed, expected |x| up to {:.4f} and |y| up to {:.4f} m",
                                  m.place.x(), m.place.y(), table_.half_width() - table_.touch_distance(radius),
                                  table_.half_length() - table_.touch_distance(radius)));
      for (const Mark& other : setup_.balls) {
        const double overlap = radius + set_.radius_of(other.ball) - (m.place - other.place).norm();
        if (overlap > kWrittenTo) t.fault(name, fmt::format("overlaps {} by {:.1f} mm", other.ball, 1000 * overlap));
      }
      setup_.balls.push_back(m);
    }
    if (!on_table("white")) t.fault("", "the cue ball is missing, expected white = [x, y]");
  }

  void shot(TomlTable& t) {
    Shot s;
    const auto pot = t.maybe_text("pot"), onto = t.maybe_text("onto");
    const auto heading = t.maybe_number("heading_deg");
    if ((pot ? 1 : 0) + (onto ? 1 : 0) + (heading ? 1 : 0) != 1)
      t.fault(pot    ? "pot"
              : onto ? "onto"
                     : "heading_deg",
              "expected one of pot with into, onto with fullness and side, or heading_deg");
    const auto into = t.maybe_text("into"), side = t.maybe_text("side"), first = t.maybe_text("first");
    const auto fullness = t.maybe_number("fullness");
    const auto bank = t.maybe_words("bank");
    if (pot) {
      s.kind = Shot::Kind::pot;
      s.ball = *pot;
      object_ball(t, "pot", *pot);
      if (!into)
        t.fault("pot", "is given without into, expected a pocket");
      else
        pocket(t, "into", *into);
      s.pocket = into.value_or("");
      if (first) object_ball(t, "first", *first);
      if (first && *first == *pot) t.fault("first", "is the ball to pot itself; leave it out, it is no plant");
      s.first = first.value_or("");
      for (const std::string& c : bank.value_or(std::vector<std::string>{})) cushion(t, "bank", c);
      s.bank = bank.value_or(std::vector<std::string>{});
    } else {
      for (const char* key : {"into", "first", "bank"})
        if (t.has(key)) t.fault(key, "goes with pot only");
    }
    if (onto) {
      s.kind = Shot::Kind::onto;
      s.ball = *onto;
      object_ball(t, "onto", *onto);
      if (!fullness || !side) t.fault("onto", "is given without fullness and side");
      s.fullness = fullness.value_or(1);
      if (!(s.fullness > 0 && s.fullness <= 1))
        t.fault("fullness", fmt::format("is {}, expected over 0 up to 1", s.fullness));
      if (side && *side != "left" && *side != "right")
        t.fault("side", fmt::format("is \"{}\", expected \"left\" or \"right\"", *side));
      s.on_its_left = side.value_or("left") == "left";
    } else {
      for (const char* key : {"fullness", "side"})
        if (t.has(key)) t.fault(key, "goes with onto only");
    }
    if (heading) {
      if (!(std::abs(*heading) <= 360)) t.fault("heading_deg", fmt::format("is {}, expected -360 to 360", *heading));
      s.heading = radians(*heading);
    }
    s.speed = t.maybe_number("speed");
    s.lengths = t.maybe_number("lengths");
    if (s.speed && s.lengths) t.fault("lengths", "is given beside speed, expected one of them");
    if (s.speed && !(*s.speed > 0 && *s.speed <= motion::kFastestStrike))
      t.fault("speed", fmt::format("is {}, expected over 0 up to {} m/s", *s.speed, motion::kFastestStrike));
    if (s.lengths && !(*s.lengths > 0 && *s.lengths <= 10))
      t.fault("lengths", fmt::format("is {}, expected over 0 up to 10", *s.lengths));
    s.height = t.number("height", 0);
    s.right = t.number("right", 0);
    if (!(std::hypot(s.height, s.right) <= motion::kMiscue))
      t.fault(
          t.has("height") ? "height" : "right",
          fmt::format("the tip is {:.2f} ball radii off the centre, a miscue: expected at most {} (common practice)",
                      std::hypot(s.height, s.right), motion::kMiscue));
    const double elevation = t.number("elevation_deg", 3.0);
    if (!(elevation >= 0 && elevation <= motion::kSteepest))
      t.fault("elevation_deg", fmt::format("is {}, expected 0 to {}", elevation, motion::kSteepest));
    s.elevation = radians(elevation);
    setup_.shot = s;
  }

  void goal(TomlTable& t) {
    Goal g;
    g.cushions = t.maybe_words("cushions").value_or(std::vector<std::string>{});
    for (const std::string& c : g.cushions) cushion(t, "cushions", c);
    for (const auto& gate : t.maybe_rows_of_words("gates").value_or(std::vector<std::vector<std::string>>{})) {
      if (gate.size() != 2) {
        t.fault("gates", fmt::format("a gate of {} posts, expected pairs [[\"a\", \"b\"], ...]", gate.size()));
        continue;
      }
      for (const std::string& post : gate) {
        std::vector<std::string> words = post_words();
        if (std::find(words.begin(), words.end(), post) == words.end())
          t.fault("gates",
                  fmt::format("\"{}\" is no ball on the table, spot, pocket or cushion{}", post, near(post, words)));
      }
      const auto is_cushion = [&](const std::string& post) {
        const auto c = cushion_words();
        return std::find(c.begin(), c.end(), post) != c.end();
      };
      if (is_cushion(gate[0]) && is_cushion(gate[1])) t.fault("gates", "two cushions make no gate");
      if (gate[0] == gate[1]) t.fault("gates", fmt::format("\"{}\" twice makes no gate", gate[0]));
      g.gates.emplace_back(gate[0], gate[1]);
    }
    g.avoid = t.maybe_words("avoid").value_or(std::vector<std::string>{});
    for (const std::string& p : g.avoid) pocket(t, "avoid", p);
    g.touch = t.maybe_words("touch");
    if (g.touch)
      for (const std::string& b : *g.touch) object_ball(t, "touch", b);
    const double least = t.number("touch_at_least", 0);
    if (!(least >= 0 && least <= 22 && least == std::floor(least)))
      t.fault("touch_at_least", fmt::format("is {}, expected a whole number, 0 to 22", least));
    else
      g.touch_at_least = static_cast<int>(least);
    if (g.touch_at_least > 0 && !g.touch) t.fault("touch_at_least", "is given without touch = [...]");
    if (auto o = t.maybe_table("over")) {
      const std::string spot = o->text("spot");
      if (!table_.spots().contains(spot))
        o->fault("spot", fmt::format("\"{}\" is no spot of the table{}", spot, near(spot, spot_words())));
      const double within = o->number("within");
      if (!(within > 0 && within <= 1)) o->fault("within", fmt::format("is {}, expected over 0 up to 1 m", within));
      g.over = std::pair(spot, within);
    }
    if (auto p = t.maybe_table("points")) points(*p, g);
    if (auto z = t.maybe_table("zone")) g.zone = zone(*z);
    if (auto n = t.maybe_table("next")) {
      NextBall next;
      next.ball = n->text("ball");
      object_ball(*n, "ball", next.ball);
      next.into = n->text("into");
      pocket(*n, "into", next.into);
      if (const auto cut = n->maybe_numbers("cut_deg")) {
        if (cut->size() != 2 || !((*cut)[0] >= 0 && (*cut)[0] <= (*cut)[1] && (*cut)[1] <= 90))
          n->fault("cut_deg", "expected [least, most], 0 to 90");
        else
          next.cut = std::pair(radians((*cut)[0]), radians((*cut)[1]));
      }
      next.within = n->maybe_number("within");
      if (next.within && !(*next.within > 0 && *next.within <= 5))
        n->fault("within", fmt::format("is {}, expected over 0 up to 5 m", *next.within));
      g.next = next;
    }
    setup_.goal = g;
  }

 private:
  static void points(TomlTable& t, Goal& g) {
    static const std::vector<std::string> kParts{"pot",   "position", "cushions", "gate", "avoid",
                                                 "touch", "over",     "zone",     "leave"};
    for (const std::string& part : t.keys()) {
      const double worth = t.number(part);
      if (std::find(kParts.begin(), kParts.end(), part) == kParts.end())
        t.fault(part, fmt::format("is no part of a goal{}", near(part, kParts)));
      else if (!(worth >= 0 && worth <= 1000))
        t.fault(part, fmt::format("is {}, expected 0 to 1000 points", worth));
      else
        g.points[part] = worth;
    }
  }
  Zone zone(TomlTable& t) {
    Zone z;
    z.centre = t.maybe_point("centre");
    const auto radius = t.maybe_number("radius");
    const auto corners = t.maybe_points("corners");
    if (z.centre.has_value() == corners.has_value() || z.centre.has_value() != radius.has_value())
      t.fault(t.has("corners")  ? "corners"
              : t.has("centre") ? "centre"
                                : "radius",
              "expected centre with radius, or corners");
    z.radius = radius.value_or(0);
    if (radius && !(z.radius > 0 && z.radius <= 4))
      t.fault("radius", fmt::format("is {}, expected over 0 up to 4 m", z.radius));
    z.corners = corners.value_or(std::vector<Vec2>{});
    if (corners && z.corners.size() < 2)
      t.fault("corners", "expected two opposite corners of a rectangle, or three or more");
    return z;
  }
  bool on_table(const std::string& ball) const {
    return std::any_of(setup_.balls.begin(), setup_.balls.end(), [&](const Mark& m) { return m.ball == ball; });
  }
  void object_ball(TomlTable& t, const char* key, const std::string& name) {
    if (name == "white") t.fault(key, "is the cue ball, expected an object ball");
    if (!on_table(name))
      t.fault(key, fmt::format("\"{}\" is not among the setup's balls{}", name, near(name, marked_words())));
  }
  void pocket(TomlTable& t, const char* key, const std::string& name) {
    if (!table_.pocket(name)) t.fault(key, fmt::format("\"{}\" is no pocket{}", name, near(name, pocket_words())));
  }
  void cushion(TomlTable& t, const char* key, const std::string& name) {
    const auto words = cushion_words();
    if (std::find(words.begin(), words.end(), name) == words.end())
      t.fault(key, fmt::format("\"{}\" is no cushion{}", name, near(name, words)));
  }
  static std::string near(const std::string& word, const std::vector<std::string>& valid) {
    const std::string n = nearest_word(word, valid);
    return n.empty() ? fmt::format(", expected one of: {}", fmt::join(valid, ", "))
                     : fmt::format(", did you mean \"{}\"?", n);
  }
  std::vector<std::string> ball_words() const {
    std::vector<std::string> out;
    for (const table::BallKind& k : set_.kinds) out.push_back(k.count == 1 ? k.name : k.name + "-1");
    return out;
  }
  std::vector<std::string> marked_words() const {
    std::vector<std::string> out;
    for (const Mark& m : setup_.balls)
      if (m.ball != "white") out.push_back(m.ball);
    return out;
  }
  std::vector<std::string> pocket_words() const {
    std::vector<std::string> out;
    for (const table::Pocket& p : table_.pockets()) out.push_back(p.name);
    return out;
  }
  std::vector<std::string> spot_words() const {
    std::vector<std::string> out;
    for (const auto& [name, at] : table_.spots()) out.push_back(name);
    return out;
  }
  static std::vector<std::string> cushion_words() { return {"baulk", "top", "left", "right"}; }
  std::vector<std::string> post_words() const {
    std::vector<std::string> out = marked_words();
    for (const auto& more : {spot_words(), pocket_words(), cushion_words()})
      out.insert(out.end(), more.begin(), more.end());
    return out;
  }

  const table::Table& table_;
  const table::BallSet& set_;
  Setup& setup_;
};

// A table given as a path is first looked for beside the setup's file.
std::string table_beside(const std::string& setup_file, const std::string& table) {
  if (table.find('/') == std::string::npos && !table.ends_with(".toml")) return table;
  const auto beside = std::filesystem::path(setup_file).parent_path() / table;
  std::error_code code;
  return std::filesystem::exists(beside, code) ? beside.string() : table;
}
}  // namespace

bool Zone::holds(const Vec2& p) const {
  if (centre) return (p - *centre).norm() <= radius;
  if (corners.size() == 2) {
    const Vec2 low = corners[0].cwiseMin(corners[1]), high = corners[0].cwiseMax(corners[1]);
    return p.x() >= low.x() && p.x() <= high.x() && p.y() >= low.y() && p.y() <= high.y();
  }
  bool inside = false;  // even-odd rule
  for (std::size_t i = 0, j = corners.size() - 1; i < corners.size(); j = i++) {
    const Vec2 &a = corners[i], &b = corners[j];
    if ((a.y() > p.y()) != (b.y() > p.y()) && p.x() < (b.x() - a.x()) * (p.y() - a.y()) / (b.y() - a.y()) + a.x())
      inside = !inside;
  }
  return inside;
}

double Zone::depth(const Vec2& p) const {
  if (centre) return radius - (p - *centre).norm();
  std::vector<Vec2> outline = corners;
  if (corners.size() == 2)
    outline = {corners[0], {corners[1].x(), corners[0].y()}, corners[1], {corners[0].x(), corners[1].y()}};
  double nearest = 1e9;
  for (std::size_t i = 0, j = outline.size() - 1; i < outline.size(); j = i++) {
    const Vec2 side = outline[i] - outline[j];
    const double along = std::clamp((p - outline[j]).dot(side) / std::max(side.squaredNorm(), 1e-12), 0.0, 1.0);
    nearest = std::min(nearest, (p - outline[j] - along * side).norm());
  }
  return holds(p) ? nearest : -nearest;
}

Vec2 Zone::middle() const {
  if (centre) return *centre;
  Vec2 sum = Vec2::Zero();
  for (const Vec2& c : corners) sum += c;
  return corners.empty() ? sum : Vec2(sum / static_cast<double>(corners.size()));
}

Result<Setup> read_setup(const std::string& file) {
  auto toml = TomlTable::read(file, "setup");
  if (!toml) return pass_on(toml);
  Setup setup;
  setup.file = file;
  setup.title = toml->text("title");
  setup.table = table_beside(file, toml->text("table"));
  const auto spec = table::read_spec(setup.table);
  if (!spec) {
    toml->fault("table", spec.error().what);
    (void)toml->finish();
    return fail("{}", toml->finish().error().what);
  }
  const auto set = table::read_ball_set(spec->balls);
  if (!set) return pass_on(set);
  const table::Table table(*spec);
  Reader reader(table, *set, setup);
  if (auto balls = toml->maybe_table("balls"))
    reader.balls(*balls);
  else
    toml->fault("balls", "is missing, expected a table [balls]");
  if (auto shot = toml->maybe_table("shot")) reader.shot(*shot);
  if (auto goal = toml->maybe_table("goal")) reader.goal(*goal);
  if (auto done = toml->finish(); !done) return pass_on(done);
  return setup;
}

std::vector<motion::Ball> balls_of(const Setup& setup, const table::Table& table, const table::BallSet& set) {
  std::vector<motion::Ball> out;
  for (const Mark& m : setup.balls) {
    Vec2 place = m.place;
    if (m.on_spot) {
      const auto spot = table.spots().find(set.kinds[set.kind_of(m.ball).value_or(0)].home);
      if (spot != table.spots().end()) place = spot->second;
    }
    out.push_back(motion::make_ball(set, m.ball, place));
  }
  return out;
}

Result<SetupPrediction> predict_setup(const Setup& setup, const table::Table& table, const table::BallSet& set,
                                      const motion::Conditions& conditions, const Overrides& o) {
  SetupPrediction out;
  out.balls = balls_of(setup, table, set);
  if (o.places) {
    std::vector<motion::Ball> measured;
    for (const auto& [name, place] : *o.places) measured.push_back(motion::make_ball(set, name, place));
    out.balls = std::move(measured);
  }
  // Marks are written to the millimetre and places measured with an error: touching balls may come out overlapping.
  if (auto parted = motion::part(table, out.balls); !parted) return pass_on(parted);

  Shot shot = setup.shot.value_or(Shot{});
  if (!setup.shot && !o.heading) return fail("{}: has no [shot], expected one, or a heading", setup.file);
  motion::Strike& s = out.strike;
  s.right = o.right.value_or(shot.right);
  s.height = o.height.value_or(shot.height);
  s.elevation = o.elevation.value_or(shot.elevation);
  std::optional<double> speed = shot.speed, lengths = shot.lengths;
  if (o.lengths || o.speed) {
    speed = o.speed;
    lengths = o.speed ? std::nullopt : o.lengths;
  }
  if (!speed && !lengths) return fail("{}: the shot has no pace, expected speed or lengths", setup.file);
  if (speed) {
    s.speed = *speed;
  } else {
    const auto found = motion::speed_for(*lengths, table, conditions, motion::make_ball(set, "white", Vec2::Zero()));
    if (!found) return pass_on(found);
    s.speed = *found;
  }
  s.heading = shot.heading;
  if (o.heading) {
    s.heading = *o.heading;
  } else if (shot.kind == Shot::Kind::pot) {
    const auto aimed =
        motion::aim_pot(table, conditions, out.balls, s, {shot.ball, shot.pocket, shot.first, shot.bank});
    if (!aimed) return pass_on(aimed);
    out.aim = *aimed;
    s.heading = aimed->heading;
  } else if (shot.kind == Shot::Kind::onto) {
    const auto aimed = motion::aim_onto(table, conditions, out.balls, s, {shot.ball, shot.fullness, shot.on_its_left});
    if (!aimed) return pass_on(aimed);
    out.aim = *aimed;
    s.heading = aimed->heading;
  }
  auto motion = motion::simulate(table, conditions, out.balls, s);
  if (!motion) return pass_on(motion);
  out.motion = std::move(*motion);
  if (!out.aim) out.aim = motion::meeting_of(out.motion, out.balls);
  out.meant_to_pot = setup.shot && shot.kind == Shot::Kind::pot;
  if (out.meant_to_pot) {
    const BallPath* ball = out.motion.ball(shot.ball);
    out.pots = ball && ball->pocket && *ball->pocket == shot.pocket;
  }
  const std::vector<motion::GateName> gates = setup.goal ? setup.goal->gates : std::vector<motion::GateName>{};
  out.route = motion::route_of(out.motion, out.balls, table, gates);
  if (setup.goal && setup.goal->next) {
    const auto after = motion::balls_after(out.motion, out.balls);
    out.leave = motion::leave_of(after, table, setup.goal->next->ball, setup.goal->next->into);
  }
  return out;
}

}  // namespace baizetrace::practice
