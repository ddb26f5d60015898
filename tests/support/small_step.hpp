// The same equations of motion solved the slow way, written apart from src/motion: fixed small steps (RK4), whole
// vectors in three dimensions, events located inside steps by bisection, contacts summed in many small impulses.
// The oracle for tests; shares with src/motion only the plain structs for its input.
#pragma once

#include <Eigen/Geometry>
#include <cmath>
#include <functional>
#include <string>
#include <vector>

#include "motion/conditions.hpp"
#include "table/table.hpp"

namespace baizetrace::small_step {

using V3 = Eigen::Vector3d;
inline const V3 kUp{0, 0, 1};

struct Sphere {
  V3 x = V3::Zero(), v = V3::Zero(), w = V3::Zero();
  double R = 0.02625, m = 0.142;
  enum { slides, rolls, rests } state = rests;
};

struct Happening {
  double time;
  char kind;  // 'b' ball, 'c' cushion, 'j' jaw, 'p' pocket
  std::size_t ball, other;
  V3 x, v;  // before
};

// The cushion's impulse in `parts` small ones. `outward` horizontal.
inline void cushion(Sphere& s, const V3& outward, double nose_height, const motion::Conditions& c, int parts,
                    double smoothing = 0) {
  const double R = s.R;
  const double up = nose_height - R;
  const V3 arm = std::sqrt(R * R - up * up) * outward + up * kUp;  // centre to nose
  const V3 n = arm / R, foot = -R * kUp;
  const double normal = s.v.dot(outward);
  if (normal <= 0) return;
  double e = c.cushion_restitution_at(normal);
  if (normal < 2e-3) e = std::min(1.0, e + (1 - e) * (2e-3 - normal) / 1e-3);
  const double inertia = 0.4 * R * R;  // over mass
  const auto tangential = [](const V3& u, const V3& axis) { return V3(u - axis * u.dot(axis)); };
  // Friction directions for a state; at rest in the last hundredth of a step the direction is faded linearly, which
  // a chattering Coulomb law averages to.
  const double dp = normal / parts;
  const double scale = std::max({normal, std::abs(s.v.dot(outward.cross(kUp))), R * std::abs(s.w.dot(outward)),
                                 R * std::abs(s.w.dot(outward.cross(kUp))), R * std::abs(s.w.z())});
  const double fade = std::max(4 * dp, smoothing * scale);
  const auto direction = [&](const V3& u) {
    const double size = u.norm();
    return V3(size > fade ? V3(u / size) : V3(u / fade));
  };
  struct Rate {
    V3 v, w;
  };
  const auto rate = [&](const V3& v, const V3& w) {
    const V3 nose_slip = tangential(v + w.cross(arm), n);
    const V3 cloth_slip = tangential(v + w.cross(foot), kUp);
    const V3 f_nose = -n - c.cushion_friction * direction(nose_slip);
    const double press = std::max(0.0, -f_nose.z());  // the bed's answer: the ball stays on it
    const V3 f_cloth = press * kUp - c.sliding * press * direction(cloth_slip);
    Rate r;
    r.v = f_nose + f_cloth;
    r.v.z() = 0;
    r.w = (arm.cross(f_nose) + foot.cross(f_cloth)) / inertia;
    return r;
  };
  double work = 0, given = 0;
  bool back = false;
  for (long i = 0; i < 100L * parts; ++i) {
    const Rate a = rate(s.v, s.w);
    const Rate b = rate(s.v + 0.5 * dp * a.v, s.w + 0.5 * dp * a.w);
    V3 v = s.v + dp * b.v, w = s.w + dp * b.w;
    double h = dp;
    const double before = n.dot(s.v), after = n.dot(v);
    double gained = 0.5 * (before + after) * dp;
    if (!back && after <= 0) {
      const double share = before / (before - after);
      h = share * dp;
      given = work + 0.5 * before * h;
      v = s.v + h * b.v;
      w = s.w + h * b.w;
      work = given;
      back = true;
      s.v = v;
      s.w = w;
      continue;
    }
    if (back && work + gained <= given * (1 - e * e)) {
      // work + before t + (after - before) t^2 / (2 dp) = goal
      const double goal = given * (1 - e * e), k = (after - before) / (2 * dp);
      const double t = k == 0 ? (goal - work) / before
                              : (-before - std::sqrt(std::max(0.0, before * before - 4 * k * (work - goal)))) / (2 * k);
      h = std::clamp(t, 0.0, dp);
      s.v += h * b.v;
      s.w += h * b.w;
      return;
    }
    work += gained;
    s.v = v;
    s.w = w;
  }
}

// Two balls, in `parts` small impulses; friction in all three directions, vertical velocities dropped afterwards.
inline void balls(Sphere& a, Sphere& b, const motion::Conditions& c, int parts) {
  const V3 n = (b.x - a.x).normalized();
  const double closing = (a.v - b.v).dot(n);
  if (closing <= 0) return;
  double e = c.ball_restitution;
  if (closing < 2e-3) e = std::min(1.0, e + (1 - e) * (2e-3 - closing) / 1e-3);
  const double total = (1 + e) * closing / (1 / a.m + 1 / b.m), dj = total / parts;
  for (int i = 0; i < parts; ++i) {
    V3 slip = a.v + a.w.cross(V3(a.R * n)) - b.v - b.w.cross(V3(-b.R * n));
    slip -= n * slip.dot(n);
    const double size = slip.norm();
    const double mu = c.ball_friction[0] + c.ball_friction[1] * std::exp(-c.ball_friction[2] * size);
    const double stop = size / (3.5 * (1 / a.m + 1 / b.m));
    const V3 j = dj * n + (size > 0 ? V3(std::min(mu * dj, stop) * slip / size) : V3(V3::Zero()));  // on b
    a.v -= j / a.m;
    b.v += j / b.m;
    a.w -= V3(a.R * n).cross(j) / (0.4 * a.m * a.R * a.R);
    b.w += V3(-b.R * n).cross(j) / (0.4 * b.m * b.R * b.R);
  }
  a.v.z() = b.v.z() = 0;
}

class World {
 public:
  World(const table::Table& table, const motion::Conditions& c) : table_(table), c_(c) {}
  std::vector<Sphere> spheres;
  std::vector<Happening> log;
  std::vector<bool> gone;
  double time = 0;
  int parts = 20000;

