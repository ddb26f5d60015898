#include "report/picture.hpp"

#include <fmt/format.h>

#include <Eigen/LU>
#include <algorithm>
#include <array>
#include <cassert>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "report/attempt_plan.hpp"
#include "report/names.hpp"
#include "report/pen.hpp"
#include "report/placing.hpp"
#include "report/stretches.hpp"
#include "sight/people.hpp"

namespace baizetrace::report {
namespace {

constexpr double kRail = 0.12;           // m beyond the noses that the picture is cropped to: the pockets are in it
constexpr double kPhoneWidth = 390;      // px
constexpr double kLetterOnPhone = 11.5;  // px there
constexpr double kStep = 0.008;          // s between points of a drawn piece of path
constexpr double kFreeStep = 12;         // px between the places of a path that labels keep clear of
const cv::Scalar kCover(26, 24, 21);     // B, G, R of everything that is not the table

constexpr Ink kWhite{{255, 255, 255}};
constexpr Ink kCasing{{8, 18, 26}, 0.85};
constexpr Ink kGuess{{255, 214, 64}};
constexpr Ink kSoft{{255, 255, 255}, 0.75};
constexpr Ink kQuiet{{196, 202, 198}};

using Line = std::vector<Vec2>;

// A measured path in parts, each seen or not.
struct Part {
  std::vector<Vec2> places;  // m
  bool seen = true;
};

std::vector<Part> parts_of(const BallPath& path) {
  std::vector<Part> parts;
  if (path.pieces.empty()) {
    for (const Stretch& s : stretches_of(path.rows)) {
      parts.push_back({{}, s.seen});
      for (const PathRow& r : s.rows) parts.back().places.push_back(r.at);
    }
    return parts;
  }
  for (const Piece& p : path.pieces) {
    if (p.phase == Piece::Phase::rest) continue;
    if (parts.empty() || parts.back().seen != p.seen) parts.push_back({{}, p.seen});
    const int n = std::max(1, static_cast<int>((p.to - p.from) / kStep));
    for (int k = 0; k <= n; ++k) parts.back().places.push_back(p.at(p.from + (p.to - p.from) * k / n));
  }
  return parts;
}

class Picture {
 public:
  Picture(const cv::Mat& bgr, const camera::Rig& rig, const table::Table& table, const practice::Attempt& attempt,
          const PictureOptions& options)
      : rig_(rig), table_(table), attempt_(attempt), options_(options) {
    cv::Mat bed = only_the_bed(bgr, rig, table);
    frame_ = cv::Rect(0, 0, bed.cols, bed.rows);
    if (options.crop) frame_ = crop();
    letter_ = frame_.width / kPhoneWidth * kLetterOnPhone;
    measure_strip();
    cv::Mat canvas(frame_.height + strip_, frame_.width, CV_8UC3, kCover);
    bed(frame_).copyTo(canvas(cv::Rect(0, 0, frame_.width, frame_.height)));
    pen_.emplace(canvas);
    labels_.emplace(Vec2(0, 0), Vec2(frame_.width, frame_.height));
  }

  cv::Mat draw() {
    const auto white = attempt_.balls.find("white");
    keep_clear();
    gates();
    for (const auto& [name, path] : attempt_.balls)
      if (name != "white") real(path, 0.06, kSoft);
    const bool predicted = options_.prediction && attempt_.prediction;
    if (predicted) {
      std::vector<Vec2> places;
      for (const PathRow& r : attempt_.prediction->path) places.push_back(r.at);
      cased(on_picture(places), kGuess, 0.1, {0.7, 0.45});
    }
    if (white != attempt_.balls.end()) real(white->second, 0.14, kWhite);
    if (predicted && attempt_.prediction->rest) rest(*attempt_.prediction->rest, kGuess, 1.0);
    if (white != attempt_.balls.end()) {
      if (white->second.rest) rest(white->second.rest->at, kWhite, 1.5);
      contacts(white->second.contacts);
    }
    strip();
    return pen_->picture();
  }

