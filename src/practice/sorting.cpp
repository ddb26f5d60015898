#include "practice/sorting.hpp"

#include <algorithm>
#include <cmath>

#include "practice/pot.hpp"
#include "practice/statistics.hpp"
#include "practice/wording.hpp"

namespace baizetrace::practice {
namespace {

using Marks = std::map<std::string, Vec2>;

constexpr double kUntouched = 0.012;     // m: nearer to where it stopped, nobody has moved it (places are good to 3 mm)
constexpr double kHardlyRan = 0.15;      // m: a white that ran less and touched nothing was touched, not played
constexpr double kNudge = 0.003;         // m: balls put back with care lie so near
constexpr double kSurely = 2;            // standard uncertainties; the camera's share in them is nearly the same twice
constexpr std::size_t kFewestStill = 3;  // balls, to tell one that was moved from a camera that was
constexpr double kRolledBack = 0.25;     // m from its mark: a white that comes to lie there untouched was sent back

std::string kind_name(const std::string& ball) { return ball.substr(0, ball.find('-')); }

// The ball of that kind that stands nearest to a mark.
std::optional<std::pair<std::string, double>> nearest(const std::map<std::string, Place>& balls,
                                                      const std::string& mark, const Vec2& at) {
  std::optional<std::pair<std::string, double>> best;
  for (const auto& [name, place] : balls) {
    if (kind_name(name) != kind_name(mark)) continue;
    const double d = (place.at - at).norm();
    if (!best || d < best->second) best = std::pair(name, d);
  }
  return best;
}

struct Fits {
  bool objects = false;      // the ball played at and at least half of the others stand on their marks
  bool all_objects = false;  // every one of them
  double white_off = 1e9;    // m
  [[nodiscard]] bool whole() const { return objects && white_off < kOnMark; }
};

Fits fits(const Attempt& a, const Marks& marks, const std::string& key) {
  Fits out;
  int objects = 0, on_mark = 0;
  bool key_there = key.empty();
  for (const auto& [ball, at] : marks) {
    if (ball == "white") {
      if (const auto w = a.before.find("white"); w != a.before.end()) out.white_off = (w->second.at - at).norm();
      continue;
    }
    ++objects;
    const auto n = nearest(a.before, ball, at);
    if (!n || n->second > kOnMark) continue;
    ++on_mark;
    key_there = key_there || ball == key;
  }
  out.objects = key_there && 2 * on_mark >= objects;
  out.all_objects = on_mark == objects;
  return out;
}

std::string first_ball_hit(const Attempt& a) {
  const auto white = a.balls.find("white");
  if (white == a.balls.end()) return {};
  for (const Contact& c : white->second.contacts)
    if (c.kind == ContactKind::ball) return c.with;
  return {};
}

std::string key_of(const Setup& s) {
  if (!s.shot) return {};
  return s.shot->first.empty() ? s.shot->ball : s.shot->first;
}

double run_of(const Attempt& a) {
  double run = 0;
  if (const auto w = a.balls.find("white"); w != a.balls.end())
    for (std::size_t i = 0; i + 1 < w->second.rows.size(); ++i)
      run += (w->second.rows[i + 1].at - w->second.rows[i].at).norm();
  return run;
}

bool touched_nothing(const Attempt& a) {
  const auto w = a.balls.find("white");
  return w == a.balls.end() || w->second.contacts.empty();
}

Marks places_of(const Attempt& a) {
  Marks m;
  for (const auto& [ball, place] : a.before) m[ball] = place.at;
  return m;
}

// What lies between the end of one shot and the start of the next.
struct Between {
  bool white_untouched = false;  // it lies where it stopped
  bool objects_left = true;      // all others lie where that shot left them
  bool objects_back = true;      // all others lie where they lay before that shot
};
Between between(const Attempt& last, const Attempt& now) {
  Between b;
  b.objects_left = std::any_of(now.before.begin(), now.before.end(), [](const auto& p) { return p.first != "white"; });
  const auto here = now.before.find("white");
  if (const auto stopped = last.after.find("white"); stopped != last.after.end() && here != now.before.end())
    b.white_untouched = (stopped->second.at - here->second.at).norm() < kUntouched;
  for (const auto& [ball, place] : now.before) {
    if (ball == "white") continue;
    const auto left = nearest(last.after, ball, place.at), lay = nearest(last.before, ball, place.at);
    b.objects_left = b.objects_left && left && left->second < kUntouched;
    b.objects_back = b.objects_back && lay && lay->second < kOnMark;
  }
  for (const auto& [ball, place] : last.before)
    if (ball != "white") {
      const auto n = nearest(now.before, ball, place.at);
      b.objects_back = b.objects_back && n && n->second < kOnMark;
    }
  return b;
}

// Balls that the last shot left where they were and that lie elsewhere now: moved by hand, on purpose or not. What all
// of them seem to have moved by alike is the camera's.
std::vector<std::pair<std::string, double>> moved_by_hand(const Attempt& last, const Attempt& now) {
  struct Seen {
    std::string ball;
    Vec2 by, u;
  };
  std::vector<Seen> all;
  std::vector<double> x, y;
  for (const auto& [ball, place] : now.before) {
    if (ball == "white" || last.balls.contains(ball)) continue;
    const auto lay = last.before.find(ball);
    if (lay == last.before.end()) continue;
    const Vec2 by = place.at - lay->second.at;
    all.push_back({ball, by, (place.u.array().square() + lay->second.u.array().square()).sqrt().matrix()});
    x.push_back(by.x()), y.push_back(by.y());
  }
  std::vector<std::pair<std::string, double>> out;
  if (all.size() < kFewestStill) return out;
  const Vec2 common(median(x), median(y));
  for (const Seen& s : all) {
    const Vec2 by = s.by - common;
    if (by.norm() > std::max(kNudge, kSurely * s.u.norm()) && by.norm() < kOnMark) out.emplace_back(s.ball, by.norm());
  }
  return out;
}

// One group as it grows.
struct Growing {
  Group group;
  std::string key;  // the ball it is played at
  int setup = -1;
};

void describe(Growing& g, const Setup& setup, const table::Table& table, const table::BallSet& set) {
  g.group.setup = {setup.file, setup.title};
  for (const motion::Ball& b : balls_of(setup, table, set))
    if (const auto it = g.group.marks.find(b.name); it != g.group.marks.end())
      g.group.off_setup[b.name] = it->second - b.place;
  if (const auto w = g.group.off_setup.find("white"); w != g.group.off_setup.end() && w->second.norm() > kOnMark)
    g.group.note = fmt::format("the white's mark is {:.0f} cm off the setup's", 100 * w->second.norm());
}

}  // namespace

void name_after_marks(Attempt& a, const Marks& marks, const table::BallSet& set) {
  std::map<std::string, std::string> renamed;
  for (const table::BallKind& kind : set.kinds) {
    if (kind.count == 1) continue;
    std::vector<std::string> there, wanted;
    for (const auto& [ball, place] : a.before)
      if (kind_name(ball) == kind.name) there.push_back(ball);
    for (const auto& [ball, at] : marks)
      if (kind_name(ball) == kind.name) wanted.push_back(ball);
    std::vector<std::string> free = there;
    // Nearest pairs first: marks lie a ball's width apart or more, placings are off by millimetres.
    struct Pair {
      double d;
      std::string ball, mark;
    };
    std::vector<Pair> pairs;
    for (const std::string& b : there)
      for (const std::string& m : wanted) pairs.push_back({(a.before[b].at - marks.at(m)).norm(), b, m});
    std::sort(pairs.begin(), pairs.end(), [](const Pair& x, const Pair& y) { return x.d < y.d; });
    std::vector<std::string> used;
    for (const Pair& p : pairs) {
      if (p.d > kOnMark || renamed.contains(p.ball) || std::find(used.begin(), used.end(), p.mark) != used.end())
        continue;
      renamed[p.ball] = p.mark;
      used.push_back(p.mark);
    }
    int number = 1;
    for (const std::string& b : there) {
      if (renamed.contains(b)) continue;
      const auto taken = [&](const std::string& n) {
        return std::find(used.begin(), used.end(), n) != used.end() || marks.contains(n);
      };
      std::string name = b;
      while (taken(name)) name = fmt::format("{}-{}", kind.name, number++);
      renamed[b] = name;
      used.push_back(name);
    }
  }
  if (std::all_of(renamed.begin(), renamed.end(), [](const auto& r) { return r.first == r.second; })) return;
  const auto now = [&](const std::string& ball) {
    const auto it = renamed.find(ball);
    return it == renamed.end() ? ball : it->second;
  };
  const auto rename = [&](auto& map) {
    std::remove_reference_t<decltype(map)> out;
    for (auto& [ball, value] : map) out[now(ball)] = std::move(value);
    map = std::move(out);
  };
  rename(a.before);
  rename(a.after);
  rename(a.balls);
  for (auto& [ball, path] : a.balls) {
    path.ball = ball;
    for (Contact& c : path.contacts)
      if (c.kind == ContactKind::ball) c.with = now(c.with);
  }
  for (Potted& p : a.potted) p.ball = now(p.ball);
  for (GatePassed& g : a.gates) g.a = now(g.a), g.b = now(g.b);
}

Sorted sort_shots(std::vector<Attempt> shots, std::span<const Setup> setups, const table::Table& table,
                  const table::BallSet& set) {
  Sorted out;
  std::vector<Growing> groups;
  std::vector<Marks> setup_marks;
  for (const Setup& s : setups) {
    Marks m;
    for (const motion::Ball& b : balls_of(s, table, set)) m[b.name] = b.place;
    setup_marks.push_back(std::move(m));
  }
  const Attempt* last = nullptr;       // the shot before
  std::optional<std::size_t> follows;  // attempt that a follow-on would belong to
  const auto note = [&](const Attempt& a, const std::string& why) {
    out.notes.push_back({a.strike_time, "not an attempt: " + why, a.clip});
  };
  for (std::size_t i = 0; i < shots.size(); ++i) {
    Attempt& a = shots[i];
    if (touched_nothing(a) && a.ended == Ended::rest && run_of(a) < kHardlyRan) {
      note(a, "the white was touched");
      continue;
    }
    // The groups there are, then the setups: the one whose white's mark is nearest.
    Growing* home = nullptr;
    double best = kOnMark;
    for (Growing& g : groups)
      if (const Fits f = fits(a, g.group.marks, g.key); f.whole() && f.white_off < best) best = f.white_off, home = &g;
    int setup = -1;
    if (!home)
      for (std::size_t k = 0; k < setups.size(); ++k)
        if (const Fits f = fits(a, setup_marks[k], key_of(setups[k])); f.whole() && f.white_off < best)
          best = f.white_off, setup = static_cast<int>(k);
    if (!home && setup < 0 && last) {
      const Between b = between(*last, a);
      const bool from_where_it_stopped = b.white_untouched;
      const bool ball_in_hand = !b.white_untouched && b.objects_left && !b.objects_back;
      if (from_where_it_stopped || ball_in_hand) {
        const bool sent_back = touched_nothing(a) && std::any_of(groups.begin(), groups.end(), [&](const Growing& g) {
                                 const auto mark = g.group.marks.find("white");
                                 const auto lies = a.after.find("white");
                                 return mark != g.group.marks.end() && lies != a.after.end() &&
                                        (lies->second.at - mark->second).norm() < kRolledBack;
                               });
        if (sent_back) {
          note(a, "the white was sent back to its mark");
        } else if (follows && !out.attempts[*follows].follow_on) {
          FollowOn f;
          f.time = a.strike_time;
          f.potted = a.potted;
          f.unseen = gone_of(a);
          // Cut off or taken on its way: it may fall yet.
          if (a.ended != Ended::rest)
            for (const auto& [ball, path] : a.balls)
              if (ball != "white" && !path.rest && !path.pocket &&
                  std::find(f.unseen.begin(), f.unseen.end(), ball) == f.unseen.end())
                f.unseen.push_back(ball);
          const int of = out.setup_of_group[static_cast<std::size_t>(out.attempts[*follows].group - 1)];
          if (of >= 0 && setups[static_cast<std::size_t>(of)].goal && setups[static_cast<std::size_t>(of)].goal->next) {
            const std::string& next = setups[static_cast<std::size_t>(of)].goal->next->ball;
            f.next_potted = next_potted(f, next);
          }
          out.attempts[*follows].follow_on = std::move(f);
        } else {
          note(a, "played on from where the balls lay");
        }
        last = &a;
        continue;
      }
    }
    if (!home) {
      Growing g;
      g.group.number = static_cast<int>(groups.size()) + 1;
      g.group.marks = places_of(a);
      g.setup = setup;
      // The white's mark was moved, the other balls stand where the setup wants them: still that shot.
      if (setup < 0)
        for (std::size_t k = 0; k < setups.size() && g.setup < 0; ++k)
          if (setup_marks[k].size() > 1 && !key_of(setups[k]).empty() &&
              fits(a, setup_marks[k], key_of(setups[k])).all_objects)
            g.setup = static_cast<int>(k);
      if (g.setup >= 0) {
        const auto which = static_cast<std::size_t>(g.setup);
        name_after_marks(a, setup_marks[which], set);
        g.group.marks = places_of(a);
        g.key = key_of(setups[which]);
        describe(g, setups[which], table, set);
      } else {
        g.key = first_ball_hit(a);
        if (!setups.empty()) g.group.note = "no setup that was given has its balls here";
      }
      groups.push_back(std::move(g));
      out.setup_of_group.push_back(groups.back().setup);
      home = &groups.back();
    } else {
      name_after_marks(a, home->group.marks, set);
    }
    if (last && last->clip == a.clip)
      for (const auto& [ball, by] : moved_by_hand(*last, a))
        out.notes.push_back(
            {a.strike_time,
             fmt::format("the {} was moved {:.0f} mm by hand before this attempt", ball_name(ball), 1000 * by),
             a.clip});
    a.group = home->group.number;
    a.number = static_cast<int>(out.attempts.size()) + 1;
    a.off_group.clear();
    for (const auto& [ball, at] : home->group.marks)
      if (const auto it = a.before.find(ball); it != a.before.end()) a.off_group[ball] = it->second.at - at;
    out.attempts.push_back(a);
    out.shot_of.push_back(i);
    follows = out.attempts.size() - 1;
    last = &a;
  }
  for (Growing& g : groups) out.groups.push_back(std::move(g.group));
  return out;
}

std::string setup_toml(const Group& group, const std::string& title, const table::Table& table,
                       const std::string& table_name, const table::BallSet& set) {
  const auto quoted = [](const std::string& words) {
    std::string out;
    for (const char c : words) {
      if (c == '"' || c == '\\') out += '\\';
      out += static_cast<unsigned char>(c) < 0x20 ? ' ' : c;
    }
    return out;
  };
  std::vector<motion::Ball> balls;
  for (const auto& [ball, at] : group.marks)
    if (set.kind_of(ball)) balls.push_back(motion::make_ball(set, ball, at));
  std::vector<motion::Ball> apart = balls;
  if (motion::part(table, apart)) balls = std::move(apart);  // balls that touch were measured to a millimetre
  std::string out = "# The balls as they stood at the first attempt of this group. Add [shot] and [goal] to have\n";
  out += "# attempts judged; the samples show how.\n";
  out += fmt::format("format = \"baizetrace/setup-1\"\ntitle  = \"{}\"\ntable  = \"{}\"\n\n[balls]\n", quoted(title),
                     quoted(table_name));
  std::stable_sort(balls.begin(), balls.end(),
                   [](const motion::Ball& x, const motion::Ball& y) { return x.name == "white" && y.name != "white"; });
  const std::string& cue = set.kinds[0].name;
  if (std::none_of(balls.begin(), balls.end(), [&](const motion::Ball& b) { return b.name == cue; }))
    out += fmt::format("# The {} lay out of sight: put in where, {} = [x, y].\n", cue, cue);
  for (const motion::Ball& b : balls) out += fmt::format("{} = [{:.4f}, {:.4f}]\n", b.name, b.place.x(), b.place.y());
  return out;
}

}  // namespace baizetrace::practice
