#include "report/card.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <optional>

#include "report/flat_plan.hpp"
#include "report/marks.hpp"
#include "report/names.hpp"
#include "report/placing.hpp"
#include "report/setup_words.hpp"
#include "report/words.hpp"

namespace baizetrace::report {
namespace {

// The page, mm.
constexpr double kEdge = 15;              // margin: printers leave up to 6 mm blank
constexpr double kLetter = 3.6;           // about 10 points
constexpr double kLine = 1.38;            // of a letter's size, from line to line
constexpr double kPlanWidth = 84;         // the plan's column
constexpr double kGap = 8;                // between the columns
constexpr double kTallestPlan = 158;      // leaves room for 22 balls below
constexpr double kRow = 6.2;              // of the table of marks, when there is room
constexpr std::size_t kMostMeasured = 4;  // balls whose distances are drawn on the plan; all are listed below it
constexpr double kCluster = 0.15;         // m: of balls that near to each other one is enough
constexpr double kFreeStep = 3;           // mm between places of lines that labels keep clear of
constexpr Ink kInk{{27, 33, 30}}, kQuiet{{93, 102, 95}}, kWay{{176, 74, 6}}, kTape{{15, 63, 120}}, kZone{{122, 95, 0}};

class Card {
 public:
  Card(const CardInput& in, Pen::Page kind)
      : in_(in), pen_(kind, kA4, in.setup.title), marks_(mark_distances(in.setup, in.table, in.set)) {
    if (in.setup.shot)
      if (auto p = practice::predict_setup(in.setup, in.table, in.set, in.conditions)) predicted_ = std::move(*p);
  }

  std::string draw() {
    double y = kEdge + 5;
    for (const std::string& line : pen_.wrap(in_.setup.title, kA4.x() - 2 * kEdge, 7, true)) {
      pen_.text({kEdge, y}, line, 7, kInk, true);
      y += 8.4;
    }
    pen_.text({kEdge, y - 2.6}, in_.table.spec().title + ". All distances to the middle of the ball.", kLetter, kQuiet);
    y += 2;
    view_ = FlatView::fit(in_.table, {kEdge, y}, {kPlanWidth, kTallestPlan}, false);
    view_.corner = {kEdge, y};
    plan();
    words(y);
    table(std::max(y + view_.size().y(), words_end_) + 7);
    return pen_.page();
  }

 private:
  [[nodiscard]] std::vector<Vec2> on_page(std::vector<Vec2> places) const {
    for (Vec2& p : places) p = view_(p);
    return places;
  }

  [[nodiscard]] bool way_is_drawn() const { return predicted_ && (!predicted_->meant_to_pot || predicted_->pots); }

  void plan() {
    draw_flat_table(pen_, view_, in_.table, kOnPaper);
    labels_.emplace(view_.corner, view_.corner + view_.size());
    keep_marks_free();
    zone();
    if (way_is_drawn()) way();
    tapes();
    for (const MarkDistances& m : marks_) {
      draw_flat_ball(pen_, view_, m.ball, m.at, m.radius, kOnPaper);
      labels_->take(view_(m.at), Vec2::Constant(view_.scale * m.radius));
    }
    for (const MarkDistances& m : marks_) name(m);
  }

  // Baulk line, D and spots: a name across them is hard to read.
  void keep_marks_free() {
    for (const auto& [name, at] : in_.table.spots()) labels_->keep_free(view_(at));
    if (!in_.table.spec().baulk_line) return;
    const double x = in_.table.half_width(), y = in_.table.baulk_line_y();
    keep_free(on_page({Vec2(-x, y), Vec2(x, y)}));
    keep_free(on_page(d_line(in_.table)));
  }

  void zone() {
    if (!in_.setup.goal || !in_.setup.goal->zone) return;
    const practice::Zone& z = *in_.setup.goal->zone;
    std::vector<Vec2> outline = z.centre ? ring(*z.centre, z.radius) : z.corners;
    if (!z.centre && outline.size() == 2) {
      const Vec2 a = outline[0], b = outline[1];
      outline = {a, Vec2(b.x(), a.y()), b, Vec2(a.x(), b.y())};
    }
    if (!z.centre && !outline.empty()) outline.push_back(outline.front());
    pen_.line(on_page(outline), kZone, 0.5, {1.2, 1.4});
    keep_free(on_page(outline));
  }

