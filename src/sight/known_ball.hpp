// A ball that was seen, remembered from frame to frame: where to look for it next, and whether it need be looked at.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <span>
#include <vector>

#include "sight/ball_fit.hpp"
#include "sight/ellipse.hpp"
#include "sight/view.hpp"

namespace baizetrace::sight {

// Where a moving ball was seen.
struct Glimpse {
  int frame = 0;
  double time = 0;  // s
  Vec2 pixel = Vec2::Zero(), smear = Vec2::Zero();
};

struct KnownBall {
  int id = 0;  // never used twice
  Vec2 at = Vec2::Zero();
  double pulled = 0;  // m, as Sighting's
  Mat2 covariance = Mat2::Zero();
  Vec2 pixel = Vec2::Zero();
  Ellipse ellipse;
  Vec2 smear = Vec2::Zero();     // px in one exposure
  Vec2 velocity = Vec2::Zero();  // px/s
  Eigen::Vector3d colour = Eigen::Vector3d::Zero();
  double visible = 0, contrast = 0;
  Shading shading;                // as its fits found it, running mean
  double usual_contrast = 0;      // while all of it is seen; 0: not known
  double moving_since = 0;        // s, while it moves
  double rests_since = -1e9;      // s, while it does not
  double time = 0, fit_time = 0;  // s, own row's: last seen, last looked at closely
  double fitted_at = 0;           // s: a fit last said that it is there
  double looked_for = -1e9;       // s, frame's, while it is out of sight
  Vec2 disputed = Vec2::Zero();   // px, where fits say it is though its picture has not changed; and how many in a row
  int insists = 0;
  bool faint = false;  // of nearly the cloth's own colour
  bool moving = false;
  bool seen = false, fresh = false;  // in this frame
  bool passed_over = false;          // out of sight, and not looked for in this frame
  bool lost = false;                 // out of sight for longer than a frame before it was seen again
  bool forget = false;
  std::vector<Glimpse> run;  // the last few on one straight way, newest last
  bool traced = false;       // the frames before that way have been looked at again

  // Moving, it was seen there.
  void run_on(const Glimpse& now);

  // Keeps the picture around the ball, to tell later whether anything there has changed.
  void remember(const View& view);
  void forget_picture() { luma_ = chroma_ = {}, anchor_.release(); }
  // Keeps the ball's own picture as that of its place: while it lies there, that picture does not move.
  void anchor(const View& view, double misfit);
  [[nodiscard]] bool anchored() const { return !anchor_.empty(); }
  void lift_anchor() { anchor_.release(); }
  // How far the ball's picture has moved since it was anchored, px: brightness, and shade that falls across it, are let
  // go. nullopt: it cannot be told, as when a hand covers part of it.
  [[nodiscard]] std::optional<Vec2> moved_since_anchored(const View& view) const;
  double anchor_misfit = 0;  // levels, of the fit that its place rests on
  int anchor_fits = 0;       // that its place is the mean of
  int anchor_looks = 0;      // fits since then
  // How much the picture around it differs from the one remembered, in luma or in chroma (a brown ball on blue cloth
  // may be as bright as the cloth): below 1 by noise alone.
  [[nodiscard]] double change(const View& view);
  [[nodiscard]] bool same_colour(const Eigen::Vector3d& other) const;
  // Where within `reach` px of a place the picture is most like this ball, by colour and size; nullopt: nowhere.
  [[nodiscard]] std::optional<Vec2> look_about(const View& view, const Vec2& place, double reach) const;
  // Most of its place is bare cloth in this picture of what differs.
  [[nodiscard]] bool bare(const cv::Mat& change) const;

 private:
  // What was around it, the brightness' gain taken out, and how much of that differs while nothing changes.
  struct Remembered {
    cv::Rect box;
    std::vector<cv::Mat> planes;  // CV_32F, levels from `zero`
    float zero = 0;
    double allowed = 0;  // levels beyond what noise does
    double quiet = 0;    // levels, mean difference; 0: not known

    void keep(const std::vector<cv::Mat>& from, const cv::Rect& at, float share);
    [[nodiscard]] double differs(const std::vector<cv::Mat>& now, float share, double noise);
  };
  Remembered luma_, chroma_;
  cv::Rect anchor_box_;
  cv::Mat anchor_;     // CV_32F, levels
  Ellipse anchor_at_;  // its outline then
};

// Whether a change about `pixel`, so large (of a ball's area), is no more than what is left beside a ball that is seen:
// its shadow, which hides nothing.
[[nodiscard]] bool shadow_beside(std::span<const KnownBall> known, const Vec2& pixel, double area);

}  // namespace baizetrace::sight
