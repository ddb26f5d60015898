#include "cli/cutting.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <opencv2/imgproc.hpp>

#include "base/files.hpp"
#include "cli/clip_rig.hpp"
#include "cli/cut_layout.hpp"
#include "cli/filming.hpp"
#include "cli/session_file.hpp"
#include "practice/statistics.hpp"
#include "report/attempt_plan.hpp"
#include "report/captions.hpp"
#include "report/flat_plan.hpp"
#include "report/moving.hpp"
#include "report/pen.hpp"
#include "report/words.hpp"
#include "video/film.hpp"
#include "video/plain_copy.hpp"
#include "video/sound.hpp"

namespace baizetrace::cli {
namespace {
namespace fs = std::filesystem;
const cv::Scalar kGround(26, 24, 21);  // B, G, R of the canvas
constexpr int kLargeFrom = 1000;       // px of a recording's smaller side: cut at full size

struct Meant {
  std::vector<Vec2> places;
  std::optional<Vec2> rest;
};

struct Job {
  const CutOptions& o;
  const OldSession& old;
  std::vector<std::optional<practice::Setup>> setups;
  CutDone done;

  [[nodiscard]] const practice::Setup* setup_of(const practice::Attempt& a) const {
    const auto k = static_cast<std::size_t>(a.group) - 1;
    return k < setups.size() && setups[k] ? &*setups[k] : nullptr;
  }
  [[nodiscard]] report::WordsOptions words_for(const practice::Attempt& a) const {
    return {.ball_radius = old.balls.radius_of("white"), .setup = setup_of(a)};
  }
  void note(const std::string& what) {
    if (std::find(done.notes.begin(), done.notes.end(), what) == done.notes.end()) done.notes.push_back(what);
  }
};

// A setup that asks for nothing but the pot has no goal to be judged by.
bool came_off(const practice::Attempt& a) { return practice::is_hit(a).value_or(a.pot_made.value_or(false)); }

// The best: most points; of those the white nearest to where it was wanted.
const practice::Attempt* best_of(const Job& job) {
  const practice::Attempt* best = nullptr;
  double most = -1, nearest = 0;
  for (const practice::Attempt& a : job.old.session.attempts) {
    if (!a.score && !a.pot_made) continue;
    const double points = a.score && a.score->of > 0   ? a.score->points / a.score->of
                          : a.pot_made.value_or(false) ? 1
                                                       : 0;
    double off = 1e9;
    const practice::Setup* setup = job.setup_of(a);
    const auto rest = a.after.find("white");
    if (setup && setup->goal && setup->goal->zone && rest != a.after.end())
      off = (rest->second.at - setup->goal->zone->middle()).norm();
    if (points < most || (points == most && off >= nearest)) continue;
    best = &a, most = points, nearest = off;
  }
  return best;
}

Result<std::vector<const practice::Attempt*>> chosen(const Job& job) {
  const auto& attempts = job.old.session.attempts;
  const std::string& which = job.o.which;
  std::vector<const practice::Attempt*> out;
  if (attempts.empty()) return fail("{}: holds no attempt", job.old.file);
  const bool judged =
      std::any_of(attempts.begin(), attempts.end(), [](const auto& a) { return a.score || a.pot_made.has_value(); });
  if ((which == "hits" || which == "best") && !judged)
    return fail("{}: no attempt was judged; score it first: baizetrace score {} --setup FILE", job.old.file,
                job.o.session);
  if (which == "all") {
    for (const practice::Attempt& a : attempts) out.push_back(&a);
  } else if (which == "hits") {
    for (const practice::Attempt& a : attempts)
      if (came_off(a)) out.push_back(&a);
    if (out.empty()) return fail("{}: none of its {} attempts is a hit", job.old.file, attempts.size());
  } else if (which == "best") {
    out.push_back(best_of(job));
  } else {
    for (std::size_t from = 0; from <= which.size();) {
      const std::size_t comma = std::min(which.find(',', from), which.size());
      const std::string word = which.substr(from, comma - from);
      from = comma + 1;
      char* end = nullptr;
      const long number = std::strtol(word.c_str(), &end, 10);
      if (word.empty() || *end != 0)
        return fail("\"{}\": expected all, hits, best, or numbers of attempts with commas", which);
      const auto found =
          std::find_if(attempts.begin(), attempts.end(), [&](const auto& a) { return a.number == number; });
      if (found == attempts.end()) return fail("{}: has no attempt {}", job.old.file, number);
      out.push_back(&*found);
    }
  }
  return out;
}

// What the setup means to happen from where the balls really stood, on an assumed cloth.
std::optional<Meant> meant_of(const Job& job, const practice::Attempt& a) {
  const practice::Setup* setup = job.setup_of(a);
  if (!setup || !setup->shot) return std::nullopt;
  practice::Overrides from;
  from.places.emplace();
  for (const practice::Mark& m : setup->balls)
    if (const auto at = a.before.find(m.ball); at != a.before.end()) from.places->emplace_back(m.ball, at->second.at);
  auto p = practice::predict_setup(*setup, job.old.table, job.old.balls, motion::Conditions{}, from);
  if (!p) p = practice::predict_setup(*setup, job.old.table, job.old.balls, motion::Conditions{});
  if (!p) return std::nullopt;
  const BallPath* white = p->motion.ball("white");
  if (!white) return std::nullopt;
  Meant m{report::places_along(*white), std::nullopt};
  if (white->rest) m.rest = white->rest->at;
  return m;
}

report::Onto onto_plan(const report::FlatView& view, double radius) {
  report::Onto onto;
  onto.pixel = [view](const Vec2& at) -> std::optional<Vec2> { return view(at); };
  onto.ball = [view, radius](const Vec2&) { return view.scale * radius; };
  return onto;
}

// One clip's canvas, drawn anew for each picture.
class Canvas {
 public:
  Canvas(const Job& job, const practice::Attempt& a, const Layout& layout)
      : job_(job), a_(a), l_(layout), radius_(job.old.balls.radius_of("white")) {
    cv::Mat bare(l_.height, l_.width, CV_8UC3, kGround);
    report::Pen pen(bare);
    report::draw_flat_table(pen, l_.plan, job.old.table, report::kOnScreen);
    if (const practice::Setup* setup = job.setup_of(a); setup && setup->goal && setup->goal->zone) {
      const practice::Zone& z = *setup->goal->zone;
      std::vector<Vec2> ring = z.centre ? report::ring(*z.centre, z.radius) : z.corners;
      if (!z.centre && ring.size() == 2)
        ring = {ring[0], {ring[1].x(), ring[0].y()}, ring[1], {ring[0].x(), ring[1].y()}};
      if (!z.centre && !ring.empty()) ring.push_back(ring.front());
      for (Vec2& p : ring) p = l_.plan(p);
      pen.line(ring, {{227, 192, 74}}, 0.1 * plan_letter(), {0.2 * plan_letter(), 0.3 * plan_letter()});
    }
    bare_ = pen.picture();
  }

