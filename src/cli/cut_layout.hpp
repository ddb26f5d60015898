// How a cut clip's canvas is laid out: the picture of the table, the plan, the words. Nothing lies over anything.
#pragma once

#include <opencv2/core.hpp>
#include <string>

#include "base/error.hpp"
#include "camera/rig.hpp"
#include "report/flat_plan.hpp"
#include "table/table.hpp"

namespace baizetrace::cli {

struct Layout {
  int width = 0, height = 0;  // px
  double letter = 20;         // px
  cv::Rect picture;           // empty: the drawing alone
  report::FlatView plan;
  Vec2 words = Vec2::Zero();  // top left of the words
  double words_width = 0;
};

enum class Shape { wide, tall, square };  // 16:9, 9:16, 1:1
// "16:9", "9:16", "1:1". Error: another word.
[[nodiscard]] Result<Shape> shape_of(const std::string& words);

// The table's picture with the plan beside it; the drawing alone; or a second recording, large, the plan in a corner.
enum class Shows { table, plan, second };
// `large`: for recordings of 1080 rows and more; else two thirds of it.
[[nodiscard]] Layout layout_of(Shape shape, Shows shows, bool large, const table::Table& table);

// The map from the camera's picture onto the canvas that fits the table into `into`: turned by quarters so that it is
// largest, the baulk end at the left or at the bottom, as on the plan.
[[nodiscard]] cv::Matx23d fit_table(const camera::Rig& rig, const table::Table& table, const cv::Rect& into);
// The map that fits a whole picture into `into`.
[[nodiscard]] cv::Matx23d fit_picture(int width, int height, const cv::Rect& into);

}  // namespace baizetrace::cli