  void start() {
    gone.assign(spheres.size(), false);
    for (Sphere& s : spheres) settle(s);
  }

  // Until everything rests, or `stop` says so after an event.
  void run(double dt, double most, const std::function<bool(const World&)>& stop = {}) {
    std::vector<Sphere> next;
    while (time < most) {
      bool moving = false;
      for (std::size_t i = 0; i < spheres.size(); ++i)
        moving = moving || (!gone[i] && spheres[i].state != Sphere::rests);
      if (!moving) return;
      next = advanced(dt);
      Candidate hit = find(next);
      if (hit.kind == 0) {
        spheres = next;
        time += dt;
        for (std::size_t i = 0; i < spheres.size(); ++i)
          if (!gone[i]) turn(spheres[i], dt);
        continue;
      }
      double low = 0, high = dt;
      for (int k = 0; k < 60; ++k) {
        const double middle = 0.5 * (low + high);
        const std::vector<Sphere> at = advanced(middle);
        const Candidate c = find(at);
        if (c.kind != 0) {
          high = middle;
          hit = c;
        } else {
          low = middle;
        }
      }
      spheres = advanced(high);
      time += high;
      apply(hit);
      if (stop && stop(*this)) return;
    }
  }

 private:
  struct Candidate {
    char kind = 0;
    std::size_t ball = 0, other = 0;
  };
  struct Rates {
    V3 x, v, w;
  };

  void settle(Sphere& s) const {
    const V3 slip = s.v + s.w.cross(V3(-s.R * kUp));
    if (slip.norm() > 1e-7)
      s.state = Sphere::slides;
    else
      s.state = s.v.norm() > 1e-7 ? Sphere::rolls : Sphere::rests;
  }

  Rates rates(const Sphere& s) const {
    Rates r{s.v, V3::Zero(), V3::Zero()};
    const double g = 9.81;
    if (s.state == Sphere::slides) {
      V3 slip = s.v + s.w.cross(V3(-s.R * kUp));
      slip.z() = 0;
      const V3 f = -c_.sliding * g * slip.normalized();
      r.v = f;
      r.w = V3(-s.R * kUp).cross(f) / (0.4 * s.R * s.R);
    } else if (s.state == Sphere::rolls) {
      r.v = -c_.rolling * g * s.v.normalized();
      r.w = kUp.cross(r.v) / s.R;
    }
    if (std::abs(s.w.z()) > 0) r.w.z() -= std::copysign(c_.spin_decay, s.w.z());
    return r;
  }

