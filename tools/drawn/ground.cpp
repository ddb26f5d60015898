#include "drawn/ground.hpp"

#include <algorithm>
#include <cmath>

namespace baizetrace::drawn {

namespace {
constexpr double kFloor = -0.86;      // m, below the bed
constexpr double kWoodBelow = -0.25;  // m: the table's side goes down to here
constexpr int kFine = 4;              // samples a side where things meet within a pixel

double hash(int x, int y, unsigned seed) {
  std::uint32_t h =
      static_cast<std::uint32_t>(x) * 374761393U + static_cast<std::uint32_t>(y) * 668265263U + seed * 2246822519U;
  h = (h ^ (h >> 13U)) * 1274126177U;
  return static_cast<double>((h ^ (h >> 16U)) & 0xffffU) / 65535.0;
}
// Smooth noise of unit grain, 0..1.
double smooth(double x, double y, unsigned seed) {
  const double fx = std::floor(x), fy = std::floor(y);
  const int i = static_cast<int>(fx), j = static_cast<int>(fy);
  double a = x - fx, b = y - fy;
  a = a * a * (3 - 2 * a);
  b = b * b * (3 - 2 * b);
  return (1 - b) * ((1 - a) * hash(i, j, seed) + a * hash(i + 1, j, seed)) +
         b * ((1 - a) * hash(i, j + 1, seed) + a * hash(i + 1, j + 1, seed));
}

// A cushion's section is a wedge with its edge at the nose, rounded: from the nose up to where the wood begins, and
// from the nose back down to the bed.
struct Section {
  double round, height;
  Vec2 top, face;          // unit, from the edge along the two faces
  Vec2 top_out, face_out;  // their outward normals
  explicit Section(const TableShape& t) : round(t.nose_round), height(t.nose_height) {
    const Vec2 edge(round, height);
    top = (Vec2(t.cloth_edge, t.rail_top - round) - edge).normalized();
    face = (Vec2(t.undercut + round, 0) - edge).normalized();
    top_out = Vec2(-top.y(), top.x());
    face_out = Vec2(face.y(), -face.x());
  }
  // d: into the rubber, beyond the nose.
  [[nodiscard]] double distance(double d, double z) const {
    const Vec2 q(d - round, z - height);
    const double a = q.dot(top_out), b = q.dot(face_out);
    if (a <= 0 && b <= 0) return std::max(a, b) - round;
    if (a > 0 && q.dot(top) > 0) return a - round;
    if (b > 0 && q.dot(face) > 0) return b - round;
    return q.norm() - round;
  }
};

enum class What { sky, floor, wood, side, cushion, bed, hole, rim };

struct Hit {
  What what = What::sky;
  Vec3 at = Vec3::Zero(), normal = Vec3(0, 0, 1);
  double along = 0;  // wood: how far beyond the cloth's edge
};

class Tracer {
 public:
  explicit Tracer(const Scene& s) : scene_(s), t_(s.table), section_(s.table) {
    wood_x_ = t_.half_width + t_.cloth_edge;
    wood_y_ = t_.half_length + t_.cloth_edge;
  }

  [[nodiscard]] Hit follow(const Vec3& eye, const Vec3& ray) const {
    Hit hit;
    if (!(ray.z() < -1e-6)) return hit;
    const double top = std::max(t_.rail_top, t_.nose_height + t_.nose_round) + 1e-4;
    const Vec3 in = eye + ray * ((top - eye.z()) / ray.z());
    const Vec3 on_bed = eye - ray * (eye.z() / ray.z());
    const double clear = t_.nose_round + 0.001;
    if (std::abs(on_bed.x()) < t_.half_width - clear && std::abs(on_bed.y()) < t_.half_length - clear &&
        std::abs(in.x()) < t_.half_width - clear && std::abs(in.y()) < t_.half_length - clear) {
      hit.what = What::bed;
      hit.at = on_bed;
      return hit;
    }
    const double outer_x = wood_x_ + t_.rail_width, outer_y = wood_y_ + t_.rail_width;
    if (outside(in.x(), in.y()) > 0) return beside(eye, ray, outer_x, outer_y);
    return among_cushions(in, ray.normalized());
  }

