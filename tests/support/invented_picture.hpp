// An invented camera over an invented table, and a plain drawing of what it would see: not footage.
#pragma once

#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "camera/rig.hpp"
#include "report/palette.hpp"
#include "support/invented_session.hpp"
#include "table/table.hpp"

namespace baizetrace::invented {

inline camera::Rig rig(int width = 1920, int height = 1080) {
  camera::Rig r;
  r.camera.width = width;
  r.camera.height = height;
  const double f = 0.78 * width;
  r.camera.lens = {f, f, width / 2.0 + 4, height / 2.0 - 6, {0.03, -0.06, 0.0005, -0.0003, 0.01}};
  r.camera.pose.R << 0, 1, 0, 1, 0, 0, 0, 0, -1;  // the table lies along the picture, baulk end on the left
  r.camera.pose.t = Vec3(0.02, -0.01, 3.35);
  r.half_width = 0.889;
  r.half_length = 1.7845;
  return r;
}

// Floor, rails, cloth and the balls as they stood before the strike, with a person-like blot outside the table.
inline cv::Mat picture(const camera::Rig& rig, const table::Table& table, const practice::Attempt& attempt) {
  cv::Mat bgr(rig.camera.height, rig.camera.width, CV_8UC3, cv::Scalar(70, 80, 92));
  const auto pixel = [&](const Vec2& at, double z) {
    const Vec2 p = rig.camera.project({at.x(), at.y(), z}).value_or(Vec2(-100, -100));
    return cv::Point(cvRound(p.x()), cvRound(p.y()));
  };
  const auto box = [&](double beyond, double z, const cv::Scalar& colour) {
    const double w = table.half_width() + beyond, l = table.half_length() + beyond;
    cv::fillPoly(bgr,
                 std::vector<std::vector<cv::Point>>{
                     {pixel({-w, -l}, z), pixel({w, -l}, z), pixel({w, l}, z), pixel({-w, l}, z)}},
                 colour, cv::LINE_AA);
  };
  box(0.14, 0.05, {38, 52, 84});
  box(0.0, 0.0, {70, 118, 40});
  for (const table::Pocket& p : table.pockets())
    cv::circle(bgr, pixel(p.fall_centre, 0), 24, {12, 12, 12}, -1, cv::LINE_AA);
  for (const auto& [name, place] : attempt.before) {
    const report::Rgb c = report::ball_colour(name);
    cv::circle(bgr, pixel(place.at, 0.02625), 12, cv::Scalar(c.b, c.g, c.r), -1, cv::LINE_AA);
  }
  cv::circle(bgr, {60, 60}, 55, {120, 150, 200}, -1, cv::LINE_AA);  // a "face" beside the table
  return bgr;
}

}  // namespace baizetrace::invented