 private:
  [[nodiscard]] std::optional<Vec2> pixel(const Vec2& at) const {
    const auto p = rig_.camera.project({at.x(), at.y(), options_.ball_radius});
    if (!p) return std::nullopt;
    return *p - Vec2(frame_.x, frame_.y);
  }

  [[nodiscard]] Line on_picture(const std::vector<Vec2>& places) const {
    Line line;
    for (const Vec2& at : places)
      if (const auto p = pixel(at)) line.push_back(*p);
    return line;
  }

  // Radius in pixels of a ball there.
  [[nodiscard]] double radius_at(const Vec2& at) const {
    const Mat2 j = rig_.camera.plane_jacobian({at.x(), at.y(), options_.ball_radius});
    return options_.ball_radius * std::sqrt(std::abs(j.determinant()));
  }

  [[nodiscard]] cv::Rect crop() const {
    std::vector<cv::Point2f> points;
    for (const Vec2& p : outline_of_the_bed(rig_, table_))
      points.emplace_back(static_cast<float>(p.x()), static_cast<float>(p.y()));
    const cv::Rect all(0, 0, rig_.camera.width, rig_.camera.height);
    if (points.size() < 3) return all;
    const cv::Rect box = cv::boundingRect(points) & all;
    return box.width > 16 && box.height > 16 ? box : all;
  }

  void cased(const Line& line, const Ink& ink, double width, std::vector<double> dash) {
    for (double& d : dash) d *= letter_;
    pen_->line(line, kCasing, (width + 0.09) * letter_, dash);
    pen_->line(line, ink, width * letter_, dash);
  }

  void real(const BallPath& path, double width, const Ink& ink) {
    for (const Part& part : parts_of(path)) {
      const Line line = on_picture(part.places);
      cased(line, ink, part.seen ? width : 0.7 * width,
            part.seen ? std::vector<double>{} : std::vector<double>{0.01, 0.3});
    }
  }

  void rest(const Vec2& at, const Ink& ink, double size) {
    const auto c = pixel(at);
    if (!c) return;
    const double r = size * radius_at(at) + 0.1 * letter_, arm = r + 0.3 * letter_;
    for (const auto& [pen, width] : {std::pair{kCasing, 0.16}, std::pair{ink, 0.07}}) {
      pen_->circle(*c, r, pen, width * letter_);
      for (const Vec2& d : {Vec2(1, 0), Vec2(-1, 0), Vec2(0, 1), Vec2(0, -1)})
        pen_->line({*c + d * r, *c + d * arm}, pen, width * letter_);
    }
  }

  void keep_clear() {
    const auto keep = [&](const Line& line) {
      Vec2 last(-1e9, -1e9);
      for (const Vec2& p : line) {
        if ((p - last).norm() < kFreeStep) continue;
        labels_->keep_free(p);
        last = p;
      }
    };
    for (const auto& [name, path] : attempt_.balls)
      for (const Part& part : parts_of(path)) keep(on_picture(part.places));
    if (attempt_.prediction) {
      std::vector<Vec2> places;
      for (const PathRow& r : attempt_.prediction->path) places.push_back(r.at);
      keep(on_picture(places));
    }
    const auto take = [&](const std::map<std::string, Place>& balls) {
      for (const auto& [name, place] : balls)
        if (const auto p = pixel(place.at)) labels_->take(*p, Vec2::Constant(radius_at(place.at)));
    };
    take(attempt_.before);
    take(attempt_.after);
  }

  void gates() {
    for (const practice::GatePassed& g : narrowest_gates(attempt_, static_cast<std::size_t>(options_.gates))) {
      const auto a = post_place(g.a, attempt_, table_), b = post_place(g.b, attempt_, table_);
      if (!a || !b) continue;
      std::vector<Vec2> places;
      constexpr int kSteps = 16;
      for (int k = 0; k <= kSteps; ++k) places.push_back(*a + (*b - *a) * k / kSteps);
      cased(on_picture(places), kQuiet, 0.05, {0.01, 0.22});
    }
  }