 private:
  // Signed distance to the table's outer outline, corners rounded.
  [[nodiscard]] double outside(double x, double y) const {
    constexpr double kRound = 0.08;
    const double qx = std::abs(x) - (wood_x_ + t_.rail_width - kRound),
                 qy = std::abs(y) - (wood_y_ + t_.rail_width - kRound);
    return std::hypot(std::max(qx, 0.0), std::max(qy, 0.0)) + std::min(std::max(qx, qy), 0.0) - kRound;
  }

  [[nodiscard]] Hit beside(const Vec3& eye, const Vec3& ray, double, double) const {
    // Down to the floor, looking out for the table's side.
    const Vec3 d = ray.normalized();
    Vec3 p = eye + d * ((t_.rail_top - eye.z()) / d.z());
    Hit hit;
    for (int i = 0; i < 60 && p.z() > kWoodBelow; ++i) {
      const double away = outside(p.x(), p.y());
      if (away < 0.0005) {
        hit.what = What::side;
        hit.at = p;
        return hit;
      }
      p += d * std::max(away, 0.001);
    }
    hit.what = What::floor;
    hit.at = eye + ray * ((kFloor - eye.z()) / ray.z());
    return hit;
  }

  // Least distance to a pocket's round opening; negative inside.
  [[nodiscard]] double pocket(double x, double y, double corner, double middle) const {
    const double ax = std::abs(x), ay = std::abs(y);
    const double c =
        std::hypot(ax - (t_.half_width + t_.corner_fall_offset), ay - (t_.half_length + t_.corner_fall_offset)) -
        corner;
    const double m = std::hypot(ax - (t_.half_width + t_.middle_fall_offset), ay) - middle;
    return std::min(c, m);
  }
  [[nodiscard]] double rubber(const Vec3& p) const {
    // The rubber ends where the wood begins.
    const double beyond = std::max(std::abs(p.x()) - wood_x_, std::abs(p.y()) - wood_y_);
    return std::max(section_.distance(-off_the_nose(t_, p.x(), p.y()), p.z()), beyond);
  }
  [[nodiscard]] double wood(const Vec3& p) const {
    const double beyond = std::max(std::abs(p.x()) - wood_x_, std::abs(p.y()) - wood_y_);
    const double hole = pocket(p.x(), p.y(), t_.corner_fall_radius + 0.004, t_.middle_fall_radius + 0.004);
    return std::max({p.z() - t_.rail_top, -beyond, -hole});
  }

  [[nodiscard]] Hit among_cushions(Vec3 p, const Vec3& d) const {
    Hit hit;
    for (int i = 0; i < 80; ++i) {
      const double a = rubber(p), b = wood(p),
                   hole = pocket(p.x(), p.y(), t_.corner_fall_radius, t_.middle_fall_radius);
      const bool no_rubber = hole < -0.002;  // the rubber ends at the pocket's iron
      const double away = no_rubber ? b : std::min(a, b);
      if (away < 0.0001) {
        hit.at = p;
        if (!no_rubber && a <= b) {
          hit.what = What::cushion;
          constexpr double e = 2e-4;
          hit.normal = Vec3(rubber(p + Vec3(e, 0, 0)) - a, rubber(p + Vec3(0, e, 0)) - a, rubber(p + Vec3(0, 0, e)) - a)
                           .normalized();
        } else {
          const double rim = pocket(p.x(), p.y(), t_.corner_fall_radius + 0.018, t_.middle_fall_radius + 0.018);
          hit.what = rim < 0 ? What::rim : What::wood;
          hit.along = std::max(std::abs(p.x()) - wood_x_, std::abs(p.y()) - wood_y_);
          if (p.z() < t_.rail_top - 0.001) hit.what = What::hole;
        }
        return hit;
      }
      p += d * std::max(0.85 * away, 0.0002);
      if (p.z() <= 0) {
        hit.at = p - d * (p.z() / d.z());
        hit.what = pocket(hit.at.x(), hit.at.y(), t_.corner_fall_radius + 0.002, t_.middle_fall_radius + 0.002) < 0
                       ? What::hole
                       : What::bed;
        if (std::max(std::abs(hit.at.x()) - t_.half_width, std::abs(hit.at.y()) - t_.half_length) >
                t_.undercut + 0.002 &&
            hit.what == What::bed)
          hit.what = What::hole;
        return hit;
      }
    }
    hit.at = p;
    hit.what = What::hole;
    return hit;
  }

