// A path drawn into a film as it happens: where it is told to be, no further than the moment, and out of sight dotted.
#include "report/moving.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <opencv2/core.hpp>

#include "report/plan.hpp"
#include "report/stretches.hpp"
#include "support/full_size.hpp"
#include "support/invented_session.hpp"

namespace baizetrace::report {
namespace {

std::vector<PathRow> rows(int n, const std::vector<std::pair<int, int>>& hidden) {
  std::vector<PathRow> out;
  for (int k = 0; k < n; ++k) {
    PathRow r{k / 30.0, Vec2(0.02 * k, 0)};
    for (const auto& [from, to] : hidden) r.seen = r.seen && !(k >= from && k < to);
    out.push_back(r);
  }
  return out;
}

TEST(Stretches, SeenAndOutOfSightInTurn) {
  const auto all = rows(60, {{10, 20}, {30, 31}, {50, 60}});
  const auto parts = stretches_of(all);
  ASSERT_EQ(parts.size(), 4U);
  std::size_t count = 0;
  for (std::size_t k = 0; k < parts.size(); ++k) {
    EXPECT_EQ(parts[k].seen, k % 2 == 0);
    ASSERT_GE(parts[k].rows.size(), 2U);
    if (k > 0) {
      EXPECT_EQ(parts[k].rows.front().time, parts[k - 1].rows.back().time);
    }
    if (!parts[k].seen) {
      EXPECT_GE(parts[k].rows.back().time - parts[k].rows.front().time, kOutOfSight);
    }
    count += parts[k].rows.size() - (k > 0 ? 1 : 0);
  }
  EXPECT_EQ(count, all.size());
  EXPECT_NEAR(parts[1].rows.front().time, 9 / 30.0, 1e-12);  // from the last sighting
  EXPECT_NEAR(parts[1].rows.back().time, 20 / 30.0, 1e-12);  // to the next
  EXPECT_TRUE(stretches_of({}).empty());
  EXPECT_EQ(stretches_of(rows(1, {})).size(), 1U);
  EXPECT_EQ(stretches_of(rows(20, {{3, 4}, {9, 10}})).size(), 1U) << "a picture missed here and there is no hiding";
}

practice::Attempt straight(const std::vector<std::pair<int, int>>& hidden) {
  practice::Attempt a;
  a.number = 1;
  a.before["white"].at = Vec2::Zero();
  a.balls["white"].rows = rows(60, hidden);
  return a;
}

Onto flat() {
  Onto onto;
  onto.pixel = [](const Vec2& at) -> std::optional<Vec2> { return Vec2(20 + 500 * at.x(), 50); };
  onto.ball = [](const Vec2&) { return 10.0; };
  return onto;
}

// Bright pixels on the way between two places.
int bright(const cv::Mat& picture, double from, double to) {
  const cv::Rect box(cv::Point(cvRound(20 + 500 * from), 48), cv::Point(cvRound(20 + 500 * to), 53));
  cv::Mat grey;
  cv::extractChannel(picture(box), grey, 1);
  return cv::countNonZero(grey > 200);
}

TEST(DrawMoving, OutOfSightIsDottedAndNothingIsDrawnBeforeItHappens) {
  const cv::Mat canvas(100, 640, CV_8UC3, cv::Scalar(40, 90, 30));
  const auto drawn = [&](const practice::Attempt& a, double time) {
    Pen pen(canvas);
    draw_moving(pen, flat(), a, time, {.letter = 20});
    return pen.picture();
  };
  const cv::Mat seen = drawn(straight({}), 5), hidden = drawn(straight({{20, 40}}), 5), half = drawn(straight({}), 1);
  const int whole = bright(seen, 0.45, 0.75);
  ASSERT_GT(whole, 100);
  EXPECT_LT(bright(hidden, 0.45, 0.75), whole / 2);
  EXPECT_GT(bright(hidden, 0.45, 0.75), whole / 20) << "dots, not nothing";
  EXPECT_EQ(bright(hidden, 0.05, 0.30), bright(seen, 0.05, 0.30));
  EXPECT_EQ(bright(half, 0.05, 0.50), bright(seen, 0.05, 0.50));
  EXPECT_EQ(bright(half, 0.66, 1.10), 0);
}

// On the plan too, with a word in the legend; told apart without colour.
TEST(Plan, OutOfSightIsDottedAndSaid) {
  const table::Table table = test_support::full_size();
  Plan plan;
  plan.table = table;
  PlanPath path;
  path.words = "measured";
  path.rows = rows(40, {});
  plan.paths = {path};
  const std::string seen = plan_svg(plan);
  EXPECT_EQ(seen.find("out of sight"), std::string::npos);
  plan.paths[0].rows = rows(40, {{10, 25}});
  const std::string hidden = plan_svg(plan);
  EXPECT_THAT(hidden, testing::HasSubstr("out of sight, reconstructed"));
  EXPECT_THAT(hidden, testing::HasSubstr("stroke-dasharray=\"0 "));
}

}  // namespace
}  // namespace baizetrace::report