  void contacts(const std::vector<Contact>& contacts) {
    int number = 0;
    for (const Contact& c : contacts) {
      ++number;
      const auto at = pixel(c.at);
      if (!at) continue;
      const double r = radius_at(c.at);
      pen_->circle(*at, r, kCasing, 0.15 * letter_);
      pen_->circle(*at, r, kWhite, 0.07 * letter_,
                   c.inferred ? std::vector<double>{0.15 * letter_, 0.2 * letter_} : std::vector<double>{});
      const Vec2 half = Vec2::Constant(0.66 * letter_);
      const Vec2 label = labels_->place(*at, r, half);
      pen_->line({*at + (label - *at).normalized() * r, label}, kWhite, 0.06 * letter_);
      pen_->disc(label, 0.66 * letter_, kWhite);
      pen_->disc(label, 0.58 * letter_, {{12, 44, 84}});
      pen_->text_about(label, fmt::format("{}", number), 0.9 * letter_, kWhite, true);
    }
  }

  // ------------------------------------------------------------------------------------------- the strip below it
  enum class Sample { real, hidden, guess, gate, number };
  using Entry = std::pair<Sample, std::string>;  // a row of the legend

  [[nodiscard]] std::vector<Entry> entries() const {
    std::vector<Entry> all;
    const auto white = attempt_.balls.find("white");
    bool hidden = false;
    if (white != attempt_.balls.end()) {
      all.emplace_back(Sample::real, "measured");
      for (const Part& part : parts_of(white->second)) hidden = hidden || !part.seen;
    }
    if (hidden) all.emplace_back(Sample::hidden, "out of sight, reconstructed");
    if (options_.prediction && attempt_.prediction) all.emplace_back(Sample::guess, prediction_words(attempt_));
    if (white != attempt_.balls.end() && !white->second.contacts.empty()) {
      std::string list;
      int number = 0;
      for (const Contact& c : white->second.contacts)
        list += fmt::format("{}{}\u00A0{}{}", list.empty() ? "" : ", ", ++number, touched(c),
                            c.inferred ? " (inferred)" : "");
      all.emplace_back(Sample::number, list);
    }
    for (const practice::GatePassed& g : narrowest_gates(attempt_, static_cast<std::size_t>(options_.gates)))
      all.emplace_back(Sample::gate, fmt::format("between {} and {}, {:.0f} mm to spare", post_name(g.a),
                                                 post_name(g.b), 1000 * g.clearance));
    return all;
  }

  // Sets the strip's height and its lines. Letters are measured on a scrap of canvas.
  void measure_strip() {
    strip_ = 0;
    Pen scrap(cv::Mat(8, 8, CV_8UC3, kCover));
    const double width = frame_.width - 1.2 * letter_;
    double y = 0.35 * letter_;
    if (!options_.caption.empty())
      for (const std::string& line : scrap.wrap(options_.caption, width, kCaption * letter_, true)) {
        y += 1.25 * kCaption * letter_;
        captions_.emplace_back(Vec2(0.6 * letter_, y), line);
      }
    if (options_.legend) {
      y += 0.2 * letter_;
      for (const Entry& e : entries()) {
        y += 1.3 * letter_;
        bool first = true;
        for (const std::string& line : scrap.wrap(e.second, width - kIndent * letter_, letter_)) {
          if (!first) y += 1.15 * letter_;
          legend_.push_back({Vec2(0.6 * letter_, y), first ? std::optional(e.first) : std::nullopt, line});
          first = false;
        }
      }
    }
    if (!captions_.empty() || !legend_.empty()) strip_ = static_cast<int>(y + 0.8 * letter_);
  }

