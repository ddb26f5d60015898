#include "truth_check/figures.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <set>

namespace baizetrace::truth_check {
namespace {

constexpr double kSameAttempt = 1.0;    // s: strike times nearer than this are the same attempt
constexpr double kSameContact = 0.25;   // s
constexpr double kMostlyHidden = 0.5;   // visible share below this around a contact: it had to be inferred
constexpr double kHiddenWindow = 0.12;  // s
constexpr double kRowNear = 0.012;      // s: a frame has its row when one is this near
constexpr double kMovesBy = 1e-4;       // m between frames: slower is not moving
constexpr double kSeen = 0.3;           // visible share below which a frame owes no row
constexpr double kLostBall = 0.05;      // m: farther than this a red is another red
constexpr double kFreeRun = 0.2;        // s
constexpr double kMedianU = 0.0008;     // m, at 2.3 mm a pixel or finer

bool is_red(const std::string& ball) { return ball.rfind("red", 0) == 0; }
std::string name_of(ContactKind k, const std::string& with) {
  return std::string(word_of(k)) + ":" + (is_red(with) ? std::string("red") : with);
}

// Balls at rest: reds are alike, the nearest counts.
void compare_rest(const std::map<std::string, Place>& measured, const std::map<std::string, Vec2>& truth,
                  const std::string& when, Figures& f) {
  std::set<std::string> used;
  for (const auto& [ball, at] : truth) {
    const Place* found = nullptr;
    std::string found_name;
    if (!is_red(ball)) {
      if (const auto it = measured.find(ball); it != measured.end()) found = &it->second, found_name = ball;
    } else {
      double best = kLostBall;
      for (const auto& [name, place] : measured)
        if (is_red(name) && !used.count(name) && (place.at - at).norm() < best)
          best = (place.at - at).norm(), found = &place, found_name = name;
    }
    if (!found) {
      f.wrong.push_back(when + ": " + ball + " is missing");
      continue;
    }
    used.insert(found_name);
    const Vec2 error = found->at - at;
    f.rest.push_back(error.norm());
    if (ball == "white" && when.ends_with("after")) f.white_rest.push_back(error.norm());
    for (int i = 0; i < 2; ++i)
      if (found->u[i] > 0) {
        f.rest_over_u.push_back(error[i] / found->u[i]);
        f.u_rest.push_back(found->u[i]);
        f.u_rest_of_bar.push_back(found->u[i] / (kMedianU * f.rest_bar_scale));
      }
  }
  for (const auto& [name, place] : measured)
    if (!used.count(name)) f.wrong.push_back(fmt::format("{}: {} is not there", when, name));
}

void compare_path(const BallPath& white, const Truth& truth, const TruthAttempt& ta, Figures& f) {
  for (const PathRow& r : white.rows)
    if (const auto at = truth.at("white", r.time)) f.path.push_back((r.at - *at).norm());
  const auto it = truth.samples.find("white");
  if (it == truth.samples.end()) return;
  std::vector<double> have;
  for (const PathRow& r : white.rows) have.push_back(r.time);
  std::sort(have.begin(), have.end());
  const TruthSample* before = nullptr;
  for (const TruthSample& s : it->second) {
    if (!s.from_frame || s.state > 1) continue;
    if (before && before->time > ta.strike_time && before->time < ta.all_rest_time &&
        (s.at - before->at).norm() > kMovesBy && truth.seen_within("white", before->time, kHiddenWindow) >= kSeen) {
      ++f.frames_due;
      const auto near = std::lower_bound(have.begin(), have.end(), before->time - kRowNear);
      f.frames_had += near != have.end() && *near < before->time + kRowNear;
    }
    before = &s;
  }
}

void compare_contacts(const BallPath& white, const Truth& truth, const TruthAttempt& ta, const std::string& which,
                      Figures& f) {
  static const std::vector<TruthContact> kNone;
  const auto it = ta.contacts.find("white");
  const auto& due = it == ta.contacts.end() ? kNone : it->second;
  std::string order_true, order_measured;
  for (const TruthContact& c : due) order_true += " " + name_of(c.kind, c.with);
  for (const Contact& c : white.contacts) order_measured += " " + name_of(c.kind, c.with);
  if (order_true != order_measured)
    f.wrong.push_back(fmt::format("{}: contacts true{} measured{}", which, order_true, order_measured));

  std::vector<bool> used(white.contacts.size(), false);
  double run_from = ta.strike_time;
  for (const TruthContact& c : due) {
    const double run = c.time - run_from;
    run_from = c.time;
    const Contact* found = nullptr;
    std::size_t which_one = 0;
    for (std::size_t i = 0; i < white.contacts.size(); ++i) {
      const Contact& m = white.contacts[i];
      if (used[i] || name_of(m.kind, m.with) != name_of(c.kind, c.with) || std::abs(m.time - c.time) > kSameContact)
        continue;
      if (!found || std::abs(m.time - c.time) < std::abs(found->time - c.time)) found = &m, which_one = i;
    }
    if (!found || c.kind == ContactKind::pocket) continue;
    used[which_one] = true;
    if (truth.seen_within("white", c.time, kHiddenWindow) < kMostlyHidden) continue;
    double bar_time = 0.003, bar_place = 0.005;
    if (c.kind == ContactKind::cushion) {
      const bool side = c.with == "left" || c.with == "right";
      const double normal = std::abs(side ? c.velocity_in.x() : c.velocity_in.y());
      const double along = std::abs(side ? c.velocity_in.y() : c.velocity_in.x());
      bar_time = std::max(bar_time, 0.001 / normal);
      bar_place = std::max(bar_place, 0.001 * along / normal);
    }
    const double dt = found->time - c.time, dp = (found->at - c.at).norm();
    ++f.contacts_matched;
    const bool within = std::abs(dt) <= bar_time && dp <= bar_place;
    f.contacts_within += within;
    if (!within)
      f.wrong.push_back(fmt::format("{}: {} off by {:.1f} ms, {:.1f} mm (bar {:.1f} ms, {:.1f} mm)", which,
                                    name_of(c.kind, c.with), 1e3 * dt, 1e3 * dp, 1e3 * bar_time, 1e3 * bar_place));
    if (c.kind == ContactKind::jaw) continue;
    f.contact_place.push_back(dp);
    f.contact_time.push_back(dt);
    if (found->u_time > 0) f.time_over_u.push_back(dt / found->u_time);
    for (int i = 0; i < 2; ++i)
      if (found->u[i] > 0) f.place_over_u.push_back((found->at[i] - c.at[i]) / found->u[i]);
    const double speed = c.velocity_in.norm();
    if (run >= kFreeRun && speed > 0.15) {
      const double turn = wrap_angle(found->heading_in - heading_of(c.velocity_in));
      f.speed_in.push_back(found->speed_in / speed - 1);
      f.heading_in.push_back(turn);
      f.speed_in_of_bar.push_back(std::abs(found->speed_in - speed) / std::max(0.01 * speed, 0.005));
      f.heading_in_of_bar.push_back(std::abs(turn) / std::max(radians(0.3), 0.001 / (speed * run)));
    }
  }
}

// Gates that the truth implies: the cue ball's centre crosses between two resting balls less than 0.75 m apart with no
// other ball standing between them.
struct TrueGate {
  std::string a, b;
  double time, clearance;
};
std::vector<TrueGate> true_gates(const Truth& truth, const TruthAttempt& ta) {
  constexpr double kWidest = 0.75;
  std::vector<std::pair<std::string, Vec2>> still;
  for (const auto& [ball, at] : ta.start)
    if (!ta.contacts.count(ball) && ball != "white" && !is_red(ball)) still.emplace_back(ball, at);
  std::vector<TrueGate> out;
  const auto it = truth.samples.find("white");
  if (it == truth.samples.end()) return out;
  for (std::size_t i = 0; i < still.size(); ++i)
    for (std::size_t j = i + 1; j < still.size(); ++j) {
      const Vec2 a = still[i].second, ab = still[j].second - a;
      const double length = ab.norm();
      if (length > kWidest) continue;
      const bool blocked = std::any_of(ta.start.begin(), ta.start.end(), [&](const auto& s) {
        if (s.first == still[i].first || s.first == still[j].first || ta.contacts.count(s.first)) return false;
        const double along = (s.second - a).dot(ab) / (length * length);
        return along > 0 && along < 1 && std::abs(cross(ab, s.second - a)) / length < 3 * truth.radius;
      });
      if (blocked) continue;
      const TruthSample* before = nullptr;
      for (const TruthSample& s : it->second) {
        if (s.time < ta.strike_time || s.time > ta.all_rest_time || s.state > 1) continue;
        if (before) {
          const double s0 = cross(ab, before->at - a), s1 = cross(ab, s.at - a);
          if (s0 * s1 < 0) {
            const double f = s0 / (s0 - s1);
            const Vec2 x = before->at + f * (s.at - before->at);
            const double da = (x - a).norm(), db = (x - still[j].second).norm();
            if (std::max(da, db) < length)
              out.push_back({still[i].first, still[j].first, before->time + f * (s.time - before->time),
                             std::min(da, db) - 2 * truth.radius});
          }
        }
        before = &s;
      }
    }
  return out;
}

void compare_gates(const practice::Attempt& a, const Truth& truth, const TruthAttempt& ta, const std::string& which,
                   Figures& f) {
  std::vector<const practice::GatePassed*> left;
  for (const auto& g : a.gates) left.push_back(&g);
  for (const TrueGate& g : true_gates(truth, ta)) {
    const auto same = std::find_if(left.begin(), left.end(), [&](const practice::GatePassed* m) {
      return std::minmax(m->a, m->b) == std::minmax(g.a, g.b) && std::abs(m->time - g.time) < 0.1;
    });
    if (same == left.end()) {
      f.wrong.push_back(fmt::format("{}: gate {}-{} at {:.2f} s was missed", which, g.a, g.b, g.time));
    } else {
      f.gate_clearance.push_back((*same)->clearance - g.clearance);
      left.erase(same);
    }
  }
  for (const auto* m : left)
    if (ta.start.count(m->a) && ta.start.count(m->b) && !ta.contacts.count(m->a) && !ta.contacts.count(m->b) &&
        !is_red(m->a) && !is_red(m->b) && (ta.start.at(m->a) - ta.start.at(m->b)).norm() <= 0.75)
      f.wrong.push_back(fmt::format("{}: gate {}-{} at {:.2f} s was invented", which, m->a, m->b, m->time));
}

void compare_outcome(const practice::Attempt& a, const Truth& truth, const TruthAttempt& ta, const std::string& which,
                     Figures& f) {
  std::multiset<std::string> due, had;
  for (const auto& [ball, pocket] : ta.potted)
    if (ball != "white") due.insert((is_red(ball) ? "red" : ball) + "->" + pocket);
  for (const auto& p : a.potted) had.insert((is_red(p.ball) ? "red" : p.ball) + "->" + p.pocket);
  if (due != had) f.wrong.push_back(fmt::format("{}: potted {} true, {} measured", which, due.size(), had.size()));
  if (a.in_off.has_value() != ta.in_off) f.wrong.push_back(which + ": in-off wrong");
  for (const auto& p : a.nearest_pockets)
    if (const auto it = ta.pocket_pass.find(p.pocket); it != ta.pocket_pass.end())
      f.nearest_pocket.push_back(p.distance - it->second);
  for (const auto& [ball, error] : a.placing_error)
    if (truth.marks.count(ball) && ta.start.count(ball))
      f.placing.push_back((error - (ta.start.at(ball) - truth.marks.at(ball))).norm());
  if (a.strike) {
    f.strike_speed.push_back(a.strike->speed / ta.strike_speed - 1);
    f.strike_heading.push_back(wrap_angle(a.strike->heading - ta.strike_heading));
    if (a.strike->right) f.strike_right.push_back(*a.strike->right - ta.strike_right);
    if (a.strike->height) f.strike_height.push_back(*a.strike->height - ta.strike_height);
  }
  if (a.score) {
    const auto& want = truth.intended_cushions;
    const bool cushions =
        ta.cushions.size() >= want.size() && std::equal(want.begin(), want.end(), ta.cushions.begin());
    for (const auto& p : a.score->parts) {
      const bool known = p.what == "pot" || p.what == "zone" || p.what == "cushions";
      const bool is = p.what == "pot" ? ta.pot_made : p.what == "zone" ? ta.in_zone : cushions;
      if (known && p.met != is) f.wrong.push_back(which + ": score part " + p.what + " is wrong");
    }
  }
}

}  // namespace

double rms(const std::vector<double>& v) {
  double sum = 0;
  for (double x : v) sum += x * x;
  return v.empty() ? std::numeric_limits<double>::quiet_NaN() : std::sqrt(sum / static_cast<double>(v.size()));
}

double quantile(std::vector<double> v, double p) {
  if (v.empty()) return std::numeric_limits<double>::quiet_NaN();
  for (double& x : v) x = std::abs(x);
  std::sort(v.begin(), v.end());
  const double k = p * static_cast<double>(v.size() - 1);
  const auto i = static_cast<std::size_t>(k);
  const auto j = std::min(i + 1, v.size() - 1);
  return v[i] + (k - static_cast<double>(i)) * (v[j] - v[i]);
}

double share_within(const std::vector<double>& v, double limit) {
  if (v.empty()) return std::numeric_limits<double>::quiet_NaN();
  const auto n = std::count_if(v.begin(), v.end(), [&](double x) { return std::abs(x) <= limit; });
  return static_cast<double>(n) / static_cast<double>(v.size());
}

void Figures::pool(const Figures& o) {
  attempts_true += o.attempts_true;
  attempts_found += o.attempts_found;
  attempts_invented += o.attempts_invented;
  frames_due += o.frames_due;
  frames_had += o.frames_had;
  contacts_within += o.contacts_within;
  contacts_matched += o.contacts_matched;
  const auto join = [](auto& to, const auto& from) { to.insert(to.end(), from.begin(), from.end()); };
  join(rest, o.rest), join(white_rest, o.white_rest), join(path, o.path), join(contact_place, o.contact_place);
  join(contact_time, o.contact_time), join(speed_in, o.speed_in), join(heading_in, o.heading_in);
  join(speed_in_of_bar, o.speed_in_of_bar), join(heading_in_of_bar, o.heading_in_of_bar);
  join(nearest_pocket, o.nearest_pocket), join(gate_clearance, o.gate_clearance), join(placing, o.placing);
  join(strike_speed, o.strike_speed), join(strike_heading, o.strike_heading);
  join(strike_right, o.strike_right), join(strike_height, o.strike_height);
  join(rest_over_u, o.rest_over_u), join(time_over_u, o.time_over_u), join(place_over_u, o.place_over_u);
  join(u_rest, o.u_rest), join(u_rest_of_bar, o.u_rest_of_bar), join(wrong, o.wrong);
  rest_bar_scale = std::max(rest_bar_scale, o.rest_bar_scale);
  hard_view = hard_view || o.hard_view;
}

Figures compare(const practice::Session& session, const Truth& truth) {
  Figures f;
  f.rest_bar_scale = std::max(1.0, truth.mm_per_pixel / 2.3);
  f.hard_view = truth.hard_view;
  f.attempts_true = static_cast<int>(truth.attempts.size());
  std::vector<bool> used(session.attempts.size(), false);
  for (std::size_t k = 0; k < truth.attempts.size(); ++k) {
    const TruthAttempt& ta = truth.attempts[k];
    const std::string which = fmt::format("attempt {}", k + 1);
    const practice::Attempt* a = nullptr;
    std::size_t index = 0;
    for (std::size_t i = 0; i < session.attempts.size(); ++i) {
      const double off = std::abs(session.attempts[i].strike_time - ta.strike_time);
      if (!used[i] && off < kSameAttempt && (!a || off < std::abs(a->strike_time - ta.strike_time)))
        a = &session.attempts[i], index = i;
    }
    if (!a) {
      f.wrong.push_back(which + " was not found");
      continue;
    }
    used[index] = true;
    ++f.attempts_found;
    compare_rest(a->before, ta.start, which + " before", f);
    compare_rest(a->after, ta.final, which + " after", f);
    compare_gates(*a, truth, ta, which, f);
    compare_outcome(*a, truth, ta, which, f);
    const auto white = a->balls.find("white");
    if (white == a->balls.end()) {
      f.wrong.push_back(which + ": the white has no path");
      continue;
    }
    compare_path(white->second, truth, ta, f);
    compare_contacts(white->second, truth, ta, which, f);
  }
  f.attempts_invented = static_cast<int>(session.attempts.size()) - f.attempts_found;
  return f;
}

std::string table_of(const std::string& title, const Figures& f) {
  std::string out = fmt::format("{}\n", title);
  const auto row = [&](const std::string& what, const std::string& bar, const std::string& measured, int met) {
    out += fmt::format("  {:<44}{:>16}{:>26}  {}\n", what, bar, measured, met < 0 ? "" : met ? "met" : "MISSED");
  };
  const auto mm = [](double v) { return std::isnan(v) ? std::string("-") : fmt::format("{:.2f} mm", 1e3 * v); };
  const auto within = [](double v, double bar) { return std::isnan(v) ? -1 : v <= bar ? 1 : 0; };
  const double rest_bar = (f.hard_view ? 0.0015 : 0.001) * f.rest_bar_scale, worst_bar = 0.003 * f.rest_bar_scale;
  row("ball at rest, RMS", mm(rest_bar), mm(rms(f.rest)), within(rms(f.rest), rest_bar));
  row("ball at rest, worst", mm(worst_bar), mm(quantile(f.rest, 1)), within(quantile(f.rest, 1), worst_bar));
  row("white's rest, worst", "", mm(quantile(f.white_rest, 1)), -1);
  row("moving cue ball, RMS", mm(0.003 * f.rest_bar_scale), mm(rms(f.path)),
      within(rms(f.path), 0.003 * f.rest_bar_scale));
  if (f.frames_due > 0) {
    const double share = static_cast<double>(f.frames_had) / f.frames_due;
    row("frames of the moving cue ball with a row", "98 %", fmt::format("{:.1f} % of {}", 100 * share, f.frames_due),
        share >= 0.98);
  }
  if (f.contacts_matched > 0)
    row("contacts within max(5 mm ..), max(3 ms ..)", "19 of 20",
        fmt::format("{} of {}", f.contacts_within, f.contacts_matched), f.contacts_within >= 0.95 * f.contacts_matched);
  row("contact's place, 95 %", "", mm(quantile(f.contact_place, 0.95)), -1);
  if (!f.contact_time.empty())
    row("contact's time, 95 %", "", fmt::format("{:.2f} ms", 1e3 * quantile(f.contact_time, 0.95)), -1);
  row("attempts found, invented", "all, none",
      fmt::format("{} of {}, {}", f.attempts_found, f.attempts_true, f.attempts_invented),
      f.attempts_found == f.attempts_true && f.attempts_invented == 0);
  row("gate clearance, worst", mm(0.003), mm(quantile(f.gate_clearance, 1)),
      within(quantile(f.gate_clearance, 1), 0.003));
  row("nearest pocket, worst", mm(0.003), mm(quantile(f.nearest_pocket, 1)),
      within(quantile(f.nearest_pocket, 1), 0.003));
  row("placing error, RMS", mm(0.0015), mm(rms(f.placing)), within(rms(f.placing), 0.0015));
  if (!f.speed_in.empty()) {
    row("speed at a contact, 95 %, of its bar", "1.0",
        fmt::format("{:.2f} ({:.2f} %)", quantile(f.speed_in_of_bar, 0.95), 100 * quantile(f.speed_in, 0.95)),
        within(quantile(f.speed_in_of_bar, 0.95), 1));
    row("heading at a contact, 95 %, of its bar", "1.0",
        fmt::format("{:.2f} ({:.2f} deg)", quantile(f.heading_in_of_bar, 0.95), degrees(quantile(f.heading_in, 0.95))),
        within(quantile(f.heading_in_of_bar, 0.95), 1));
  }
  const auto cover = [&](const std::string& what, const std::vector<double>& v) {
    if (v.empty()) return;
    const double share = share_within(v, 1.96);
    row("95 % interval of " + what + " holds", "90-98 %", fmt::format("{:.1f} % of {}", 100 * share, v.size()),
        v.size() < 200 ? -1 : share >= 0.90 && share <= 0.98);
  };
  cover("places at rest", f.rest_over_u);
  cover("contact's place", f.place_over_u);
  cover("contact's time", f.time_over_u);
  if (!f.u_rest.empty())
    row("stated u at rest, median, of its bar", "1.0",
        fmt::format("{:.2f} ({})", quantile(f.u_rest_of_bar, 0.5), mm(quantile(f.u_rest, 0.5))),
        within(quantile(f.u_rest_of_bar, 0.5), 1));
  if (!f.strike_speed.empty())
    row("strike: speed, heading, median", "3 %",
        fmt::format("{:.2f} %, {:.2f} deg", 100 * quantile(f.strike_speed, 0.5),
                    degrees(quantile(f.strike_heading, 0.5))),
        -1);
  for (const std::string& w : f.wrong) out += "  ! " + w + "\n";
  return out;
}

}  // namespace baizetrace::truth_check
