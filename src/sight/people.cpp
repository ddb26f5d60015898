#include "sight/people.hpp"

#include <algorithm>
#include <array>
#include <opencv2/imgproc.hpp>

#include "sight/ellipse.hpp"

namespace baizetrace::sight {
namespace {

constexpr int kLearnFrames = 9;       // spread over the clip
constexpr double kStout = 1.35;       // ball radii: what holds a disc so large is no ball
constexpr double kFingers = 8;        // ball radii that thin parts of a person are followed from the stout ones
constexpr double kMargin = 1.1;       // ball radii around a person: blurred edges, and parts like shaded cloth
constexpr double kJoin = 2.2;         // ball radii: parts of one person nearer than this are one
constexpr double kBallShare = 1.45;   // radii of the disc that a known ball takes out, its contact shadow included
constexpr double kKeepFor = 0.12;     // s that a mask is kept on after a frame: people do not vanish between two
constexpr double kPocketRim = 0.03;   // m of a pocket's surroundings that are shown
const cv::Scalar kCover(26, 24, 21);  // B, G, R

cv::Mat disc(double radius) {
  const int r = std::max(1, static_cast<int>(std::lround(radius)));
  return cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * r + 1, 2 * r + 1});
}

std::vector<cv::Point> on_picture(const camera::Camera& camera, const std::vector<Vec2>& places, double z) {
  std::vector<cv::Point> out;
  for (const Vec2& p : places)
    if (const auto at = camera.project({p.x(), p.y(), z})) out.emplace_back(cvRound(at->x()), cvRound(at->y()));
  return out;
}

// A pocket looks otherwise once a ball lies in it, or once whoever stood over it at the start has gone; nobody reaches
// over a pocket and over nothing else. `parts`: padded by `pad` all round.
void drop_in_pockets(cv::Mat& parts, const Region& region, int pad) {
  constexpr double kNearlyAll = 0.9;  // of a part: its edge is ragged
  cv::Mat pockets, labels;
  cv::copyMakeBorder(region.pocket, pockets, pad, pad, pad, pad, cv::BORDER_CONSTANT, cv::Scalar(0));
  const int n = cv::connectedComponents(parts, labels);
  for (int k = 1; k < n; ++k) {
    const cv::Mat part = labels == k;
    if (cv::countNonZero(part & pockets) >= kNearlyAll * cv::countNonZero(part)) parts.setTo(0, part);
  }
}

}  // namespace

cv::Mat shown_area(const camera::Rig& rig, const table::Table& table) {
  cv::Mat area = cv::Mat::zeros(rig.camera.height, rig.camera.width, CV_8U);
  const auto fill = [&](const std::vector<Vec2>& places, double z) {
    const auto outline = on_picture(rig.camera, places, z);
    if (outline.size() > 2) cv::fillPoly(area, std::vector<std::vector<cv::Point>>{outline}, cv::Scalar(255));
  };
  const double w = table.half_width() + kShownBeyondNoses, l = table.half_length() + kShownBeyondNoses;
  const std::array<Vec2, 4> corners{Vec2(-w, -l), Vec2(w, -l), Vec2(w, l), Vec2(-w, l)};
  std::vector<Vec2> outline;
  constexpr int kSteps = 40;  // a side: the lens bends straight sides
  for (std::size_t k = 0; k < 4; ++k)
    for (int i = 0; i < kSteps; ++i) outline.push_back(corners[k] + (corners[(k + 1) % 4] - corners[k]) * i / kSteps);
  fill(outline, table.nose_height());
  for (const table::Pocket& p : table.pockets()) {
    std::vector<Vec2> ring;
    for (int i = 0; i < kSteps; ++i) {
      const double a = 2 * kPi * i / kSteps;
      ring.push_back(p.fall_centre + (p.fall_radius + kPocketRim) * Vec2(std::cos(a), std::sin(a)));
    }
    fill(ring, 0);
  }
  return area;
}

