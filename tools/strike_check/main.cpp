// strike_check SESSION.json TRUTH.json [SESSION.json TRUTH.json ...]: shot by shot, the strike found beside the true
// one, and whether the 95 % intervals hold it. Conditions: assumed ones with what the session read off its own motion.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>

#include "base/files.hpp"
#include "compare/strike_fit.hpp"
#include "table/table.hpp"

namespace {
using namespace baizetrace;

double median(std::vector<double> v) {
  if (v.empty()) return NAN;
  std::sort(v.begin(), v.end());
  return v[v.size() / 2];
}

std::string told(const compare::Told& t) {
  return fmt::format("{:+.3f} [{}{:+.3f} {:+.3f}{}]", t.value, t.open_low ? "<" : "", t.low, t.high,
                     t.open_high ? ">" : "");
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3 || argc % 2 == 0) {
    fmt::print(stderr, "strike_check SESSION.json TRUTH.json ...\n");
    return 2;
  }
  set_data_folder(BAIZETRACE_SOURCE);
  std::vector<double> speed, heading, right, height;
  int held = 0, asked = 0, shots = 0, fitted = 0;
  for (int i = 1; i + 1 < argc; i += 2) {
    const auto session = practice::read_session(argv[i]);
    if (!session) {
      fmt::print(stderr, "{}\n", session.error().what);
      return 1;
    }
    const auto truth = nlohmann::json::parse(std::ifstream(argv[i + 1]));
    auto spec = table::read_spec(session->rig.table);
    if (!spec) return 1;
    const auto set = table::read_ball_set(spec->balls);
    const table::Table table = table::Table(*spec).resized(session->rig.half_width, session->rig.half_length);
    const auto play = compare::session_play({}, session->conditions);
    fmt::print("{}: sliding {:.3f} ({:.3f}) rolling {:.5f} ({:.5f}) rebound at 1.5 {:.3f} ({:.3f}); true {} {} {}\n",
               argv[i], play.conditions.sliding, play.u[0], play.conditions.rolling, play.u[1],
               play.conditions.cushion_restitution_at(1.5), play.u[5], truth["physics"]["mu_slide"].dump(),
               truth["physics"]["mu_roll"].dump(), truth["physics"]["cushion_restitution_0p5_5"].dump());
    for (const practice::Attempt& a : session->attempts) {
      const nlohmann::json* real = nullptr;
      for (const auto& t : truth["attempts"])
        if (std::abs(t["strike"]["t_s"].get<double>() - a.strike_time) < 0.5) real = &t;
      if (!real) continue;
      ++shots;
      const auto& k = (*real)["strike"];
      const Vec2 v(k["v"][0].get<double>(), k["v"][1].get<double>());
      const double radius = truth["table"]["ball_radius_m"];
      const double true_right = k["tip_offset_right_m"].get<double>() / radius,
                   true_height = k["tip_offset_up_m"].get<double>() / radius;
      const auto e = compare::evidence_of(a, table, *set);
      if (!e) {
        fmt::print("  {}: {}\n", a.number, e.error().what);
        continue;
      }
      const auto f = compare::find_strike(*e, *a.strike, table, play);
      const auto& s = f.numbers.strike;
      fmt::print(
          "  {}: speed {:.3f} {:+.2f} % (u {:.2f}); heading {:+.3f} deg (u {:.3f}); right {:+.3f} -> {}; height "
          "{:+.3f} -> {}; cushions {}; misfit {:.2f}{}{}\n",
          a.number, v.norm(), 100 * (f.speed.value / v.norm() - 1), 100 * f.speed.u() / f.speed.value,
          degrees(wrap_angle(s.heading - heading_of(v))), degrees(f.heading.u()), true_right, told(f.right),
          true_height, told(f.height), f.cushions, f.misfit, f.fits ? "" : "; does not fit: ", f.why);
      fmt::print("     play by: ");
      for (std::size_t q = 0; q < compare::kPlays; ++q)
        fmt::print("{} {:+.2f} ", compare::kPlayNames[q],
                   f.numbers.play[static_cast<int>(q)] / play.u[static_cast<int>(q)]);
      fmt::print("\n");
      if (!f.fits) continue;
      ++fitted;
      speed.push_back(std::abs(f.speed.value / v.norm() - 1));
      heading.push_back(degrees(std::abs(wrap_angle(s.heading - heading_of(v)))));
      const auto ask = [&](const compare::Told& t, double value, std::vector<double>* into) {
        ++asked;
        held += value >= t.low && value <= t.high;
        if (into && t.number() && t.u() < 0.04) into->push_back(std::abs(t.value - value));
      };
      ask(f.right, true_right, &right);
      ask(f.height, true_height, &height);
      ask(f.speed, v.norm(), nullptr);
      ask({s.heading, f.heading.low, f.heading.high}, s.heading - wrap_angle(s.heading - heading_of(v)), nullptr);
    }
  }
  fmt::print(
      "{} shots, {} explained; medians: speed {:.2f} %, heading {:.3f} deg, right {:.3f} R over the {} told within "
      "0.04 R, height {:.3f} R over {}; {} of {} intervals hold\n",
      shots, fitted, 100 * median(speed), median(heading), median(right), right.size(), median(height), height.size(),
      held, asked);
  return 0;
}
