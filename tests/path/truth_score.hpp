// Reconstructs a clip from looks made of its truth, and compares with that truth. The figures are DESIGN.md's.
#pragma once

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "path/reconstruct.hpp"
#include "support/truth_looks.hpp"

namespace baizetrace::path {

struct ContactError {
  double time = 0, place = 0;                    // s, m
  double time_bar = 0, place_bar = 0;            // DESIGN.md, section 9
  double in_u_time = 0, in_u_x = 0, in_u_y = 0;  // errors in stated standard uncertainties
  double speed = 0, speed_bar = 0, in_u_speed = 0;
  double heading = 0, heading_bar = 0, in_u_heading = 0;  // radians
  bool free_run = false;                                  // arrived after 0.2 s of free motion: speed and heading count
};

struct TruthScore {
  int attempts = 0, found = 0, invented = 0;
  std::vector<std::string> wrong;      // orders of contacts, pots, in-offs that are not the truth's
  std::vector<ContactError> contacts;  // cue ball, cushions and balls
  std::vector<double> path_errors;     // m, at the rows
  int rows_due = 0, rows_got = 0;
  std::vector<double> rest_errors, rest_in_u;  // m; both coordinates in stated u
  double slowest = 0;                          // s, reconstruct of one episode
};

inline std::string plain(const std::string& name) { return name.starts_with("red") ? "red" : name; }

inline double quantile(std::vector<double> v, double q) {
  if (v.empty()) return std::nan("");
  std::sort(v.begin(), v.end());
  return v[std::min(v.size() - 1, static_cast<std::size_t>(q * static_cast<double>(v.size())))];
}
inline double rms(const std::vector<double>& v) {
  double s = 0;
  for (const double x : v) s += x * x;
  return v.empty() ? std::nan("") : std::sqrt(s / static_cast<double>(v.size()));
}
// Share of values within 1.96 standard uncertainties.
inline double held(const std::vector<double>& in_u) {
  int n = 0;
  for (const double x : in_u) n += std::abs(x) < 1.96;
  return in_u.empty() ? std::nan("") : static_cast<double>(n) / static_cast<double>(in_u.size());
}

inline void score_attempt(const nlohmann::json& truth, const nlohmann::json& a, const Episode& episode,
                          const EpisodePaths& paths, TruthScore& out) {
  static const char* const kKinds[] = {"ball", "cushion", "jaw", "pocket"};
  const BallPath* white = nullptr;
  for (const BallPath& p : paths.balls)
    if (p.ball == "white") white = &p;
  if (!white) return;
  struct True {
    double time;
    std::string what;
    Vec2 at, v_in;
    double run;
  };
  std::vector<True> contacts;
  double before = a["t_strike_s"];
  std::string order, measured;
  for (const auto& e : a["events"]) {
    const std::string kind = e["kind"];
    if (e["ball"] != "white" || (kind != "ball" && kind != "cushion" && kind != "jaw" && kind != "pocket")) continue;
    True t;
    t.time = e["t_s"];
    t.what = kind + ":" + plain(e["other"]);
    t.at = Vec2(e["xy"][0].get<double>(), e["xy"][1].get<double>());
    t.v_in = Vec2(e["v0"][0].get<double>(), e["v0"][1].get<double>());
    t.run = t.time - before;
    before = t.time;
    order += t.what + " ";
    contacts.push_back(t);
  }
  for (const Contact& c : white->contacts)
    measured += std::string(kKinds[static_cast<int>(c.kind)]) + ":" + plain(c.with) + " ";
  if (order != measured) out.wrong.push_back("true " + order + "| measured " + measured);
  if (order == measured) {
    for (std::size_t i = 0; i < contacts.size(); ++i) {
      const True& t = contacts[i];
      const Contact& c = white->contacts[i];
      if (c.kind == ContactKind::pocket || c.kind == ContactKind::jaw) continue;
      ContactError e;
      e.time = c.time - t.time;
      e.place = (c.at - t.at).norm();
      e.time_bar = 0.003;
      e.place_bar = 0.005;
      if (c.kind == ContactKind::cushion) {
        const bool side = c.with == "left" || c.with == "right";
        const double vn = std::abs(side ? t.v_in.x() : t.v_in.y()), vt = std::abs(side ? t.v_in.y() : t.v_in.x());
        e.time_bar = std::max(e.time_bar, 0.001 / vn);
        e.place_bar = std::max(e.place_bar, 0.001 * vt / vn);
      }
      e.in_u_time = e.time / c.u_time;
      // A cushion holds the place across it: only the place along it is a measured number.
      const bool side = c.kind == ContactKind::cushion && (c.with == "left" || c.with == "right");
      const bool end = c.kind == ContactKind::cushion && !side;
      e.in_u_x = side ? std::nan("") : (c.at.x() - t.at.x()) / c.u.x();
      e.in_u_y = end ? std::nan("") : (c.at.y() - t.at.y()) / c.u.y();
      const double speed = t.v_in.norm();
      e.free_run = t.run >= 0.2 && speed > 0.15;
      e.speed = c.speed_in - speed;
      e.speed_bar = std::max(0.01 * speed, 0.005);
      e.in_u_speed = e.speed / c.u_speed_in;
      e.heading = wrap_angle(c.heading_in - heading_of(t.v_in));
      const double length = speed * t.run;  // m, of the run that led there
      e.heading_bar = std::max(radians(0.3), 0.001 / std::max(length, 0.01));
      e.in_u_heading = e.heading / c.u_heading_in;
      out.contacts.push_back(e);
    }
  }
  std::vector<std::string> potted, fell;
  for (const auto& p : a["potted"]) potted.push_back(plain(p[0]) + ">" + p[1].get<std::string>());
  for (const BallPath& p : paths.balls)
    if (p.pocket) fell.push_back(plain(p.ball) + ">" + *p.pocket);
  std::sort(potted.begin(), potted.end());
  std::sort(fell.begin(), fell.end());
  if (potted != fell) out.wrong.push_back("pots");
  // The path, at the rows' own times, against the truth's rows.
  const double height = truth["camera"]["image_size"][1], readout = truth["camera"]["readout_s"];
  std::vector<double> ts;
  std::vector<Vec2> ps;
  std::vector<double> visible;
  for (const auto& f : truth["frames"]) {
    const double pts = f[0];
    if (pts < a["t_strike_s"].get<double>() - 0.3 || pts > a["t_all_rest_s"].get<double>() + 0.3) continue;
    for (const auto& r : f[1]) {
      if (r[0] != "white" || r[8].is_null() || r[6].get<int>() > 1) continue;
      ts.push_back(pts + readout * (std::clamp(r[8].get<double>(), 0.0, height) + 0.5) / height);
      ps.emplace_back(r[1].get<double>(), r[2].get<double>());
      visible.push_back(r[4]);
    }
  }
  for (std::size_t i = 0; i + 1 < ts.size(); ++i) {
    if (ts[i] <= a["t_strike_s"].get<double>() || ts[i] >= a["t_all_rest_s"].get<double>()) continue;
    if ((ps[i + 1] - ps[i]).norm() < 1e-4) continue;
    ++out.rows_due;
    const auto row = std::min_element(white->rows.begin(), white->rows.end(), [&](const PathRow& x, const PathRow& y) {
      return std::abs(x.time - ts[i]) < std::abs(y.time - ts[i]);
    });
    if (row == white->rows.end() || std::abs(row->time - ts[i]) > 0.012) continue;
    ++out.rows_got;
    if (const auto p = white->at(ts[i])) out.path_errors.push_back((*p - ps[i]).norm());
  }
  for (const auto& f : a["final"]) {
    if (f[1].is_null()) continue;
    for (const BallTrack& b : episode.balls) {
      if (plain(b.ball) != plain(f[0]) || !b.after) continue;
      const Vec2 e = b.after->at - Vec2(f[1].get<double>(), f[2].get<double>());
      if (plain(b.ball) == "red" && e.norm() > 0.03) continue;  // another red
      out.rest_errors.push_back(e.norm());
      for (int d = 0; d < 2; ++d) out.rest_in_u.push_back(e[d] / std::sqrt(b.after->covariance(d, d)));
    }
  }
}

inline void score_clip(const std::string& clip, const support::LookOptions& options, TruthScore& out) {
  const nlohmann::json truth = support::read_truth(clip);
  const table::Table table = support::truth_table(truth);
  const table::BallSet balls = support::truth_balls();
  Tracker tracker(table, balls);
  std::vector<Episode> episodes;
  for (const Look& l : support::looks_from(truth, table, balls, options))
    if (auto e = tracker.push(l)) episodes.push_back(std::move(*e));
  if (auto e = tracker.finish()) episodes.push_back(std::move(*e));
  ReconstructOptions r;
  r.readout = truth["camera"]["readout_s"];
  std::vector<bool> used(truth["attempts"].size(), false);
  out.attempts += static_cast<int>(used.size());
  for (const Episode& e : episodes) {
    const EpisodePaths paths = reconstruct(e, table, balls, r);
    if (!paths.struck) continue;
    bool real = false;
    for (std::size_t i = 0; i < used.size() && !real; ++i) {
      const auto& a = truth["attempts"][i];
      if (used[i] || std::abs(a["t_strike_s"].get<double>() - paths.strike_time) > 0.5) continue;
      real = used[i] = true;
      ++out.found;
      const std::size_t wrong = out.wrong.size();
      score_attempt(truth, a, e, paths, out);
      for (std::size_t k = wrong; k < out.wrong.size(); ++k)
        out.wrong[k] =
            clip + " seed " + std::to_string(options.seed) + " attempt " + std::to_string(i + 1) + ": " + out.wrong[k];
    }
    out.invented += !real;
  }
}

}  // namespace baizetrace::path
