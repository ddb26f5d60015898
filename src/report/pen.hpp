// Lines and letters, anti-aliased (Cairo): over a picture (pixels; pixel centres at integers, as the camera's) or on a
// page to print (millimetres from its top left corner).
#pragma once

#include <memory>
#include <opencv2/core.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "base/units.hpp"
#include "report/palette.hpp"

namespace baizetrace::report {

struct Ink {
  Rgb colour;
  double alpha = 1;
};

class Pen {
 public:
  // A canvas that starts as a copy of `bgr` (8-bit, 3 channels).
  explicit Pen(const cv::Mat& bgr);
  // A page of `size` millimetres. Deterministic: no date is kept in it.
  enum class Page { pdf, svg };
  Pen(Page kind, const Vec2& size, const std::string& title);
  Pen(const Pen&) = delete;
  Pen& operator=(const Pen&) = delete;
  ~Pen();

  // `dash`: lengths on and off in turn; empty: unbroken.
  void line(const std::vector<Vec2>& points, const Ink& ink, double width, const std::vector<double>& dash = {});
  void area(const std::vector<Vec2>& outline, const Ink& ink);
  void circle(const Vec2& centre, double radius, const Ink& ink, double width, const std::vector<double>& dash = {});
  void disc(const Vec2& centre, double radius, const Ink& ink);
  // Left end of the base line at `at`.
  void text(const Vec2& at, std::string_view words, double size, const Ink& ink, bool bold = false);
  void text_about(const Vec2& centre, std::string_view words, double size, const Ink& ink, bool bold = false);
  [[nodiscard]] double width_of(std::string_view words, double size, bool bold = false);
  // Words broken into lines of at most `width` pixels.
  [[nodiscard]] std::vector<std::string> wrap(std::string_view words, double width, double size, bool bold = false);

  // What was drawn, as 8-bit BGR. Requires: a picture.
  [[nodiscard]] cv::Mat picture();
  // The file's bytes; nothing can be drawn after it. Requires: a page.
  [[nodiscard]] std::string page();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace baizetrace::report