  const Scene& scene_;
  const TableShape& t_;
  Section section_;
  double wood_x_ = 0, wood_y_ = 0;
};

// Marks on the cloth as shares: chalk of the line and D, dark of the spots. Hard edges: samples smooth them.
struct Marked {
  bool chalk = false, spot = false;
};
Marked marks_at(const TableShape& t, double x, double y) {
  Marked m;
  const double line = t.line_y + t.line_slope * x;
  m.chalk = std::abs(y - line) < 0.5 * t.line_width && std::abs(x) < t.half_width + 0.02;
  if (!m.chalk && y < t.d_centre.y())
    m.chalk = std::abs((Vec2(x, y) - t.d_centre).norm() - t.d_radius) < 0.5 * t.line_width;
  for (const auto& [name, at] : t.spots)
    if ((Vec2(x, y) - at).squaredNorm() < t.spot_radius * t.spot_radius) m.spot = true;
  return m;
}

class Shader {
 public:
  explicit Shader(const Scene& s) : s_(s) {
    for (int i = 0; i < s.look.specks; ++i)
      specks_.emplace_back((2 * hash(i, 1, s.look.seed) - 1) * s.table.half_width,
                           (2 * hash(i, 2, s.look.seed) - 1) * s.table.half_length);
  }

  [[nodiscard]] Colour shade(const Hit& h) const {
    const unsigned seed = s_.look.seed;
    const double x = h.at.x(), y = h.at.y();
    switch (h.what) {
      case What::sky:
        return Colour(0.08, 0.08, 0.08) * s_.ambient;
      case What::hole:
        return Colour(0.004, 0.004, 0.004);
      case What::floor: {
        Colour c = s_.look.floor;
        if (s_.look.floor_kind == 0) {
          const int row = static_cast<int>(std::floor(y / 0.12));
          c *= 0.7 + 0.6 * hash(static_cast<int>(std::floor(x / 0.9 + hash(row, 3, seed))), row, seed);
        } else if (s_.look.floor_kind == 1) {
          const auto i = static_cast<int>(std::floor(x / 0.5)), j = static_cast<int>(std::floor(y / 0.5));
          c *= ((i + j) & 1) != 0 ? 0.75 : 1.2;
        } else {
          c *= 0.6 + 0.8 * smooth(6 * x, 6 * y, seed);
        }
        // The table stands in its own shade.
        const double far = std::max(std::abs(x) - s_.table.half_width, std::abs(y) - s_.table.half_length);
        return c.cwiseProduct(light_at(s_, h.at, h.normal)) * std::clamp(0.35 + 0.8 * (far - 0.15), 0.35, 1.0);
      }
      case What::wood:
      case What::rim: {
        Colour c = s_.look.wood;
        if (h.what == What::rim) c = 0.4 * c + Colour(0.03, 0.03, 0.03);
        const bool long_side = std::abs(x) - s_.table.half_width > std::abs(y) - s_.table.half_length;
        c *= 0.8 + 0.4 * (long_side ? smooth(120 * x, 6 * y, seed) : smooth(6 * x, 120 * y, seed));
        if (h.along < 0.0015) c *= 0.5;  // the seam
        return c.cwiseProduct(light_at(s_, h.at, h.normal));
      }
      case What::side:
        return 0.25 * s_.look.wood.cwiseProduct(light_at(s_, h.at, Vec3(0, 0, 1)));
      case What::cushion:
      case What::bed: {
        Colour c = s_.look.cloth;
        c *= 1 + s_.look.grain * (smooth(700 * x, 700 * y, seed) - 0.5) +
             s_.look.nap * (smooth(2.2 * x, 2.2 * y, seed + 7) - 0.5);
        Colour light = light_at(s_, h.at, h.normal);
        if (h.what == What::cushion) {
          // What is turned downwards sees the cloth only, and that close by in its own shade.
          const double down = 0.5 - 0.5 * h.normal.z();
          const double deep = std::clamp(1 - h.at.z() / s_.table.nose_height, 0.0, 1.0);
          const Colour sent = s_.look.cloth.cwiseProduct(light_at(s_, Vec3(x, y, 0), Vec3(0, 0, 1)));
          light += sent * down * (1 - 0.6 * deep);
          return c.cwiseProduct(light * (down > 0.5 ? 1 - 0.5 * deep : 1.0));
        }
        const double off = off_the_nose(s_.table, x, y);
        double open = off > 0 ? 1 - 0.42 / (1 + std::pow(off / 0.022, 1.5)) : 0.58 - 0.4 * std::min(1.0, -off / 0.015);
        if (off < 0.2) open *= lamp_shade(Vec2(x, y), off);
        const Marked m = marks_at(s_.table, x, y);
        if (m.chalk) c = 0.75 * s_.look.chalk + 0.25 * c;
        if (m.spot) c *= 0.25;
        for (const Vec2& speck : specks_)
          if ((Vec2(x, y) - speck).squaredNorm() < 6e-6) c = 0.5 * s_.look.chalk + 0.5 * c;
        return c.cwiseProduct(light * open);
      }
    }
    return Colour::Zero();
  }

