#include "drawn/actors.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "drawn/ground.hpp"

namespace baizetrace::drawn {

namespace {
constexpr double kShadeReach = 0.16;  // m about a ball
constexpr int kFine = 3;              // samples a side and pixel
constexpr int kShadeScale = 8;        // people's shade is drawn this much smaller

Vec3 ray_at(const cv::Mat& sight, double u, double v) {
  const int i = std::clamp(static_cast<int>(std::lround(u)), 0, sight.cols - 1),
            j = std::clamp(static_cast<int>(std::lround(v)), 0, sight.rows - 1);
  const auto at = [&](int y, int x) {
    const cv::Vec3f& d = sight.at<cv::Vec3f>(std::clamp(y, 0, sight.rows - 1), std::clamp(x, 0, sight.cols - 1));
    return Vec3(static_cast<double>(d[0]), static_cast<double>(d[1]), static_cast<double>(d[2]));
  };
  return at(j, i) + 0.5 * (u - i) * (at(j, i + 1) - at(j, i - 1)) + 0.5 * (v - j) * (at(j + 1, i) - at(j - 1, i));
}

// What a ball's surface sends towards the eye.
Colour ball_colour(const Scene& scene, const Ball& ball, const Vec3& at, const Vec3& normal, const Vec3& towards_eye,
                   const Colour& bed_light) {
  const Colour sent = scene.look.cloth.cwiseProduct(bed_light);
  Colour c = ball.colour.cwiseProduct(light_at(scene, at, normal) +
                                      sent * (0.5 - 0.5 * normal.z()) * std::clamp(at.z() / ball.radius, 0.2, 1.0));
  // Polish: lamps as bright discs, and at grazing angles the cloth and the room.
  const double facing = std::max(0.0, normal.dot(towards_eye));
  const double mirror = 0.04 + 0.96 * std::pow(1 - facing, 5);
  const Vec3 away = 2 * facing * normal - towards_eye;
  Colour seen = away.z() < 0 ? Colour(sent) : Colour(Colour::Constant(0.12 * scene.ambient));
  for (const Lamp& lamp : scene.lamps) {
    const Vec3 to = lamp.at - at;
    const double far = to.norm(), off = std::acos(std::clamp(away.dot(to) / far, -1.0, 1.0)),
                 wide = std::max(0.06, 0.5 * lamp.size / far);
    if (off < 1.4 * wide)
      seen += lamp.colour * (8 * lamp.power * std::clamp((1.4 * wide - off) / (0.4 * wide), 0.0, 1.0));
  }
  return c + mirror * seen;
}

// Places of the ball over a row's exposure.
std::vector<Vec3> places(const Ball& ball, double middle, double exposure, int count) {
  std::vector<Vec3> out;
  for (int i = 0; i < count; ++i) {
    const BallNow now = ball.now(middle + exposure * ((i + 0.5) / count - 0.5));
    if (now.state != 2) out.push_back(now.at);
  }
  return out;
}
double px_per_m(const Optics& o, const Vec3& at) { return o.fx / std::max(0.2, o.turn.row(2).dot(at - o.eye)); }
}  // namespace

cv::Mat sightlines(const Optics& o) {
  cv::Mat out(o.height, o.width, CV_32FC3, cv::Scalar::all(0));
  cv::parallel_for_(cv::Range(0, o.height), [&](const cv::Range& rows) {
    for (int v = rows.start; v < rows.end; ++v) {
      double a = (0 - o.cx) / o.fx, b = (v - o.cy) / o.fy;
      for (int u = 0; u < o.width; ++u) {
        Vec3 ray;
        if (o.direction(u, v, a, b, ray))
          out.at<cv::Vec3f>(v, u) =
              cv::Vec3f(static_cast<float>(ray.x()), static_cast<float>(ray.y()), static_cast<float>(ray.z()));
      }
    }
  });
  return out;
}

cv::Rect reach_of_ball(const Optics& o, const Scene& scene, const Ball& ball, const Exposure& e) {
  cv::Rect all;
  const double begin = e.start - e.exposure, end = e.start + e.readout + e.exposure;
  for (int i = 0; i <= 8; ++i) {
    const BallNow now = ball.now(begin + (end - begin) * i / 8);
    if (now.state == 2) continue;
    const auto p = o.pixel_of(now.at);
    if (!p) continue;
    const double r = (kShadeReach + ball.radius) * px_per_m(o, now.at) * 1.3;
    const cv::Rect one(cv::Point(static_cast<int>(p->x() - r), static_cast<int>(p->y() - r)),
                       cv::Point(static_cast<int>(p->x() + r) + 1, static_cast<int>(p->y() + r) + 1));
    all = all.area() > 0 ? (all | one) : one;
  }
  (void)scene;
  return all & cv::Rect(0, 0, o.width, o.height);
}

void draw_ball(cv::Mat& picture, const cv::Rect& part, const cv::Mat& sight, const Scene& scene, const Optics& o,
               const Ball& ball, const Exposure& e) {
  const cv::Rect reach = reach_of_ball(o, scene, ball, e) & part;
  if (reach.area() <= 0) return;
  double total = scene.ambient;
  for (const Lamp& lamp : scene.lamps) total += lamp.power / std::pow(lamp.at.z(), 2);
  cv::parallel_for_(cv::Range(reach.y, reach.y + reach.height), [&](const cv::Range& rows) {
    for (int v = rows.start; v < rows.end; ++v) {
      const double middle = e.of_row(v, o.height);
      const BallNow now = ball.now(middle);
      if (now.state == 2) continue;
      // How far it goes during the exposure decides how many pictures of it are laid over each other.
      const BallNow later = ball.now(middle + 0.5 * e.exposure), before = ball.now(middle - 0.5 * e.exposure);
      const double run = (later.at - before.at).norm() * px_per_m(o, now.at);
      const int count = std::clamp(static_cast<int>(std::ceil(run)), 1, 32);
      const std::vector<Vec3> at = places(ball, middle, e.exposure, count);
      const auto seen = o.pixel_of(now.at);
      if (at.empty() || !seen) continue;
      const Colour bed_light = light_at(scene, Vec3(now.at.x(), now.at.y(), 0), Vec3(0, 0, 1));
      const double ball_px = ball.radius * px_per_m(o, now.at) * 1.25 + 0.5 * run + 2;
      for (int u = reach.x; u < reach.x + reach.width; ++u) {
        cv::Vec3f& to = picture.at<cv::Vec3f>(v - part.y, u - part.x);
        const Vec3 ray = ray_at(sight, u, v);
        if (!(ray.z() < 0)) continue;
        // Shade on the bed.
        const Vec3 foot = o.eye - ray * (o.eye.z() / ray.z());
        if (std::abs(foot.x()) < scene.table.half_width && std::abs(foot.y()) < scene.table.half_length &&
            now.at.z() > 0) {
          double lit = 0;
          const std::size_t step = std::max<std::size_t>(1, at.size() / 4);
          int n = 0;
          for (std::size_t k = 0; k < at.size(); k += step, ++n) {
            const Vec3 to_ball = at[k] - foot;
            const double far = to_ball.norm();
            const double hidden = far > 1e-9 ? std::max(0.0, to_ball.z() / far) * std::pow(ball.radius / far, 2) : 1;
            lit += scene.ambient * (1 - std::min(1.0, hidden));
            for (const Lamp& lamp : scene.lamps) {
              const Vec3 line = lamp.at - foot;
              const double length = line.norm(), along = to_ball.dot(line) / length;
              const double miss = std::sqrt(std::max(0.0, far * far - along * along));
              const double soft = std::max(0.001, lamp.size * along / length);
              // The share of the lamp's disc that the ball covers; a lamp larger than the ball is never all covered.
              const double most = std::min(1.0, std::pow(ball.radius / soft, 2));
              const double share =
                  along > 0
                      ? most * std::clamp((ball.radius + soft - miss) / (2 * std::min(soft, ball.radius)), 0.0, 1.0)
                      : 0;
              lit += lamp.power / std::pow(lamp.at.z(), 2) * (1 - share);
            }
          }
          to *= static_cast<float>(lit / (n * total));
        }
        if (std::hypot(u - seen->x(), v - seen->y()) > ball_px) continue;
        Colour sum = Colour::Zero();
        int hits = 0;
        for (int j = 0; j < kFine; ++j)
          for (int i = 0; i < kFine; ++i) {
            const Vec3 d = ray_at(sight, u + (i + 0.5) / kFine - 0.5, v + (j + 0.5) / kFine - 0.5).normalized();
            for (const Vec3& c : at) {
              const Vec3 from = o.eye - c;
              const double b = from.dot(d), gap = b * b - from.squaredNorm() + ball.radius * ball.radius;
              if (gap < 0) continue;
              const Vec3 hit = o.eye + d * (-b - std::sqrt(gap));
              if (now.at.z() < ball.radius - 0.001 && hit.z() < 0 && now.state == 1 && hit.z() < -0.03) continue;
              sum += ball_colour(scene, ball, hit, (hit - c) / ball.radius, -d, bed_light) *
                     (now.state == 1 ? std::clamp(1 + now.at.z() / 0.1, 0.05, 1.0) : 1.0);
              ++hits;
            }
          }
        if (hits == 0) continue;
        const double all = kFine * kFine * static_cast<double>(at.size());
        for (int k = 0; k < 3; ++k)
          to[k] = static_cast<float>((1 - hits / all) * static_cast<double>(to[k]) + sum[k] / all);
      }
    }
  });
}

namespace {
struct Drawn {
  Vec2 a, b;
  double ra, rb, height;
  Colour colour;
};
std::optional<Drawn> in_picture(const Optics& o, const Limb& limb) {
  const auto a = o.pixel_of(limb.a), b = o.pixel_of(limb.b);
  if (!a || !b) return std::nullopt;
  return Drawn{*a,
               *b,
               limb.ra * px_per_m(o, limb.a),
               limb.rb * px_per_m(o, limb.b),
               std::max(limb.a.z() + limb.ra, limb.b.z() + limb.rb),
               limb.colour};
}
cv::Rect box_of(const Drawn& d) {
  const double r = std::max(d.ra, d.rb) + 2;
  return {cv::Point(static_cast<int>(std::floor(std::min(d.a.x(), d.b.x()) - r)),
                    static_cast<int>(std::floor(std::min(d.a.y(), d.b.y()) - r))),
          cv::Point(static_cast<int>(std::ceil(std::max(d.a.x(), d.b.x()) + r)),
                    static_cast<int>(std::ceil(std::max(d.a.y(), d.b.y()) + r)))};
}
// People's shade on table and floor, as a factor, `kShadeScale` times smaller.
cv::Mat shade_of(const Optics& o, const std::vector<Limb>& limbs) {
  cv::Mat shade(o.height / kShadeScale + 1, o.width / kShadeScale + 1, CV_32F, cv::Scalar(1));
  for (const Limb& l : limbs) {
    if (std::max(l.ra, l.rb) < 0.02) continue;
    const auto a = o.pixel_of(Vec3(l.a.x(), l.a.y(), 0)), b = o.pixel_of(Vec3(l.b.x(), l.b.y(), 0));
    if (!a || !b) continue;
    const double r = (0.5 * (l.ra + l.rb) * 1.4) * px_per_m(o, Vec3(l.a.x(), l.a.y(), 0)) / kShadeScale;
    cv::line(shade, {static_cast<int>(a->x() / kShadeScale), static_cast<int>(a->y() / kShadeScale)},
             {static_cast<int>(b->x() / kShadeScale), static_cast<int>(b->y() / kShadeScale)}, cv::Scalar(0.55),
             std::max(1, static_cast<int>(2 * r)));
  }
  cv::GaussianBlur(shade, shade, {0, 0}, std::max(1.0, 0.06 * px_per_m(o, Vec3(0, 0, 0)) / kShadeScale));
  return shade;
}
}  // namespace

cv::Rect reach_of_people(const Optics& o, const std::vector<Limb>& limbs) {
  cv::Rect all;
  for (const Limb& l : limbs) {
    if (const auto d = in_picture(o, l)) all = all.area() > 0 ? (all | box_of(*d)) : box_of(*d);
    if (const auto d = in_picture(
            o, {Vec3(l.a.x(), l.a.y(), 0), Vec3(l.b.x(), l.b.y(), 0), 1.5 * l.ra + 0.2, 1.5 * l.rb + 0.2, l.colour}))
      all |= box_of(*d);
  }
  return all & cv::Rect(0, 0, o.width, o.height);
}

void draw_people(cv::Mat& picture, cv::Mat& cover, const cv::Rect& part, const Scene& scene, const Optics& o,
                 const std::vector<Limb>& limbs) {
  if (limbs.empty()) return;
  const cv::Mat shade = shade_of(o, limbs);
  cv::parallel_for_(cv::Range(0, part.height), [&](const cv::Range& rows) {
    for (int v = rows.start; v < rows.end; ++v) {
      const double y = static_cast<double>(v + part.y) / kShadeScale;
      const int j = std::min(static_cast<int>(y), shade.rows - 2);
      for (int u = 0; u < part.width; ++u) {
        const double x = static_cast<double>(u + part.x) / kShadeScale;
        const int i = std::min(static_cast<int>(x), shade.cols - 2);
        const auto a = static_cast<float>(x - i), b = static_cast<float>(y - j);
        const float s = (1 - b) * ((1 - a) * shade.at<float>(j, i) + a * shade.at<float>(j, i + 1)) +
                        b * ((1 - a) * shade.at<float>(j + 1, i) + a * shade.at<float>(j + 1, i + 1));
        picture.at<cv::Vec3f>(v, u) *= s;
      }
    }
  });
  std::vector<Drawn> order;
  for (const Limb& l : limbs)
    if (const auto d = in_picture(o, l)) order.push_back(*d);
  std::stable_sort(order.begin(), order.end(), [](const Drawn& a, const Drawn& b) { return a.height < b.height; });
  double light = scene.ambient;
  for (const Lamp& lamp : scene.lamps) light += lamp.power / std::pow(std::max(0.6, lamp.at.z() - 0.3), 2);
  for (const Drawn& d : order) {
    const cv::Rect box = box_of(d) & part;
    const Vec2 along = d.b - d.a;
    const double length2 = std::max(1e-9, along.squaredNorm());
    for (int v = box.y; v < box.y + box.height; ++v)
      for (int u = box.x; u < box.x + box.width; ++u) {
        const Vec2 p = Vec2(u, v) - d.a;
        const double t = std::clamp(p.dot(along) / length2, 0.0, 1.0), r = d.ra + t * (d.rb - d.ra),
                     off = (p - t * along).norm();
        const double share = std::clamp(r - off + 0.5, 0.0, 1.0);
        if (share <= 0) continue;
        const double across = std::min(1.0, off / std::max(0.5, r));
        const Colour c = d.colour * (light * (0.25 + 0.6 * std::sqrt(1 - across * across)));
        cv::Vec3f& to = picture.at<cv::Vec3f>(v - part.y, u - part.x);
        for (int k = 0; k < 3; ++k) to[k] = static_cast<float>((1 - share) * static_cast<double>(to[k]) + share * c[k]);
        std::uint8_t& hidden = cover.at<std::uint8_t>(v, u);
        hidden = std::max(hidden, static_cast<std::uint8_t>(255 * share));
      }
  }
}

void draw_boards(cv::Mat& picture, cv::Mat& cover, const cv::Rect& part, const Scene& scene, const Optics& o) {
  constexpr int kShift = 4;
  for (const Board& board : scene.boards) {
    std::vector<cv::Point> polygon;
    for (std::size_t i = 0; i < board.corners.size(); ++i) {
      const Vec3 a = board.corners[i], b = board.corners[(i + 1) % board.corners.size()];
      for (int k = 0; k < 16; ++k)
        if (const auto p = o.pixel_of(a + (b - a) * (k / 16.0)))
          polygon.emplace_back(static_cast<int>((p->x() - part.x) * (1 << kShift)),
                               static_cast<int>((p->y() - part.y) * (1 << kShift)));
    }
    if (polygon.size() < 3) continue;
    cv::Mat mask = cv::Mat::zeros(part.size(), CV_8U);
    cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{polygon}, cv::Scalar(255), cv::LINE_AA, kShift);
    for (int v = 0; v < part.height; ++v)
      for (int u = 0; u < part.width; ++u) {
        const std::uint8_t m = mask.at<std::uint8_t>(v, u);
        if (m == 0) continue;
        const float share = static_cast<float>(m) / 255;
        cv::Vec3f& to = picture.at<cv::Vec3f>(v, u);
        for (int k = 0; k < 3; ++k) to[k] = (1 - share) * to[k] + share * static_cast<float>(board.colour[k]);
        std::uint8_t& hidden = cover.at<std::uint8_t>(v + part.y, u + part.x);
        hidden = std::max(hidden, m);
      }
  }
}

}  // namespace baizetrace::drawn
