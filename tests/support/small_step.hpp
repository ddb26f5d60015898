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

// The cushion's impulse by RK4, in at least `parts` / 100 steps for compression, each no longer than a fiftieth of what
// is left of a slip over the fastest that it can change. `outward` horizontal. Coulomb's law is faded linearly over
// `smoothing` of the contact's speed, kFade at least: what a slip that stays at zero chatters about. Against steps half
// as long and half the fade the result moves by less than 1e-6 of the contact's speed.
inline void cushion(Sphere& s, const V3& outward, double nose_height, const motion::Conditions& c, int parts,
                    double smoothing = 0) {
  constexpr double kFade = 3e-7, kShare = 0.02, kStable = 0.7;
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
  const double scale = std::max({normal, std::abs(s.v.dot(outward.cross(kUp))), R * std::abs(s.w.dot(outward)),
                                 R * std::abs(s.w.dot(outward.cross(kUp))), R * std::abs(s.w.z())});
  const double fade = std::max(kFade, smoothing) * scale;
  struct Rate {
    V3 v, w;
    double work;
  };
  const auto nose_slip = [&](const V3& v, const V3& w) { return tangential(v + w.cross(arm), n); };
  const auto cloth_slip = [&](const V3& v, const V3& w) { return tangential(v + w.cross(foot), kUp); };
  const auto rate = [&](const V3& v, const V3& w) {
    const auto direction = [&](const V3& u) { return V3(u / std::max(fade, u.norm())); };
    const V3 f_nose = -n - c.cushion_friction * direction(nose_slip(v, w));
    const double press = std::max(0.0, -f_nose.z());  // the bed's answer: the ball stays on it
    const V3 f_cloth = press * kUp - c.sliding * press * direction(cloth_slip(v, w));
    Rate r;
    r.v = f_nose + f_cloth;
    r.v.z() = 0;
    r.w = (arm.cross(f_nose) + foot.cross(f_cloth)) / inertia;
    r.work = n.dot(v);
    return r;
  };
  double work = 0;
  const auto stepped = [&](double h, V3& v, V3& w, double& done) {
    const Rate a = rate(s.v, s.w);
    const Rate b = rate(s.v + 0.5 * h * a.v, s.w + 0.5 * h * a.w);
    const Rate d = rate(s.v + 0.5 * h * b.v, s.w + 0.5 * h * b.w);
    const Rate f = rate(s.v + h * d.v, s.w + h * d.w);
    v = s.v + h / 6 * (a.v + 2 * b.v + 2 * d.v + f.v);
    w = s.w + h / 6 * (a.w + 2 * b.w + 2 * d.w + f.w);
    done = work + h / 6 * (a.work + 2 * b.work + 2 * d.work + f.work);
  };
  double goal = 0;
  for (const bool back : {false, true}) {
    const auto over = [&](const V3& v, double done) { return back ? done <= goal : v.dot(outward) <= 0; };
    while (true) {
      const double least = kStable * fade;
      double h = std::min({100 * normal / parts, std::max(least, kShare * nose_slip(s.v, s.w).norm()),
                           std::max(least, kShare * cloth_slip(s.v, s.w).norm())});
      V3 v, w;
      double done = 0;
      stepped(h, v, w, done);
      const bool last = over(v, done);
      if (last) {
        double low = 0;
        for (int k = 0; k < 60; ++k) {
          const double middle = 0.5 * (low + h);
          stepped(middle, v, w, done);
          (over(v, done) ? h : low) = middle;
        }
        stepped(h, v, w, done);
      }
      s.v = v;
      s.w = w;
      work = done;
      if (last) break;
    }
    if (!back) goal = work * (1 - e * e);
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
    const double size = slip.norm(), k = 3.5 * (1 / a.m + 1 / b.m);
    const auto friction = [&](double u) {
      return c.ball_friction[0] + c.ball_friction[1] * std::exp(-c.ball_friction[2] * u);
    };
    const double mu = friction(std::max(0.0, size - 0.5 * k * friction(size) * dj));  // of the part's middle
    const double stop = size / k;
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

  V3 downhill() const { return 9.81 * V3(c_.slope.x(), c_.slope.y(), 0); }
  // What a ball that rolls is drawn by, m/s2.
  V3 drawn(const Sphere& s) const {
    const double hand = s.w.z() > 0 ? 1 : s.w.z() < 0 ? -1 : 0;
    return 5.0 / 7 * downhill() + 9.81 * V3(hand * c_.nap.side, c_.nap.drift, 0);
  }

  Rates rates(const Sphere& s) const {
    Rates r{s.v, V3::Zero(), V3::Zero()};
    const double g = 9.81;
    if (s.state == Sphere::slides) {
      V3 slip = s.v + s.w.cross(V3(-s.R * kUp));
      slip.z() = 0;
      const V3 f = -c_.sliding * g * slip.normalized();
      r.v = f + downhill();
      r.w = V3(-s.R * kUp).cross(f) / (0.4 * s.R * s.R);
    } else if (s.state == Sphere::rolls) {
      r.v = -c_.rolling * g * s.v.normalized() + drawn(s);
      r.w = kUp.cross(r.v) / s.R;
    }
    if (std::abs(s.w.z()) > 0) r.w.z() -= std::copysign(c_.spin_decay, s.w.z());
    return r;
  }

  // `to_the_end`: the step in which slip or speed runs out. Its last stages would look for a direction where there is
  // none; the one in the middle has one, and is exact for a constant deceleration.
  Sphere stepped(const Sphere& s, double h, bool to_the_end = false) const {
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
                k4 = to_the_end ? k3 : rates(plus(s, k3, h));
    Sphere out = s;
    if (to_the_end) {
      out = plus(s, k2, h);
    } else {
      out.x += h / 6 * (k1.x + 2 * k2.x + 2 * k3.x + k4.x);
      out.v += h / 6 * (k1.v + 2 * k2.v + 2 * k3.v + k4.v);
      out.w += h / 6 * (k1.w + 2 * k2.w + 2 * k3.w + k4.w);
    }
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
      const double share = u0.norm() / (3.5 * c_.sliding * 9.81 - downhill().dot(u0.normalized()));
      if (share < h) {
        out = stepped(s, share, true);
        out.state = Sphere::rolls;
        out.w.head<2>() = kUp.cross(out.v).head<2>() / out.R;
        return moved(out, h - share);
      }
    } else if (s.state == Sphere::rolls) {
      const double share = s.v.norm() / (c_.rolling * 9.81 - drawn(s).dot(s.v.normalized()));
      if (share < h) {
        out = stepped(s, share, true);
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
