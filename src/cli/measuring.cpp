#include "cli/measuring.hpp"

#include <opencv2/imgcodecs.hpp>

#include "camera/register.hpp"
#include "cli/publishing.hpp"
#include "compare/predicting.hpp"
#include "compare/table_play.hpp"
#include "path/episode.hpp"
#include "path/reconstruct.hpp"
#include "practice/attempts.hpp"
#include "practice/scoring.hpp"
#include "practice/steadiness.hpp"
#include "sight/eye.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"
#include "video/clip.hpp"

namespace baizetrace::cli {
namespace {

// Everything that must be right before the first frame is looked at.
struct Ground {
  table::Spec spec;
  table::BallSet balls;
  std::optional<practice::Setup> setup;
  motion::Conditions conditions;
  std::optional<camera::Rig> rig;
};

Result<Ground> lay_ground(const MeasureOptions& o) {
  Ground g;
  if (o.setup) {
    const auto setup = practice::read_setup(*o.setup);
    if (!setup) return pass_on(setup);
    g.setup = *setup;
  }
  if (o.conditions) {
    const auto conditions = motion::read_conditions(*o.conditions);
    if (!conditions) return pass_on(conditions);
    g.conditions = *conditions;
  }
  const auto spec = table::read_spec(g.setup ? g.setup->table : o.table);
  if (!spec) return pass_on(spec);
  g.spec = *spec;
  const auto balls = table::read_ball_set(g.spec.balls);
  if (!balls) return pass_on(balls);
  g.balls = *balls;
  if (o.rig) {
    const auto rig = camera::read_rig(*o.rig);
    if (!rig) return pass_on(rig);
    g.rig = *rig;
  }
  return g;
}

// An episode and the picture taken when it was over.
struct Seen {
  path::Episode episode;
  std::vector<unsigned char> picture;  // JPEG: a session's pictures must not fill the memory
  std::size_t covered = 0;             // cells of the bed that something stood over in it
};

// Keeps the clearest picture of the seconds after each episode: nobody leans over the bed in it if that can be had.
class PictureKeeper {
 public:
  void episode_over(Seen& seen, const video::Frame& frame, const Look& look) {
    take(seen, frame, look);
    until_ = frame.time + kWait;
  }
  void frame(std::vector<Seen>& seen, const video::Frame& frame, const Look& look) {
    if (seen.empty() || frame.time > until_ || look.damaged) return;
    if (look.cover.cells.count() + kClearer < seen.back().covered || seen.back().picture.empty())
      take(seen.back(), frame, look);
  }

