#include "cli/filming.hpp"

#include <algorithm>
#include <cmath>

#include <opencv2/imgproc.hpp>

#include "report/attempt_plan.hpp"
#include "report/captions.hpp"
#include "report/pen.hpp"
#include "report/words.hpp"

namespace baizetrace::cli {
namespace {

constexpr double kAroundContact = 0.25;  // s either side that --slow stretches
constexpr double kLetters = 42;          // of a picture's height: the size of a letter

const practice::Setup* setup_of(const practice::Attempt& a, const std::vector<std::optional<practice::Setup>>& setups) {
  const auto k = static_cast<std::size_t>(a.group) - 1;
  return k < setups.size() && setups[k] ? &*setups[k] : nullptr;
}

bool near_contact(const practice::Attempt& a, double time) {
  const auto white = a.balls.find("white");
  if (white == a.balls.end()) return false;
  return std::any_of(white->second.contacts.begin(), white->second.contacts.end(),
                     [&](const Contact& c) { return std::abs(c.time - time) <= kAroundContact; });
}

void draw_badge(report::Pen& pen, const Badge& badge, const Vec2& corner, double letter) {
  const double width = std::max(pen.width_of(badge.first, 1.3 * letter, true), pen.width_of(badge.second, letter));
  const double height = (badge.second.empty() ? 2.1 : 3.4) * letter;
  const Vec2 size(width + 1.2 * letter, height);
  pen.area({corner, corner + Vec2(size.x(), 0), corner + size, corner + Vec2(0, size.y())}, {{10, 18, 22}, 0.72});
  pen.text(corner + Vec2(0.6 * letter, 1.5 * letter), badge.first, 1.3 * letter, {{255, 255, 255}}, true);
  if (!badge.second.empty())
    pen.text(corner + Vec2(0.6 * letter, 2.8 * letter), badge.second, letter, {{226, 230, 226}});
}

}  // namespace

std::pair<double, double> span_of(const practice::Attempt& a) {
  return {std::max(0.0, a.strike_time - kLead), report::over_at(a) + kTail};
}

std::vector<practice::RigMove> moves_of(const practice::Session& session, int clip) {
  std::vector<practice::RigMove> out;
  for (const practice::RigMove& m : session.rig.moves)
    if (m.clip == clip) out.push_back(m);
  return out;
}

Result<Shared> Shared::open(const std::string& file, const camera::Rig& rig, std::vector<practice::RigMove> moves,
                            const table::Table& table, double ball_radius, bool only_the_bed) {
  auto clip = video::Clip::open(file);
  if (!clip) return pass_on(clip);
  if (clip->info().width != rig.camera.width || clip->info().height != rig.camera.height)
    return fail("{}: is {} x {}, its rig is for {} x {}", file, clip->info().width, clip->info().height,
                rig.camera.width, rig.camera.height);
  Shared s(rig, table);
  s.moves_ = std::move(moves);
  s.ball_radius_ = ball_radius;
  s.only_the_bed_ = only_the_bed;
  s.clip_ = std::make_unique<video::Clip>(std::move(*clip));
  if (auto stands = s.stand_at(0); !stands) return pass_on(stands);
  return s;
}

Result<Done> Shared::stand_at(double time) {
  int pose = 0;
  for (const practice::RigMove& m : moves_)
    if (time >= 0.5 * (m.from + m.to)) ++pose;
  if (pose == pose_) return Done{};
  pose_ = pose;
  rig_ = first_;
  const auto k = static_cast<std::size_t>(pose);
  if (pose > 0) rig_.camera.pose = {moves_[k - 1].R, moves_[k - 1].t};
  if (!only_the_bed_) return Done{};
  people_ = std::make_unique<sight::People>(rig_, table_, ball_radius_);
  const std::string& file = clip_->info().file;
  auto again = video::Clip::open(file);  // learnt beside the frames that are being given out
  if (!again) return pass_on(again);
  const double from = pose > 0 ? moves_[k - 1].to : 0, to = k < moves_.size() ? moves_[k].from : clip_->info().duration;
  if (auto learnt = people_->learn(*again, from, to); !learnt)
    return fail("{}: people over the bed cannot be covered: {} (--whole-picture shows everything)", file,
                learnt.error().what);
  return Done{};
}

std::optional<Shared::Picture> Shared::next(const std::function<std::vector<Vec2>(double)>& balls) {
  auto frame = clip_->next();
  if (!frame) return std::nullopt;
  Picture p{frame->time, {}};
  const bool known = stand_at(frame->time).has_value();
  if (only_the_bed_ && (frame->damaged || !known)) {
    p.bgr = last_.empty() ? cv::Mat(frame->height(), frame->width(), CV_8UC3, cv::Scalar(26, 24, 21)) : last_.clone();
    return p;
  }
  p.bgr = frame->bgr();
  if (people_) sight::cover(p.bgr, people_->shown(*frame, balls(frame->time)));
  last_ = p.bgr.clone();
  return p;
}

double Shared::later(const Vec2& at) const {
  const auto p = rig_.camera.project({at.x(), at.y(), ball_radius_});
  return p ? rig_.readout * video::row_share(rig_.turn, rig_.camera.width, rig_.camera.height, *p) : 0;
}

report::Onto onto_picture(const Shared& shared, const cv::Matx23d& m) {
  const double radius = shared.ball_radius(), scale = std::sqrt(std::abs(m(0, 0) * m(1, 1) - m(0, 1) * m(1, 0)));
  report::Onto onto;
  onto.pixel = [=, &shared](const Vec2& at) -> std::optional<Vec2> {
    const auto p = shared.rig().camera.project({at.x(), at.y(), radius});
    if (!p) return std::nullopt;
    return Vec2(m(0, 0) * p->x() + m(0, 1) * p->y() + m(0, 2), m(1, 0) * p->x() + m(1, 1) * p->y() + m(1, 2));
  };
  onto.ball = [=, &shared](const Vec2& at) {
    const Mat2 j = shared.rig().camera.plane_jacobian({at.x(), at.y(), radius});
    return scale * radius * std::sqrt(std::abs(j(0, 0) * j(1, 1) - j(0, 1) * j(1, 0)));
  };
  onto.later = [&shared](const Vec2& at) { return shared.later(at); };
  return onto;
}

Badge badge_of(const practice::Attempt& a, const table::Table& table, const practice::Setup* setup, double time) {
  Badge b{fmt::format("Attempt {}", a.number), ""};
  if (time < report::over_at(a)) return b;
  b.second = report::words_of(a, table, {.setup = setup}).verdict;
  if (const std::string score = report::score_words(a); !score.empty()) b.first += "   " + score;
  return b;
}

Result<Overlaid> overlay(const practice::Session& session, const camera::Rig& rig, const table::Table& table,
                         double ball_radius, const std::vector<std::optional<practice::Setup>>& setups,
                         const OverlayOptions& o) {
  auto shared = Shared::open(o.clip, rig, moves_of(session, o.index), table, ball_radius, o.only_the_bed);
  if (!shared) return pass_on(shared);
  const video::ClipInfo info = shared->info();
  std::vector<const practice::Attempt*> attempts;
  for (const practice::Attempt& a : session.attempts)
    if (a.clip == o.index) attempts.push_back(&a);

  Overlaid done;
  video::FilmOptions how;
  video::take_clock(how, info);
  how.width = info.width + info.width % 2;
  how.height = info.height + info.height % 2;
  video::FilmSound sound;
  if (!o.mute && o.slow <= 1 && info.time_scale == 1) sound = {o.clip, info.starts_at, 0, info.duration + 1};
  if (!o.mute && o.slow > 1) done.notes.emplace_back("the sound is left out: it does not fit slowed pictures");
  auto film = video::Film::create(o.output, how, sound);
  if (!film) return pass_on(film);
  if (!film->without_sound().empty()) done.notes.push_back(film->without_sound());

  const double letter = how.height / kLetters;
  const report::Onto onto = onto_picture(*shared, cv::Matx23d(1, 0, 0, 0, 1, 0));
  std::size_t at = 0;  // the attempt that is on, or the next
  const auto balls = [&](double t) {
    std::vector<Vec2> places;
    for (std::size_t k = at > 0 ? at - 1 : 0; k < std::min(at + 1, attempts.size()); ++k)
      for (const Vec2& p : report::balls_at(*attempts[k], t)) places.push_back(p);
    return places;
  };
  double last = 0, shown = 0;
  bool first = true;
  while (auto picture = shared->next(balls)) {
    const double t = picture->time;
    while (at < attempts.size() && t > span_of(*attempts[at]).second + kTail) ++at;
    const practice::Attempt* on = nullptr;
    if (at < attempts.size() && t >= span_of(*attempts[at]).first) on = attempts[at];
    cv::Mat canvas = picture->bgr;
    if (canvas.cols != how.width || canvas.rows != how.height)
      cv::copyMakeBorder(canvas, canvas, 0, how.height - canvas.rows, 0, how.width - canvas.cols, cv::BORDER_REPLICATE);
    if (on) {
      report::Pen pen(canvas);
      report::draw_moving(pen, onto, *on, t, {.letter = letter});
      draw_badge(pen, badge_of(*on, table, setup_of(*on, setups), t), {0.6 * letter, 0.6 * letter}, letter);
      if (on->prediction && t < on->strike_time)
        pen.text({0.8 * letter, how.height - 0.8 * letter}, "dashed, " + report::prediction_words(*on), 0.9 * letter,
                 {{255, 214, 64}});
      canvas = pen.picture();
    }
    // Slowed by whole numbers: times stay whole ticks of the clip's clock.
    if (!first) shown += (t - last) * (on && near_contact(*on, t) ? o.slow : 1);
    first = false;
    last = t;
    if (auto added = film->add(canvas, shown); !added) return pass_on(added);
    if (o.progress && info.duration > 0) o.progress(t / info.duration, "drawing the video");
    if (o.stopped && o.stopped()) return fail("{}: stopped; no video was written", o.output);
  }
  if (!shared->end().complete)
    done.notes.push_back(fmt::format("the video ends at {:.1f} s: {}", shared->end().last_time, shared->end().why));
  if (auto finished = film->finish(); !finished) return pass_on(finished);
  done.pictures = film->pictures();
  return done;
}

}  // namespace baizetrace::cli