  // `picture` may be empty (the drawing alone); `onto`: its overlay, when it is the table's own picture.
  cv::Mat draw(const cv::Mat& picture, const cv::Matx23d& map, const report::Onto* onto, double time,
               const std::optional<Meant>& hold) const {
    cv::Mat canvas = bare_.clone();
    if (!picture.empty()) {
      cv::Mat part = canvas(l_.picture);
      cv::Matx23d shifted = map;
      shifted(0, 2) -= l_.picture.x;
      shifted(1, 2) -= l_.picture.y;
      cv::warpAffine(picture, part, shifted, part.size(), cv::INTER_AREA, cv::BORDER_CONSTANT, kGround);
    }
    report::Pen pen(canvas);
    if (onto) {
      if (hold)
        report::draw_dashed(pen, *onto, hold->places, hold->rest, l_.letter);
      else
        report::draw_moving(pen, *onto, a_, time, {.letter = l_.letter});
    }
    const report::Onto plan = onto_plan(l_.plan, radius_);
    for (const auto& [name, at] : report::named_balls_at(a_, time))
      report::draw_flat_ball(pen, l_.plan, name, at, job_.old.balls.radius_of(name), report::kOnScreen);
    if (hold)
      report::draw_dashed(pen, plan, hold->places, hold->rest, plan_letter());
    else
      report::draw_moving(pen, plan, a_, time, {.letter = plan_letter(), .numbers = picture.empty()});
    words(pen, time, hold.has_value());
    return pen.picture();
  }