 private:
  // Lamps beyond a cushion leave its shadow on the bed: the share of their light that is left.
  [[nodiscard]] double lamp_shade(const Vec2& at, double off) const {
    constexpr double e = 1e-3;
    const TableShape& t = s_.table;
    const Vec2 inward = Vec2(off_the_nose(t, at.x() + e, at.y()) - off, off_the_nose(t, at.x(), at.y() + e) - off) / e;
    double all = s_.ambient, left = s_.ambient;
    for (const Lamp& lamp : s_.lamps) {
      const Vec3 to = lamp.at - Vec3(at.x(), at.y(), 0);
      const double strength = lamp.power * to.z() / std::pow(to.norm(), 3);
      const double outward = -Vec2(to.x(), to.y()).dot(inward) / to.z();
      const double reach = t.nose_height * outward, soft = 0.004 + t.nose_height * lamp.size / to.z();
      all += strength;
      left += strength * std::clamp(0.5 + (off - reach) / soft, 0.0, 1.0);
    }
    return left / all;
  }

  const Scene& s_;
  std::vector<Vec2> specks_;
};
}  // namespace

double off_the_nose(const TableShape& t, double x, double y) {
  x = std::abs(x);
  y = std::abs(y);
  const double cr = t.corner_jaw_radius, cs = t.corner_jaw_start, mr = t.middle_jaw_radius, ms = t.middle_jaw_start;
  // The end's cushion: its arc's centre at (half_width - cs, half_length + cr).
  double qx = x - (t.half_width - cs), qy = t.half_length + cr - y;
  const double end = qx <= 0 ? qy - cr : qy <= 0 ? qx - cr : std::hypot(qx, qy) - cr;
  double side;
  if (y > t.half_length - cs) {
    qx = t.half_width + cr - x;
    qy = y - (t.half_length - cs);
    side = qx <= 0 ? qy - cr : std::hypot(qx, qy) - cr;
  } else if (y < ms) {
    qx = t.half_width + mr - x;
    qy = ms - y;
    side = qx <= 0 ? qy - mr : std::hypot(qx, qy) - mr;
  } else {
    side = t.half_width - x;
  }
  return std::min(end, side);
}

Colour light_at(const Scene& scene, const Vec3& at, const Vec3& normal) {
  Colour sum = Colour::Constant(scene.ambient * (0.5 + 0.5 * normal.z()));
  for (const Lamp& lamp : scene.lamps) {
    const Vec3 to = lamp.at - at;
    const double far = to.norm();
    // A large lamp is not dark where its middle has just sunk behind the surface.
    const double soft = lamp.size / far, facing = normal.dot(to) / far;
    const double seen = facing > soft ? facing : facing < -soft ? 0 : (facing + soft) * (facing + soft) / (4 * soft);
    sum += lamp.colour * (lamp.power * seen / (far * far));
  }
  return sum;
}

cv::Mat draw_ground(const Scene& scene, const Optics& o) {
  const Tracer tracer(scene);
  const Shader shader(scene);
  cv::Mat picture(o.height, o.width, CV_32FC3), kinds(o.height, o.width, CV_8U);
  const auto at_pixel = [&](double u, double v, double& a, double& b) {
    Vec3 ray;
    if (!o.direction(u, v, a, b, ray)) return Hit{};
    return tracer.follow(o.eye, ray);
  };
  const auto store = [&](int v, int u, const Colour& c) {
    picture.at<cv::Vec3f>(v, u) =
        cv::Vec3f(static_cast<float>(c[0]), static_cast<float>(c[1]), static_cast<float>(c[2]));
  };
  cv::parallel_for_(cv::Range(0, o.height), [&](const cv::Range& rows) {
    for (int v = rows.start; v < rows.end; ++v) {
      double a = (0 - o.cx) / o.fx, b = (v - o.cy) / o.fy;
      for (int u = 0; u < o.width; ++u) {
        const Hit hit = at_pixel(u, v, a, b);
        store(v, u, shader.shade(hit));
        int kind = static_cast<int>(hit.what);
        if (hit.what == What::cushion) kind = hit.normal.z() < 0 ? 10 : 11;
        if (hit.what == What::bed) {
          const Marked m = marks_at(scene.table, hit.at.x(), hit.at.y());
          kind = m.spot ? 12 : m.chalk ? 13 : kind;
          // A thin line can slip between the samples.
          if (!m.chalk &&
              (std::abs(hit.at.y() - scene.table.line_y - scene.table.line_slope * hit.at.x()) < 0.008 ||
               std::abs((Vec2(hit.at.x(), hit.at.y()) - scene.table.d_centre).norm() - scene.table.d_radius) < 0.008))
            kind = 14;
        }
        kinds.at<std::uint8_t>(v, u) = static_cast<std::uint8_t>(kind);
      }
    }
  });
  // Where things meet, and on thin or rounded things, several samples a pixel.
  cv::parallel_for_(cv::Range(0, o.height), [&](const cv::Range& rows) {
    for (int v = rows.start; v < rows.end; ++v)
      for (int u = 0; u < o.width; ++u) {
        const int mine = kinds.at<std::uint8_t>(v, u);
        if (mine == static_cast<int>(What::floor) || mine == static_cast<int>(What::sky)) {
          bool same = true;
          for (int k = -1; k <= 1 && same; ++k)
            same = kinds.at<std::uint8_t>(std::clamp(v + k, 0, o.height - 1), u) == mine &&
                   kinds.at<std::uint8_t>(v, std::clamp(u + k, 0, o.width - 1)) == mine;
          if (same) continue;
        } else if (mine < 10 || mine == 11) {
          bool same = true;
          for (int j = -1; j <= 1 && same; ++j)
            for (int i = -1; i <= 1 && same; ++i)
              same =
                  kinds.at<std::uint8_t>(std::clamp(v + j, 0, o.height - 1), std::clamp(u + i, 0, o.width - 1)) == mine;
          if (same) continue;
        }
        Colour sum = Colour::Zero();
        double a = (u - o.cx) / o.fx, b = (v - o.cy) / o.fy;
        for (int j = 0; j < kFine; ++j)
          for (int i = 0; i < kFine; ++i)
            sum += shader.shade(at_pixel(u + (i + 0.5) / kFine - 0.5, v + (j + 0.5) / kFine - 0.5, a, b));
        store(v, u, sum / (kFine * kFine));
      }
  });
  return picture;
}

}  // namespace baizetrace::drawn