  void way() {
    const BallPath* white = predicted_->motion.ball("white");
    if (!white) return;
    const std::vector<Vec2> line = on_page(places_along(*white));
    pen_.line(line, kWay, 0.6, {2.0, 1.6});
    keep_free(line);
    for (const BallPath& b : predicted_->motion.balls)
      if (b.ball != "white" && !b.contacts.empty()) pen_.line(on_page(places_along(b)), kWay, 0.3, {0.01, 1.0});
    if (white->rest) {
      const Vec2 c = view_(white->rest->at);
      const double r = view_.scale * marks_.front().radius, arm = r + 1.4;
      pen_.circle(c, r, kWay, 0.4);
      for (const Vec2& d : {Vec2(1, 0), Vec2(-1, 0), Vec2(0, 1), Vec2(0, -1)})
        pen_.line({c + r * d, c + arm * d}, kWay, 0.4);
      labels_->take(c, Vec2::Constant(arm));
    }
  }

  void keep_free(const std::vector<Vec2>& line) {
    for (std::size_t k = 0; k + 1 < line.size(); ++k) {
      const int n = static_cast<int>((line[k + 1] - line[k]).norm() / kFreeStep) + 1;
      for (int i = 0; i <= n; ++i) labels_->keep_free(line[k] + (line[k + 1] - line[k]) * i / n);
    }
  }

  // Distances drawn as a tape lies: from the nose to the ball's centre, the number on it.
  void tapes() {
    std::vector<Vec2> drawn;
    for (const MarkDistances& m : marks_) {
      const bool near =
          std::any_of(drawn.begin(), drawn.end(), [&](const Vec2& d) { return (d - m.at).norm() < kCluster; });
      if (m.on_spot || near || drawn.size() == kMostMeasured) continue;
      drawn.push_back(m.at);
      const Vec2 side(m.at.x() < 0 ? -in_.table.half_width() : in_.table.half_width(), m.at.y());
      const Vec2 end(m.at.x(), m.at.y() < 0 ? -in_.table.half_length() : in_.table.half_length());
      tape(view_(side), view_(m.at), m.from_side);
      tape(view_(end), view_(m.at), m.from_end);
    }
  }

  void tape(const Vec2& nose, const Vec2& ball, double metres) {
    const Vec2 way = ball - nose;
    if (way.norm() < 4) return;  // mm on paper: no room for an arrow; the table below has the number
    const Vec2 along = way.normalized(), across = left_of(along);
    pen_.line({nose, ball}, kTape, 0.2);
    for (const auto& [tip, into] : {std::pair(nose, along), std::pair(ball, Vec2(-along))})
      pen_.line({tip + 1.5 * into + 0.5 * across, tip, tip + 1.5 * into - 0.5 * across}, kTape, 0.2);
    keep_free({nose, ball});
    const std::string number = millimetres(metres);
    const double size = 3.1, half = 0.5 * pen_.width_of(number, size, true) + 0.4;
    const Vec2 at = labels_->place(nose + 0.5 * way, 0.3, {half, 0.5 * size});
    pen_.text_about(at, number, size, kTape, true);
  }

  void name(const MarkDistances& m) {
    const std::string word = ball_name(m.ball);
    const double size = 3.1, half = 0.5 * pen_.width_of(word, size) + 0.3;
    pen_.text_about(labels_->place(view_(m.at), view_.scale * m.radius + 0.5, {half, 0.5 * size}), word, size, kInk);
  }

