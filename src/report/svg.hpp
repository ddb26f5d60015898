// A small writer of SVG: shapes and text by class; numbers with one decimal. The drawing's unit is the millimetre.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "base/units.hpp"

namespace baizetrace::report {

class Svg {
 public:
  void raw(std::string_view xml) { out_ += xml; }
  void open_group(std::string_view classes);
  void close_group() { out_ += "</g>\n"; }
  // `look` is a list of further attributes, as they are written.
  void line(const Vec2& a, const Vec2& b, std::string_view classes, double width, std::string_view look = {});
  void polyline(const std::vector<Vec2>& points, std::string_view classes, double width, std::string_view look = {});
  void polygon(const std::vector<Vec2>& points, std::string_view classes, double width = 0, std::string_view look = {});
  void circle(const Vec2& centre, double radius, std::string_view classes, double width = 0,
              std::string_view look = {});
  // Half axes along the picture's x and y.
  void ellipse(const Vec2& centre, const Vec2& half, std::string_view classes, double width);
  void rect(const Vec2& corner, const Vec2& size, double round, std::string_view classes);
  // anchor: start, middle, end. The text is escaped here. `turn`: degrees about `at`.
  void text(const Vec2& at, std::string_view words, double size, std::string_view classes,
            std::string_view anchor = "start", double turn = 0, std::string_view look = {});

  [[nodiscard]] std::string take() { return std::move(out_); }

 private:
  std::string out_;
};

// Words broken into lines of at most `width`, for letters of `size` (both in the drawing's unit). A sans-serif
// letter is taken as 0.56 of its size wide, a middling value of common system fonts.
[[nodiscard]] std::vector<std::string> wrap_words(std::string_view words, double width, double size);
[[nodiscard]] double words_width(std::string_view words, double size);

}  // namespace baizetrace::report
