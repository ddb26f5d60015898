#include "report/pen.hpp"

#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <cairo.h>

#include <algorithm>
#include <cassert>
#include <opencv2/imgproc.hpp>

namespace baizetrace::report {
namespace {

cairo_status_t append(void* bytes, const unsigned char* data, unsigned int size) {
  static_cast<std::string*>(bytes)->append(reinterpret_cast<const char*>(data), size);
  return CAIRO_STATUS_SUCCESS;
}

constexpr double kPoints = 72 / 25.4;  // a millimetre in points, Cairo's unit for pages

}  // namespace

struct Pen::State {
  cv::Mat bgra;  // what Cairo draws into; its RGB24 is B, G, R, unused in memory on little-endian machines
  cairo_surface_t* surface = nullptr;
  cairo_t* cairo = nullptr;
  std::string bytes;  // of a page
  double shift = 0;   // Cairo's pixel centres lie at halves, a picture's at integers

  void ink(const Ink& i) const {
    cairo_set_source_rgba(cairo, i.colour.r / 255.0, i.colour.g / 255.0, i.colour.b / 255.0, i.alpha);
  }
  void trace(const std::vector<Vec2>& points) const {
    cairo_new_path(cairo);
    for (const Vec2& p : points) cairo_line_to(cairo, p.x() + shift, p.y() + shift);
  }
  void stroke(double width, const std::vector<double>& dash) const {
    cairo_set_line_width(cairo, width);
    cairo_set_dash(cairo, dash.data(), static_cast<int>(dash.size()), 0);
    cairo_stroke(cairo);
  }
  void letters(double size, bool bold) const {
    cairo_select_font_face(cairo, "sans-serif", CAIRO_FONT_SLANT_NORMAL,
                           bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(cairo, size);
  }
  // What Cairo may be handed: it stops drawing for good after text that is not UTF-8.
  [[nodiscard]] static std::string clean(std::string_view words) {
    std::string s(words);
    const bool plain = std::all_of(s.begin(), s.end(), [](char c) { return static_cast<unsigned char>(c) < 0x80; });
    if (plain) return s;
    cairo_surface_t* probe = cairo_image_surface_create(CAIRO_FORMAT_A8, 1, 1);
    cairo_t* c = cairo_create(probe);
    cairo_text_extents_t e;
    cairo_text_extents(c, s.c_str(), &e);
    const bool good = cairo_status(c) == CAIRO_STATUS_SUCCESS;
    cairo_destroy(c);
    cairo_surface_destroy(probe);
    if (!good)
      for (char& ch : s)
        if (static_cast<unsigned char>(ch) >= 0x80) ch = '?';
    return s;
  }
};

Pen::Pen(const cv::Mat& bgr) : state_(std::make_unique<State>()) {
  assert(bgr.type() == CV_8UC3 && !bgr.empty());
  cv::cvtColor(bgr, state_->bgra, cv::COLOR_BGR2BGRA);
  state_->surface = cairo_image_surface_create_for_data(state_->bgra.data, CAIRO_FORMAT_RGB24, state_->bgra.cols,
                                                        state_->bgra.rows, static_cast<int>(state_->bgra.step));
  state_->cairo = cairo_create(state_->surface);
  state_->shift = 0.5;
  cairo_set_line_cap(state_->cairo, CAIRO_LINE_CAP_ROUND);
  cairo_set_line_join(state_->cairo, CAIRO_LINE_JOIN_ROUND);
}

Pen::Pen(Page kind, const Vec2& size, const std::string& title) : state_(std::make_unique<State>()) {
  const Vec2 points = size * kPoints;
  if (kind == Page::pdf) {
    state_->surface = cairo_pdf_surface_create_for_stream(append, &state_->bytes, points.x(), points.y());
    cairo_pdf_surface_set_metadata(state_->surface, CAIRO_PDF_METADATA_TITLE, State::clean(title).c_str());
    cairo_pdf_surface_set_metadata(state_->surface, CAIRO_PDF_METADATA_CREATE_DATE, "");
  } else {
    state_->surface = cairo_svg_surface_create_for_stream(append, &state_->bytes, points.x(), points.y());
    cairo_svg_surface_set_document_unit(state_->surface, CAIRO_SVG_UNIT_PT);
  }
  state_->cairo = cairo_create(state_->surface);
  cairo_scale(state_->cairo, kPoints, kPoints);
  cairo_set_line_cap(state_->cairo, CAIRO_LINE_CAP_ROUND);
  cairo_set_line_join(state_->cairo, CAIRO_LINE_JOIN_ROUND);
}

Pen::~Pen() {
  cairo_destroy(state_->cairo);
  cairo_surface_destroy(state_->surface);
}

void Pen::line(const std::vector<Vec2>& points, const Ink& ink, double width, const std::vector<double>& dash) {
  if (points.size() < 2) return;
  state_->trace(points);
  state_->ink(ink);
  state_->stroke(width, dash);
}

void Pen::area(const std::vector<Vec2>& outline, const Ink& ink) {
  if (outline.size() < 3) return;
  state_->trace(outline);
  state_->ink(ink);
  cairo_close_path(state_->cairo);
  cairo_fill(state_->cairo);
}

void Pen::circle(const Vec2& centre, double radius, const Ink& ink, double width, const std::vector<double>& dash) {
  cairo_new_path(state_->cairo);
  cairo_arc(state_->cairo, centre.x() + state_->shift, centre.y() + state_->shift, radius, 0, 2 * kPi);
  cairo_close_path(state_->cairo);
  state_->ink(ink);
  state_->stroke(width, dash);
}

void Pen::disc(const Vec2& centre, double radius, const Ink& ink) {
  cairo_new_path(state_->cairo);
  cairo_arc(state_->cairo, centre.x() + state_->shift, centre.y() + state_->shift, radius, 0, 2 * kPi);
  state_->ink(ink);
  cairo_fill(state_->cairo);
}

void Pen::text(const Vec2& at, std::string_view words, double size, const Ink& ink, bool bold) {
  state_->letters(size, bold);
  state_->ink(ink);
  cairo_move_to(state_->cairo, at.x() + state_->shift, at.y() + state_->shift);
  cairo_show_text(state_->cairo, State::clean(words).c_str());
}

void Pen::text_about(const Vec2& centre, std::string_view words, double size, const Ink& ink, bool bold) {
  state_->letters(size, bold);
  cairo_text_extents_t e;
  cairo_text_extents(state_->cairo, State::clean(words).c_str(), &e);
  text(centre - Vec2(e.x_bearing + 0.5 * e.width, e.y_bearing + 0.5 * e.height), words, size, ink, bold);
}

double Pen::width_of(std::string_view words, double size, bool bold) {
  state_->letters(size, bold);
  cairo_text_extents_t e;
  cairo_text_extents(state_->cairo, State::clean(words).c_str(), &e);
  return e.x_advance;
}

std::vector<std::string> Pen::wrap(std::string_view words, double width, double size, bool bold) {
  std::vector<std::string> lines;
  std::string line;
  for (std::size_t i = 0; i < words.size();) {
    const std::size_t end = std::min(words.find(' ', i), words.size());
    const std::string word(words.substr(i, end - i));
    i = end + 1;
    if (word.empty()) continue;
    const std::string longer = line.empty() ? word : line + ' ' + word;
    if (!line.empty() && width_of(longer, size, bold) > width) {
      lines.push_back(line);
      line = word;
    } else {
      line = longer;
    }
  }
  if (!line.empty()) lines.push_back(line);
  return lines;
}

std::string Pen::page() {
  assert(state_->bgra.empty());
  cairo_show_page(state_->cairo);
  cairo_surface_finish(state_->surface);
  return std::move(state_->bytes);
}

cv::Mat Pen::picture() {
  assert(!state_->bgra.empty());
  cairo_surface_flush(state_->surface);
  cv::Mat bgr;
  cv::cvtColor(state_->bgra, bgr, cv::COLOR_BGRA2BGR);
  return bgr;
}

}  // namespace baizetrace::report
