// Where in the picture balls can be: the bed, and around it the cushions and pocket mouths over which a ball's
// picture can reach. On the coarse grid: half the luma's resolution, the chroma's own.
#pragma once

#include <cstdint>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "base/sighting.hpp"
#include "camera/rig.hpp"
#include "table/table.hpp"

namespace baizetrace::sight {

struct Region {
  enum Kind : std::uint8_t { outside = 0, rim = 1, bed = 2 };

  int cols = 0, rows = 0;    // coarse grid
  cv::Mat kind;              // CV_8U, Kind
  cv::Mat pocket;            // CV_8U, not 0 over the pockets, as far as a falling ball's picture reaches
  cv::Rect box;              // of everything that is not outside
  double ball_radius = 0;    // px of luma, of a cue ball in the middle of the bed: sizes of filters
  double smallest_ball = 0;  // px of luma, least radius on the bed

  // Cell of the CoverMap that a coarse pixel looks at (at the bed's height), -1: none. Every kCellStep-th pixel.
  static constexpr int kCellStep = 4;
  cv::Mat cell;  // CV_16S
  double cover_half_width = 0, cover_half_length = 0;
  decltype(CoverMap::cells) beyond;  // cells of the bed that the picture does not show

  // Requires: a camera that sees the table.
  static Region make(const camera::Rig& rig, const table::Table& table, double ball_radius);
  // How far a place lies beyond the fall of a pocket, m; negative: on the bed.
  [[nodiscard]] double beyond_falls(const Vec2& at) const;
  // Where a ball's centre may be: the bed, and into the pockets' mouths.
  [[nodiscard]] bool ball_can_be(const Vec2& at) const;
  // The way along the nose that is nearest to a place, if one is within `reach`, m.
  [[nodiscard]] std::optional<Vec2> along_near_nose(const Vec2& at, double reach) const;

 private:
  double half_width_ = 0, half_length_ = 0, ball_ = 0;  // m
  std::optional<table::Table> table_;
};

}  // namespace baizetrace::sight