 private:
  [[nodiscard]] double plan_letter() const { return std::clamp(0.055 * l_.plan.scale, 0.35 * l_.letter, l_.letter); }

  void words(report::Pen& pen, double time, bool hold) const {
    const Badge badge = badge_of(a_, job_.old.table, job_.setup_of(a_), time);
    Vec2 at = l_.words;
    const auto line = [&](const std::string& text, double size, const report::Ink& ink, bool bold) {
      for (const std::string& part : pen.wrap(text, l_.words_width, size, bold)) {
        at.y() += 1.25 * size;
        pen.text(at, part, size, ink, bold);
      }
    };
    line(badge.first, 1.4 * l_.letter, {{255, 255, 255}}, true);
    if (hold)
      line("What is meant: as predicted for a good club cloth, assumed", l_.letter, {{255, 214, 64}}, false);
    else if (!badge.second.empty())
      line(badge.second, l_.letter, {{226, 230, 226}}, false);
    else if (a_.prediction)
      line("dashed, " + report::prediction_words(a_), 0.75 * l_.letter, {{255, 214, 64}}, false);
  }

  const Job& job_;
  const practice::Attempt& a_;
  Layout l_;
  double radius_;
  cv::Mat bare_;
};

// A second recording and how its time runs against the first.
struct Second {
  std::string file;
  double shift = 0;  // its time = the session's time + shift
};

Result<Second> line_up_with(const std::string& clip, const std::string& other) {
  const auto one = video::Clip::open(clip), two = video::Clip::open(other);
  if (!one) return pass_on(one);
  if (!two) return pass_on(two);
  std::vector<float> heard[2];
  for (const auto& [opened, file, into] : {std::tuple(&one, &clip, &heard[0]), std::tuple(&two, &other, &heard[1])}) {
    auto loud = video::loudness_of(*file, (*opened)->info().starts_at);
    if (!loud) return pass_on(loud);
    if (!*loud) return fail("{}: has no sound, so the two recordings cannot be lined up", *file);
    *into = std::move(**loud);
  }
  const auto lined = video::line_up(heard[0], heard[1]);
  if (!lined) return fail("{}: cannot be lined up with {}: no shift of their sounds stands out", other, clip);
  return Second{other, lined->shift};
}

constexpr int kHeldPictures = 25;  // that `--hold` shows the same

struct Timing {
  double from = 0, to = 0, hold = 0;
};

Result<Done> finish_film(Job& job, video::Film& film, const std::string& file) {
  if (!film.without_sound().empty()) job.note(film.without_sound());
  if (auto finished = film.finish(); !finished) return finished;
  job.done.files.push_back(file);
  return Done{};
}

// The clip of one attempt, drawn. `shared`: the table's recording (absent: the drawing alone or `second`).
Result<Timing> film_attempt(Job& job, const practice::Attempt& a, Shared* shared, const video::ClipInfo& info,
                            const std::string& clip, const std::optional<Second>& second, const std::string& file) {
  const Shape shape = *shape_of(job.o.shape);
  auto [from, to] = span_of(a);
  to = std::min(to, info.duration > 0 ? info.duration : to);
  const Shows shows = second ? Shows::second : job.o.plan_only ? Shows::plan : Shows::table;
  const bool large = std::min(info.width, info.height) >= kLargeFrom;
  const Layout layout = layout_of(shape, shows, large, job.old.table);
  const Canvas canvas(job, a, layout);
  std::optional<Meant> meant;
  if (job.o.hold) {
    meant = meant_of(job, a);
    if (!meant) job.note("--hold: no setup says what was meant, so nothing is held");
  }
  Timing timing{from, to, meant ? kHoldFor : 0};

  video::FilmOptions how;
  video::take_clock(how, info);
  how.width = layout.width;
  how.height = layout.height;
  video::FilmSound sound;
  std::optional<video::Clip> other;
  cv::Matx23d map = cv::Matx23d::eye();
  std::optional<report::Onto> onto;
  if (second) {
    auto opened = video::Clip::open(second->file);
    if (!opened) return pass_on(opened);
    other.emplace(std::move(*opened));
    const video::ClipInfo its = other->info();
    if (from + second->shift < 0 || (its.duration > 0 && from + second->shift >= its.duration))
      return fail("{}: was not recording at attempt {}", second->file, a.number);
    video::take_clock(how, its);
    map = fit_picture(its.width, its.height, layout.picture);
    if (!job.o.mute && its.time_scale == 1)
      sound = {second->file, its.starts_at, from + second->shift, to + second->shift};
  } else if (shared) {
    if (auto stands = shared->stand_at(from); !stands) return pass_on(stands);
    map = fit_table(shared->rig(), job.old.table, layout.picture);
    onto = onto_picture(*shared, map);
  }
  if (!second && !job.o.mute && info.time_scale == 1) sound = {clip, info.starts_at, from, to};
  sound.at = timing.hold;
  auto film = video::Film::create(file, how, sound);
  if (!film) return pass_on(film);

  std::optional<double> origin;
  const auto show = [&](const cv::Mat& picture, double time) -> Result<Done> {
    const report::Onto* over = onto ? &*onto : nullptr;
    if (!origin) {
      origin = time;
      if (meant) {
        // Shown again and again: not every player keeps one picture for seconds.
        const cv::Mat still = canvas.draw(picture, map, over, time, meant);
        for (int k = 0; k < kHeldPictures; ++k)
          if (auto held = film->add(still, k * kHoldFor / kHeldPictures); !held) return held;
      }
    }
    return film->add(canvas.draw(picture, map, over, time, std::nullopt), time - *origin + timing.hold);
  };
  const auto still_going = [&](double t) -> Result<Done> {
    if (job.o.progress) job.o.progress((t - from) / std::max(0.1, to - from), fmt::format("attempt {}", a.number));
    if (job.o.stopped && job.o.stopped()) return fail("stopped; {} was not written", file);
    return Done{};
  };
  if (other) {
    if (auto there = other->seek(from + second->shift); !there) return pass_on(there);
    while (auto frame = other->next()) {
      const double t = frame->time - second->shift;
      if (t > to) break;
      if (auto ok = show(frame->bgr(), t); !ok) return pass_on(ok);
      if (auto ok = still_going(t); !ok) return pass_on(ok);
    }
  } else if (shared) {
    if (auto there = shared->seek(from); !there) return pass_on(there);
    while (auto picture = shared->next([&](double t) { return report::balls_at(a, t); })) {
      if (picture->time > to) break;
      if (auto ok = show(picture->bgr, picture->time); !ok) return pass_on(ok);
      if (auto ok = still_going(picture->time); !ok) return pass_on(ok);
    }
    if (!shared->end().complete && !shared->end().why.empty()) job.note(fmt::format("{}: {}", clip, shared->end().why));
  } else {
    // The drawing alone needs no recording: a steady 30 pictures a second.
    constexpr double kRate = 30;
    for (int k = 0; from + k / kRate <= to; ++k) {
      if (auto ok = show({}, from + k / kRate); !ok) return pass_on(ok);
      if (auto ok = still_going(from + k / kRate); !ok) return pass_on(ok);
    }
  }
  if (origin) timing.from = *origin;
  if (auto ok = finish_film(job, *film, file); !ok) return pass_on(ok);
  return timing;
}

Result<Done> write_words(Job& job, const practice::Attempt& a, const Timing& t, const std::string& stem) {
  const auto cues = report::captions(a, job.old.table, job.words_for(a), {t.from, t.to, t.hold});
  const std::string file = stem + ".vtt";
  if (auto w = write_atomically(file, report::webvtt(cues)); !w) return w;
  job.done.files.push_back(file);
  return Done{};
}

Result<Done> check(const CutOptions& o) {
  if (const auto shape = shape_of(o.shape); !shape) return pass_on(shape);
  if (o.plain && (o.plan_only || o.hold || o.with))
    return fail("--plain copies the recording as it is: it goes with none of --plan-only, --hold and --with");
  if (o.plan_only && o.with) return fail("--plan-only draws the plan alone: it does not go with --with");
  return Done{};
}

}  // namespace

Result<CutDone> cut(const CutOptions& o) {
  if (auto fine = check(o); !fine) return pass_on(fine);
  const auto old = open_session(o.session);
  if (!old) return pass_on(old);
  Job job{o, *old, setups_of(old->session), {}};
  const auto attempts = chosen(job);
  if (!attempts) return pass_on(attempts);
  std::optional<Shared> shared;  // of the clip that is being cut
  std::optional<Second> second;
  video::ClipInfo info;
  std::string clip;
  int open = -1;
  if (o.plain) job.note("--plain copies the picture as it was filmed: whoever is in it stays in it");
  if (o.with) job.note("the second recording is shown whole: whoever is in it stays in it");
  for (const practice::Attempt* a : *attempts) {
    if (a->clip != open && !o.plan_only) {
      auto file = file_of_clip(old->session, old->folder, a->clip);
      if (!file) return pass_on(file);
      clip = *file;
      shared.reset();
      if (!o.plain && !o.with) {
        const auto rig = rig_of_clip(old->session, old->folder, a->clip);
        if (!rig) return pass_on(rig);
        if (o.progress) o.progress(0, "learning the cloth");
        auto opened = Shared::open(clip, *rig, moves_of(old->session, a->clip), old->table,
                                   old->balls.radius_of("white"), o.only_the_bed);
        if (!opened) return pass_on(opened);
        shared.emplace(std::move(*opened));
        info = shared->info();
      } else {
        const auto opened = video::Clip::open(clip);
        if (!opened) return pass_on(opened);
        info = opened->info();
      }
      if (o.with) {
        if (o.progress) o.progress(0, "listening to both recordings");
        auto lined = line_up_with(clip, *o.with);
        if (!lined) return pass_on(lined);
        second = *lined;
        job.note(fmt::format("{} runs {:.3f} s {} {}", *o.with, std::abs(second->shift),
                             second->shift >= 0 ? "ahead of" : "behind", clip));
      }
      open = a->clip;
    } else if (o.plan_only) {
      info.width = 1920, info.height = 1080;
    }
    if (auto made = make_folder(o.folder); !made) return pass_on(made);
    const std::string stem = (fs::path(o.folder) / fmt::format("attempt-{:02}", a->number)).string();
    Timing timing;
    if (o.plain) {
      const auto [from, to] = span_of(*a);
      const auto copied = video::copy_plain(info, from, to, stem + ".mp4", o.mute);
      if (!copied) return pass_on(copied);
      if (!copied->without_sound.empty()) job.note(copied->without_sound);
      job.done.files.push_back(stem + ".mp4");
      timing = {copied->from, copied->to, 0};
    } else {
      const auto filmed = film_attempt(job, *a, shared ? &*shared : nullptr, info, clip, second, stem + ".mp4");
      if (!filmed) return pass_on(filmed);
      timing = *filmed;
    }
    if (auto w = write_words(job, *a, timing, stem); !w) return pass_on(w);
  }
  std::vector<const practice::Setup*> setups;
  for (const auto& s : job.setups) setups.push_back(s ? &*s : nullptr);
  const std::string list = (fs::path(o.folder) / "chapters.txt").string();
  if (auto w = write_atomically(list, report::chapter_list(report::chapters(old->session, old->table, setups, kLead)));
      !w)
    return pass_on(w);
  job.done.files.push_back(list);
  return std::move(job.done);
}

}  // namespace baizetrace::cli