 private:
  static constexpr double kWait = 2.0;         // s: before the balls are put back
  static constexpr std::size_t kClearer = 10;  // cells of the cover map: worth another picture
  double until_ = -1;
  static void take(Seen& seen, const video::Frame& frame, const Look& look) {
    cv::imencode(".jpg", frame.bgr(), seen.picture, {cv::IMWRITE_JPEG_QUALITY, 92});
    seen.covered = look.cover.cells.count();
  }
};

// The rig: as given, or found in the clip.
Result<Done> find_rig(Ground& g, const MeasureOptions& o, const video::ClipInfo& info, practice::Session& session) {
  if (g.rig) {
    const camera::Camera& c = g.rig->camera;
    if (c.width != info.width || c.height != info.height)
      return fail("{}: is for a picture of {} x {}, {} is {} x {}: register this clip", *o.rig, c.width, c.height,
                  o.clip, info.width, info.height);
  } else {
    camera::RegisterOptions how;
    how.readout = o.readout;
    const auto found = camera::register_clip(o.clip, g.spec, g.balls, how);
    if (!found) return pass_on(found);
    if (!found->found) return fail("{}: no table found: {}", o.clip, found->why);
    g.rig = found->rig;
    session.rig.rms_pixels = found->rms_pixels;
    session.rig.rms = found->rms;
    for (const std::string& w : found->warnings) session.warnings.push_back({0, w});
  }
  if (o.readout) {
    g.rig->readout = *o.readout;
    g.rig->u_readout = 0;
    g.rig->readout_known = true;
  }
  if (!g.rig->readout_known)
    session.warnings.push_back({0, fmt::format("the readout of the camera's rows is not known: {:.0f} +- {:.0f} ms is "
                                               "taken, and every time carries that (--readout)",
                                               1e3 * g.rig->readout, 1e3 * g.rig->u_readout)});
  return Done{};
}

// One pass over the clip: sightings, tracks, episodes.
Result<std::vector<Seen>> look_through(video::Clip& clip, const Ground& g, const table::Table& table,
                                       const MeasureOptions& o) {
  sight::Eye eye(*g.rig, table, g.balls);
  if (auto learnt = eye.learn(clip); !learnt) return pass_on(learnt);
  path::TrackerOptions names;
  if (g.setup)
    for (const motion::Ball& b : practice::balls_of(*g.setup, table, g.balls))
      names.names.emplace_back(b.name, b.place);
  path::Tracker tracker(table, g.balls, names);
  std::vector<Seen> seen;
  PictureKeeper keeper;
  std::optional<video::Frame> last;
  Look look;
  const double duration = clip.info().duration;
  while (auto frame = clip.next()) {
    look = eye.look(*frame);
    if (auto episode = tracker.push(look)) {
      seen.push_back({std::move(*episode), {}, 0});
      keeper.episode_over(seen.back(), *frame, look);
    } else {
      keeper.frame(seen, *frame, look);
    }
    if (o.progress && duration > 0) o.progress(frame->time / duration, "measuring");
    last = std::move(frame);
  }
  if (auto episode = tracker.finish()) {
    seen.push_back({std::move(*episode), {}, 0});
    if (last) keeper.episode_over(seen.back(), *last, look);
  }
  return seen;
}

// The search for contacts may end elsewhere when the cloth is taken as read: the account that the white's sightings
// bear out stays.
const path::EpisodePaths& better_of(const path::EpisodePaths& before, const path::EpisodePaths& now) {
  if (before.struck != now.struck) return before.struck ? before : now;
  const auto rms = [](const path::EpisodePaths& e) {
    for (const BallPath& b : e.balls)
      if (b.ball == "white") return b.rms;
    return 0.0;
  };
  constexpr double kClearlyWorse = 1.3;
  return rms(now) > kClearlyWorse * rms(before) ? before : now;
}

// Attempts from episodes. How the table plays is read off all free rolls first; then every path is fitted with that.
path::Play make_attempts(const std::vector<Seen>& seen, const Ground& g, const table::Table& table,
                         practice::Session& session, std::vector<const Seen*>& of_attempt) {
  const camera::Rig& rig = *g.rig;
  path::ReconstructOptions how;
  how.readout = rig.readout;
  how.u_readout = rig.u_readout;
  how.rig_covariance = [&](const Vec2& at) { return rig.place_covariance(at, g.balls.kinds[0].radius); };
  std::vector<path::EpisodePaths> first;
  for (const Seen& s : seen) first.push_back(path::reconstruct(s.episode, table, g.balls, how));
  how.play = path::read_play(first, how.play);
  const practice::AttemptOptions as{how.rig_covariance};
  std::map<std::string, Place> reference;  // where the balls lay at first
  for (std::size_t i = 0; i < seen.size(); ++i) {
    const Seen& s = seen[i];
    const path::EpisodePaths paths = better_of(first[i], path::reconstruct(s.episode, table, g.balls, how));
    auto attempt = practice::attempt_from(s.episode, paths, g.balls, as);
    if (!attempt) {
      // What a player would wonder about; balls put back are no news.
      if (paths.why_not != "the cue ball was not played" && paths.why_not != "nothing moved")
        session.warnings.push_back({s.episode.begin, fmt::format("not an attempt: {}", paths.why_not)});
      continue;
    }
    // The rig holds for the camera as it stood when the table was found.
    if (reference.empty()) reference = attempt->before;
    const auto shift = practice::common_shift(reference, attempt->before);
    if (shift) {
      session.refused.push_back(
          {s.episode.begin, s.episode.end,
           fmt::format("the camera has moved: all balls seem {:.0f} mm off where they lay; places cannot be trusted",
                       1e3 * shift->norm())});
      continue;
    }
    attempt->number = static_cast<int>(session.attempts.size()) + 1;
    practice::add_passing(*attempt, table, g.balls,
                          g.setup && g.setup->goal ? g.setup->goal->gates : std::vector<motion::GateName>{});
    if (g.setup) practice::score_attempt(*attempt, *g.setup, table, g.balls);
    session.attempts.push_back(std::move(*attempt));
    of_attempt.push_back(&s);
  }
  return how.play;
}

}  // namespace

Result<practice::Session> measure(const MeasureOptions& o) {
  auto ground = lay_ground(o);
  if (!ground) return pass_on(ground);
  Ground& g = *ground;
  auto clip = video::Clip::open(o.clip);
  if (!clip) return pass_on(clip);
  const video::ClipInfo info = clip->info();

  practice::Session session;
  session.clip.file = o.clip;
  session.clip.width = info.width;
  session.clip.height = info.height;
  session.clip.duration = info.duration;
  if (g.setup) session.setup = {g.setup->file, g.setup->title};

  if (o.progress) o.progress(0, o.rig ? "learning the cloth" : "finding the table");
  if (auto found = find_rig(g, o, info, session); !found) return pass_on(found);
  const table::Table table = camera::table_of(*g.rig, g.spec);

  auto seen = look_through(*clip, g, table, o);
  if (!seen) return pass_on(seen);
  const video::ClipEnd& end = clip->end();
  session.complete = end.complete;
  session.measured_until = end.last_time;
  session.clip.frames = end.frames;
  if (!end.complete) session.warnings.push_back({end.last_time, end.why});
  if (end.damaged > 0) session.warnings.push_back({0, fmt::format("{} damaged frames were left out", end.damaged)});

  std::vector<const Seen*> of_attempt;
  const path::Play play = make_attempts(*seen, g, table, session, of_attempt);
  const auto rebound = compare::read_rebound(session.attempts, table, g.balls, g.conditions);
  const auto played = compare::conditions_as_played(g.conditions, play, rebound);
  session.conditions = played.values;
  for (practice::Attempt& a : session.attempts) compare::predict_attempt(a, g.setup, table, g.balls, played);

  Pictures pictures;
  for (const Seen* s : of_attempt) pictures.push_back(cv::imdecode(s->picture, cv::IMREAD_COLOR));
  if (auto written = publish({o.folder, !o.rig, o.rig.value_or("")}, session, *g.rig, table, g.setup, pictures);
      !written)
    return pass_on(written);
  return session;
}

}  // namespace baizetrace::cli