cv::Mat people_in(const cv::Mat& change, const Region& region) {
  const double r = std::max(2.0, 0.5 * region.ball_radius);  // coarse pixels
  // The region's own edge is no edge of a person: what reaches it goes on beyond it.
  const int pad = static_cast<int>(std::ceil(4 * r));
  cv::Mat things = change >= Cloth::kThing;
  cv::Mat thing;
  cv::copyMakeBorder(things, thing, pad, pad, pad, pad, cv::BORDER_CONSTANT, cv::Scalar(0));
  cv::Mat stout;
  cv::morphologyEx(thing, stout, cv::MORPH_CLOSE, disc(0.5 * r));  // noise inside clothes
  const cv::Mat solid = stout.clone();
  cv::morphologyEx(stout, stout, cv::MORPH_OPEN, disc(kStout * r));
  drop_in_pockets(stout, region, pad);
  if (cv::countNonZero(stout) == 0) return cv::Mat::zeros(change.size(), CV_8U);
  // Fingers, a wrist, the near part of the cue: what hangs together with the stout parts, up to a hand's length away.
  const int steps = std::max(1, static_cast<int>(std::lround(kFingers * r / std::max(1.0, r))));
  const cv::Mat step = disc(r);
  for (int i = 0; i < steps; ++i) {
    cv::dilate(stout, stout, step);
    stout &= solid;
  }
  cv::morphologyEx(stout, stout, cv::MORPH_CLOSE, disc(kJoin * r));
  // Whatever it encloses belongs to it: clothes of the cloth's colour, balls below an arm.
  std::vector<std::vector<cv::Point>> outlines;
  cv::findContours(stout, outlines, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_SIMPLE);
  cv::drawContours(stout, outlines, -1, cv::Scalar(255), cv::FILLED);
  cv::dilate(stout, stout, disc(kMargin * r));
  return stout(cv::Rect(pad, pad, change.cols, change.rows)).clone();
}

People::People(const camera::Rig& rig, const table::Table& table, double ball_radius)
    : rig_(rig),
      ball_radius_(ball_radius),
      region_(Region::make(rig, table, ball_radius)),
      cloth_(region_),
      area_(shown_area(rig, table)) {}

Result<Done> People::learn(video::Clip& clip, double from, double to) {
  std::vector<video::Frame> frames;
  for (int k = 0; k < kLearnFrames; ++k) {
    if (auto there = clip.seek(from + (to - from) * (k + 0.5) / kLearnFrames); !there) continue;
    for (int tries = 0; tries < 5; ++tries) {
      auto frame = clip.next();
      if (!frame) break;
      if (frame->damaged || frame->doubtful) continue;
      frames.push_back(std::move(*frame));
      break;
    }
  }
  return learn(frames);
}

Result<Done> People::learn(std::span<const video::Frame> frames) {
  for (const video::Frame& f : frames)
    if (f.width() != rig_.camera.width || f.height() != rig_.camera.height)
      return fail("the rig is for {} x {} pictures, the clip's are {} x {}", rig_.camera.width, rig_.camera.height,
                  f.width(), f.height());
  return cloth_.learn(frames);
}

cv::Mat People::shown(const video::Frame& frame, std::span<const Vec2> balls) {
  cloth_.halve(frame, halves_);
  cloth_.compare(frame, halves_, cloth_.gain_of(frame, halves_), change_);
  for (const Vec2& at : balls) {
    const auto e = ball_ellipse(rig_.camera, at, ball_radius_);
    if (!e) continue;
    const cv::Point c(cvRound(e->centre.x() / 2), cvRound(e->centre.y() / 2));
    cv::circle(change_, c, std::max(1, cvRound(0.5 * kBallShare * e->radius)), cv::Scalar(0), cv::FILLED);
  }
  cv::Mat people = people_in(change_, region_);
  std::erase_if(recent_, [&](const auto& r) { return r.first > frame.time || frame.time - r.first > kKeepFor; });
  recent_.emplace_back(frame.time, people.clone());
  for (const auto& [time, mask] : recent_) people |= mask;
  cv::Mat large;
  cv::resize(people, large, area_.size(), 0, 0, cv::INTER_NEAREST);
  cv::Mat shown = area_.clone();
  shown.setTo(0, large);
  return shown;
}

void cover_people(cv::Mat& bgr, const cv::Mat& people) {
  if (people.empty()) return;
  cv::Mat large;
  cv::resize(people, large, bgr.size(), 0, 0, cv::INTER_NEAREST);
  bgr.setTo(kCover, large);
}

void cover(cv::Mat& bgr, const cv::Mat& shown) {
  cv::Mat hidden;
  cv::bitwise_not(shown, hidden);
  bgr.setTo(kCover, hidden);
}

}  // namespace baizetrace::sight