  void strip() {
    const Vec2 below(0, frame_.height);
    for (const auto& [at, line] : captions_) pen_->text(below + at, line, kCaption * letter_, kWhite, true);
    for (const Row& row : legend_) {
      pen_->text(below + row.at + Vec2(kIndent * letter_, 0), row.words, letter_, {{226, 230, 226}});
      if (!row.sample) continue;
      const Vec2 a = below + row.at + Vec2(0, -0.35 * letter_), b = a + Vec2(1.9 * letter_, 0);
      switch (*row.sample) {
        case Sample::real:
          pen_->line({a, b}, kWhite, 0.14 * letter_);
          break;
        case Sample::hidden:
          cased({a, b}, kWhite, 0.1, {0.01, 0.3});
          break;
        case Sample::guess:
          cased({a, b}, kGuess, 0.1, {0.7, 0.45});
          break;
        case Sample::gate:
          cased({a, b}, kQuiet, 0.05, {0.01, 0.22});
          break;
        case Sample::number:
          pen_->circle(0.5 * (a + b), 0.4 * letter_, kWhite, 0.07 * letter_);
          break;
      }
    }
  }

  static constexpr double kCaption = 1.12;  // letters of the caption, in letters of the legend
  static constexpr double kIndent = 2.5;    // of the legend's words, in letters

  struct Row {
    Vec2 at;
    std::optional<Sample> sample;
    std::string words;
  };

  const camera::Rig& rig_;
  const table::Table& table_;
  const practice::Attempt& attempt_;
  const PictureOptions& options_;
  cv::Rect frame_;      // of the picture that is shown
  double letter_ = 12;  // px
  int strip_ = 0;       // px, height of the strip below
  std::vector<std::pair<Vec2, std::string>> captions_;
  std::vector<Row> legend_;
  std::optional<Pen> pen_;
  std::optional<LabelPlacer> labels_;
};

}  // namespace

std::vector<Vec2> outline_of_the_bed(const camera::Rig& rig, const table::Table& table) {
  const double w = table.half_width() + kRail, l = table.half_length() + kRail;
  const std::array<Vec2, 4> corners{Vec2(-w, -l), Vec2(w, -l), Vec2(w, l), Vec2(-w, l)};
  std::vector<Vec2> outline;
  constexpr int kSteps = 32;  // a side, so that the lens's bend is followed to a pixel
  for (std::size_t k = 0; k < corners.size(); ++k)
    for (int i = 0; i < kSteps; ++i) {
      const Vec2 at = corners[k] + (corners[(k + 1) % corners.size()] - corners[k]) * i / kSteps;
      if (const auto p = rig.camera.project({at.x(), at.y(), table.nose_height()})) outline.push_back(*p);
    }
  return outline;
}

cv::Mat only_the_bed(const cv::Mat& bgr, const camera::Rig& rig, const table::Table& table) {
  assert(bgr.cols == rig.camera.width && bgr.rows == rig.camera.height);
  // With no area (a rig that does not see the table) nothing is shown rather than everything.
  cv::Mat out = bgr.clone();
  sight::cover(out, sight::shown_area(rig, table));
  return out;
}

cv::Mat attempt_picture(const cv::Mat& bgr, const camera::Rig& rig, const table::Table& table,
                        const practice::Attempt& attempt, const PictureOptions& options) {
  return Picture(bgr, rig, table, attempt, options).draw();
}

std::optional<Vec2> post_place(const std::string& post, const practice::Attempt& attempt, const table::Table& table) {
  if (const auto ball = attempt.before.find(post); ball != attempt.before.end()) return ball->second.at;
  if (const table::Pocket* pocket = table.pocket(post)) return pocket->mouth_middle();
  if (const auto spot = table.spots().find(post); spot != table.spots().end()) return spot->second;
  return std::nullopt;
}

}  // namespace baizetrace::report