  Sphere stepped(const Sphere& s, double h) const {
    if (s.state == Sphere::rests) {
      Sphere out = s;
      out.w.z() = std::copysign(std::max(0.0, std::abs(s.w.z()) - c_.spin_decay * h), s.w.z());
      return out;
    }
    const auto plus = [](const Sphere& a, const Rates& r, double t) {
      Sphere out = a;
      out.x += t * r.x;
      out.v += t * r.v;
      out.w += t * r.w;
      return out;
    };
    const Rates k1 = rates(s), k2 = rates(plus(s, k1, h / 2)), k3 = rates(plus(s, k2, h / 2)),
                k4 = rates(plus(s, k3, h));
    Sphere out = s;
    out.x += h / 6 * (k1.x + 2 * k2.x + 2 * k3.x + k4.x);
    out.v += h / 6 * (k1.v + 2 * k2.v + 2 * k3.v + k4.v);
    out.w += h / 6 * (k1.w + 2 * k2.w + 2 * k3.w + k4.w);
    const double z = std::abs(s.w.z()) - c_.spin_decay * h;
    out.w.z() = std::copysign(std::max(0.0, z), s.w.z());
    return out;
  }

  // One step of one ball, its change of phase located inside the step.
  Sphere moved(const Sphere& s, double h) const {
    Sphere out = stepped(s, h);
    if (s.state == Sphere::slides) {
      const auto slip = [](const Sphere& q) {
        V3 u = q.v + q.w.cross(V3(-q.R * kUp));
        u.z() = 0;
        return u;
      };
      const V3 u0 = slip(s);
      const double share = u0.norm() / (3.5 * c_.sliding * 9.81);
      if (share < h) {
        out = stepped(s, share * (1 - 1e-12));
        out.state = Sphere::rolls;
        out.w.head<2>() = kUp.cross(out.v).head<2>() / out.R;
        return moved(out, h - share);
      }
    } else if (s.state == Sphere::rolls) {
      const double share = s.v.norm() / (c_.rolling * 9.81);
      if (share < h) {
        out = stepped(s, share * (1 - 1e-12));
        out.state = Sphere::rests;
        out.v.setZero();
        out.w.head<2>().setZero();
      }
    }
    return out;
  }

  std::vector<Sphere> advanced(double h) const {
    std::vector<Sphere> out = spheres;
    for (std::size_t i = 0; i < out.size(); ++i)
      if (!gone[i]) out[i] = moved(spheres[i], h);
    return out;
  }
  void turn(Sphere&, double) const {}

  // The first contact that `at` has and that is closing.
  Candidate find(const std::vector<Sphere>& at) const {
    for (std::size_t i = 0; i < at.size(); ++i) {
      if (gone[i] || at[i].state == Sphere::rests) continue;
      const Sphere& s = at[i];
      const double touch = table_.touch_distance(s.R);
      for (std::size_t k = 0; k < table_.pockets().size(); ++k)
        if (table_.pockets()[k].to_fall(s.x.head<2>()) <= 0) return {'p', i, k};
      for (std::size_t k = 0; k < table_.noses().size(); ++k) {
        const table::Nose& n = table_.noses()[k];
        const Vec2 p = s.x.head<2>() - n.a, way = (n.b - n.a).normalized();
        const double along = p.dot(way);
        if (along < 0 || along > (n.b - n.a).norm()) continue;
        if (p.dot(n.inward) <= touch && s.v.head<2>().dot(n.inward) < 0) return {'c', i, k};
      }
      for (std::size_t k = 0; k < table_.jaws().size(); ++k) {
        const table::Jaw& j = table_.jaws()[k];
        const Vec2 d = s.x.head<2>() - j.centre;
        if (d.norm() <= j.radius + touch && s.v.head<2>().dot(d) < 0) return {'j', i, k};
      }
    }
    for (std::size_t i = 0; i < at.size(); ++i)
      for (std::size_t j = i + 1; j < at.size(); ++j) {
        if (gone[i] || gone[j]) continue;
        const V3 d = at[j].x - at[i].x;
        if (d.norm() <= at[i].R + at[j].R && (at[i].v - at[j].v).dot(d) > 0) return {'b', i, j};
      }
    return {};
  }

  void apply(const Candidate& c) {
    Sphere& s = spheres[c.ball];
    log.push_back({time, c.kind, c.ball, c.other, s.x, s.v});
    const auto in3 = [](const Vec2& p) { return V3(p.x(), p.y(), 0); };
    if (c.kind == 'p') {
      gone[c.ball] = true;
    } else if (c.kind == 'c') {
      cushion(s, -in3(table_.noses()[c.other].inward), table_.nose_height(), c_, parts);
      settle(s);
    } else if (c.kind == 'j') {
      cushion(s, in3((table_.jaws()[c.other].centre - s.x.head<2>()).normalized()), table_.nose_height(), c_, parts);
      settle(s);
    } else {
      balls(s, spheres[c.other], c_, 50 * parts);
      settle(s);
      settle(spheres[c.other]);
    }
  }

  const table::Table& table_;
  motion::Conditions c_;
};

}  // namespace baizetrace::small_step