  // The column of words beside the plan.
  void words(double y) {
    const double left = kEdge + std::max(view_.size().x(), 60.0) + kGap, width = kA4.x() - kEdge - left;
    y += 3.5;
    const auto head = [&](const std::string& text) {
      pen_.text({left, y}, text, 4.6, kInk, true);
      y += 1.5 * 4.6;
    };
    const auto paragraph = [&](const std::string& text, const Ink& ink) {
      for (const std::string& line : pen_.wrap(text, width, kLetter)) {
        pen_.text({left, y}, line, kLetter, ink);
        y += kLine * kLetter;
      }
      y += 1.1;
    };
    SetupWordsOptions o;
    o.ball_radius = in_.set.kinds.front().radius;
    if (predicted_) {
      if (predicted_->aim) o.cut = predicted_->aim->cut;
      const auto cue = table::BallSet(in_.set).radius_of("white");
      motion::Ball ball = motion::make_ball(in_.set, "white", Vec2::Zero());
      ball.radius = cue;
      if (const auto l = motion::lengths_of(predicted_->strike.speed, in_.table, in_.conditions, ball)) o.lengths = *l;
    }
    if (const auto shot = shot_words(in_.setup, o); !shot.empty()) {
      head("The shot");
      for (const std::string& s : shot) paragraph(s, kInk);
      y += 2.5;
    }
    if (const auto goal = goal_words(in_.setup, in_.table); !goal.empty()) {
      head("The goal");
      for (const std::string& s : goal) paragraph(s, kInk);
      y += 2.5;
    }
    head("Setting it up");
    paragraph(
        "Lay the tape on the cloth, square to the cushion, and measure from the nose: the edge that a ball meets "
        "first. Make a small chalk mark and stand the ball over it.",
        kInk);
    paragraph(
        "Tables and drawn spots differ by millimetres. Measure from the cushions named below. Put a ball that "
        "belongs on a spot on this table's own spot.",
        kInk);
    y += 1.5;
    if (way_is_drawn())
      paragraph(fmt::format("Dashed on the plan: the white's way and stop as predicted for {}. Other cloths run "
                            "longer or shorter.",
                            in_.cloth),
                kQuiet);
    else if (predicted_ && predicted_->meant_to_pot)
      paragraph(fmt::format("No way is drawn: predicted for {}, this strike does not pot the ball.", in_.cloth),
                kQuiet);
    if (in_.setup.goal && in_.setup.goal->zone) paragraph("Dashed and heavy, closed: the zone for the white.", kQuiet);
    words_end_ = y;
  }

  void table(double top) {
    const std::array<double, 4> at{kEdge, kEdge + 23, kEdge + 64, kEdge + 101};
    std::vector<std::vector<std::string>> spots;  // lines of each ball
    double lines = 1;
    constexpr double kFurther = 0.75;  // of a row: each line after its first
    for (const MarkDistances& m : marks_) {
      const auto [nearest, ways] = spot_words(m);
      std::string touching;
      for (const std::string& other : m.touching) touching += (touching.empty() ? "touches " : ", ") + ball_name(other);
      spots.emplace_back();
      for (const std::string& text : {nearest, ways, touching})
        if (!text.empty())
          for (const std::string& line : pen_.wrap(text, kA4.x() - kEdge - at[3], kLetter))
            spots.back().push_back(line);
      lines += 1 + kFurther * static_cast<double>(std::max<std::size_t>(1, spots.back().size()) - 1);
    }
    const double row = std::min(kRow, (kA4.y() - kEdge - top) / lines);
    const double size = std::min(kLetter, 0.62 * row);
    double y = top + 0.7 * row;
    const std::array<const char*, 4> heads{"Ball", "Side cushion", "End cushion", "Nearest spot"};
    for (std::size_t k = 0; k < heads.size(); ++k) pen_.text({at[k], y}, heads[k], size, kQuiet, true);
    for (std::size_t k = 0; k < marks_.size(); ++k) {
      const MarkDistances& m = marks_[k];
      pen_.line({{kEdge, y + 0.3 * row}, {kA4.x() - kEdge, y + 0.3 * row}}, kQuiet, 0.12);
      y += row;
      pen_.disc({at[0] + 0.4 * size, y - 0.36 * size}, 0.42 * size, {ball_colour(m.ball)});
      pen_.circle({at[0] + 0.4 * size, y - 0.36 * size}, 0.42 * size, kInk, 0.15);
      pen_.text({at[0] + 1.3 * size, y}, ball_name(m.ball), size, kInk, true);
      const auto distance = [&](double x, double metres, const std::string& cushion, bool touches) {
        const std::string number = millimetres(metres) + " mm ";
        pen_.text({x, y}, number, size, kInk, true);
        pen_.text({x + pen_.width_of(number, size, true), y}, cushion + (touches ? ", touching" : ""), size, kInk);
      };
      distance(at[1], m.from_side, m.side == "left" ? "green side" : "yellow side", m.touches_side);
      distance(at[2], m.from_end, m.end == "top" ? "top" : "baulk", m.touches_end);
      bool first = true;
      for (const std::string& line : spots[k]) {
        if (!first) y += kFurther * row;
        first = false;
        pen_.text({at[3], y}, line, size, kInk);
      }
    }
  }

  const CardInput& in_;
  Pen pen_;
  std::vector<MarkDistances> marks_;
  std::optional<practice::SetupPrediction> predicted_;
  FlatView view_;
  std::optional<LabelPlacer> labels_;
  double words_end_ = 0;
};

}  // namespace

std::string setup_card(const CardInput& input, Pen::Page kind) { return Card(input, kind).draw(); }

}  // namespace baizetrace::report
