// What of the bed is hidden, in the words of the table.
#include <gtest/gtest.h>

#include <opencv2/imgproc.hpp>

#include "base/files.hpp"
#include "camera/inspect.hpp"
#include "support/drawn_table.hpp"
#include "support/full_size.hpp"

namespace baizetrace::camera {
namespace {

using test_support::draw_luma;
using test_support::overhead_camera;

TEST(AlongInWords, NamesSpotsAndFeet) {
  const table::Table t = test_support::full_size();
  EXPECT_EQ(along_in_words(0.02, t), "the blue");
  EXPECT_EQ(along_in_words(0.892 - 0.305, t), "a foot short of the pink");
  EXPECT_EQ(along_in_words(t.baulk_line_y() + 0.2, t), "20 cm beyond the baulk line");
  EXPECT_EQ(along_in_words(-1.77, t), "the baulk cushion");
}

// The blue's place to a foot short of the pink, right across, under a dark bar.
TEST(HiddenParts, ALampAcrossTheBedIsNamed) {
  set_data_folder(BAIZETRACE_SOURCE);
  const auto spec = *table::read_spec("full-size");
  const table::Table t(spec);
  Rig rig;
  rig.camera = overhead_camera();
  rig.half_width = t.half_width();
  rig.half_length = t.half_length();
  cv::Mat luma = draw_luma(rig.camera, t, 1);
  Scene scene;
  scene.width = luma.cols;
  scene.height = luma.rows;
  scene.cb = cv::Mat(luma.rows / 2, luma.cols / 2, CV_32F, cv::Scalar(112));
  scene.cr = cv::Mat(luma.rows / 2, luma.cols / 2, CV_32F, cv::Scalar(100));
  luma.convertTo(scene.luma, CV_32F);
  EXPECT_TRUE(hidden_parts(scene, rig, spec).empty());
  std::vector<cv::Point> bar;
  for (const Vec2& p : {Vec2(-1, 0), Vec2(1, 0), Vec2(1, 0.587), Vec2(-1, 0.587)}) {
    const Vec2 pixel = *rig.camera.project({p.x(), p.y(), 0});
    bar.emplace_back(cvRound(pixel.x()), cvRound(pixel.y()));
  }
  cv::fillPoly(scene.luma, std::vector<std::vector<cv::Point>>{bar}, cv::Scalar(24));
  const auto parts = hidden_parts(scene, rig, spec);
  ASSERT_EQ(parts.size(), 1U);
  EXPECT_EQ(parts[0].words, "a strip right across, from the blue to a foot short of the pink");
}

}  // namespace
}  // namespace baizetrace::camera
