#include "cli/one_clip.hpp"

#include <deque>
#include <future>

#include "base/threads.hpp"
#include "camera/recheck.hpp"
#include "camera/register.hpp"
#include "cli/steady_eye.hpp"
#include "path/episode.hpp"
#include "practice/attempts.hpp"
#include "practice/sorting.hpp"
#include "practice/steadiness.hpp"
#include "sight/eye.hpp"
#include "sight/people.hpp"
#include "sight/waiting.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"
#include "video/clip.hpp"
#include "video/still.hpp"

namespace baizetrace::cli {
namespace {

constexpr double kCheckFor = 1.1;  // s of the clip that a given rig is checked on
constexpr int kCheckSamples = 5;

// An episode, its paths as told without the others, and the picture taken when it was over.
struct Seen {
  path::Episode episode;
  std::shared_future<path::EpisodePaths> alone;
  std::vector<unsigned char> picture;  // JPEG: a session's pictures must not fill the memory
  std::size_t covered = 0;             // cells of the bed that something stood over in it
  camera::Camera camera;               // as it stood then
};

using AllSeen = std::deque<Seen>;  // each stays where it is: its paths are told meanwhile

// Keeps the clearest picture of the seconds after each episode: nobody leans over the bed in it if that can be had.
class PictureKeeper {
 public:
  explicit PictureKeeper(const SteadyEye& eye) : eye_(&eye) {}
  void episode_over(Seen& seen, const video::Frame& frame, const Look& look, const camera::Camera& camera) {
    take(seen, frame, look, camera);
    until_ = frame.time + kWait;
  }
  void frame(AllSeen& seen, const video::Frame& frame, const Look& look, const camera::Camera& camera) {
    if (seen.empty() || frame.time > until_ || look.damaged) return;
    if (look.cover.cells.count() + kClearer < seen.back().covered || seen.back().picture.empty())
      take(seen.back(), frame, look, camera);
  }

 private:
  static constexpr double kWait = 2.0;         // s: before the balls are put back
  static constexpr std::size_t kClearer = 10;  // cells of the cover map: worth another picture
  const SteadyEye* eye_;
  double until_ = -1;
  // People over the table are covered at once: no picture of them is kept.
  void take(Seen& seen, const video::Frame& frame, const Look& look, const camera::Camera& camera) {
    cv::Mat bgr = frame.bgr();
    sight::cover_people(bgr, eye_->people());
    seen.picture = video::jpeg_of(bgr, 92);
    seen.covered = look.cover.cells.count();
    seen.camera = camera;
  }
};

// A rig that was given may be yesterday's: is the camera still where it was? Gives the picture that tells; `first` sees
// the frames that are read for it.
Result<cv::Mat> check_rig(const Ground& g, const MeasureOptions& o, video::Clip& clip, sight::FirstFrames& first,
                          ClipShots& out) {
  camera::SceneOptions look;
  look.shown = [&](const video::Frame& frame) { first.show(frame); };
  look.look_at = kCheckFor;
  look.samples = kCheckSamples;
  look.moments = 0;  // the balls are not asked
  const auto scene = camera::gather_scene(clip, look);
  if (!scene) return pass_on(scene);
  const camera::Recheck now = camera::recheck(*scene, out.rig, g.spec, g.balls);
  out.rig.camera = now.camera;
  const std::string size = fmt::format("{:.1f} px, {:.0f} mm on the bed", now.pixels, 1e3 * now.metres);
  using Answer = camera::Recheck::Answer;
  if (now.answer == Answer::corrected || now.answer == Answer::found_anew)
    out.warnings.push_back(
        {0, fmt::format("the camera does not stand where {} has it: the picture is {} off; {}", *o.rig, size,
                        now.answer == Answer::corrected ? "corrected" : "found anew by its lens")});
  if (now.answer == Answer::cannot_tell)
    out.warnings.push_back(
        {0,
         fmt::format("whether {} still fits cannot be told from the first {:.0f} s of the clip; it is taken as it is",
                     *o.rig, kCheckFor)});
  return scene->luma;
}

// The rig: as given, or found in the clip. Gives the picture that it was found or checked in.
Result<cv::Mat> find_rig(const Ground& g, const MeasureOptions& o, video::Clip& clip, sight::FirstFrames& first,
                         ClipShots& out) {
  cv::Mat reference;
  const video::ClipInfo& info = clip.info();
  const std::string& file = info.file;
  if (g.rig) {
    const camera::Camera& c = g.rig->camera;
    if (c.width != info.width || c.height != info.height)
      return fail("{}: is for a picture of {} x {}, {} is {} x {}: register this clip", *o.rig, c.width, c.height, file,
                  info.width, info.height);
    out.rig = *g.rig;
    const auto checked = check_rig(g, o, clip, first, out);
    if (!checked) return pass_on(checked);
    reference = *checked;
  } else {
    camera::RegisterOptions how;
    how.readout = o.readout;
    const auto found = camera::register_clip(file, g.spec, g.balls, how);
    if (!found) return pass_on(found);
    if (!found->found) return fail("{}: no table found: {}", file, found->why);
    out.rig = found->rig;
    reference = found->luma;
    out.rms_pixels = found->rms_pixels;
    out.rms = found->rms;
    for (const std::string& w : found->warnings) out.warnings.push_back({0, w});
  }
  if (o.readout) {
    out.rig.readout = *o.readout;
    out.rig.u_readout = 0;
    out.rig.readout_known = true;
  }
  if (!out.rig.readout_known)
    out.warnings.push_back({0, fmt::format("the readout of the camera's rows is not known: {:.0f} +- {:.0f} ms is "
                                           "taken, and every time carries that (--readout)",
                                           1e3 * out.rig.readout, 1e3 * out.rig.u_readout)});
  return reference;
}

// One pass over the clip: sightings, tracks, episodes. `paths_of` is asked for an episode's paths while the next ones
// are looked at, one at a time.
AllSeen look_through(video::Clip& clip, SteadyEye& eye, const Ground& g, const table::Table& table,
                     const MeasureOptions& o, ClipShots& out, std::vector<path::Passing>& unseen_white,
                     const std::function<path::EpisodePaths(const path::Episode&)>& paths_of) {
  path::TrackerOptions names;
  if (g.setups.size() == 1)
    for (const motion::Ball& b : practice::balls_of(g.setups[0], table, g.balls))
      names.names.emplace_back(b.name, b.place);
  path::Tracker tracker(table, g.balls, names);
  AllSeen seen;
  const auto add = [&](path::Episode&& episode) {
    const std::shared_future<path::EpisodePaths> before = seen.empty() ? decltype(before)() : seen.back().alone;
    Seen& now = seen.emplace_back(Seen{std::move(episode), {}, {}, 0, {}});
    now.alone = std::async(std::launch::async, [before, &now, paths_of] {
                  if (before.valid()) before.wait();
                  return paths_of(now.episode);
                }).share();
  };
  PictureKeeper keeper(eye);
  sight::Waiting waiting;
  std::optional<video::Frame> last;
  Look look;
  const double duration = clip.info().duration;
  // Where the camera stands in the next frame is told while this one is looked at.
  struct Coming {
    std::optional<video::Frame> frame;
    SteadyEye::Standing standing;
  };
  const auto come = [&] {
    Coming c{clip.next(), {}};
    if (c.frame) c.standing = eye.stand(*c.frame);
    return c;
  };
  std::future<Coming> coming = std::async(std::launch::async, come);
  for (;;) {
    auto [frame, standing] = coming.get();
    if (!frame) break;
    coming = std::async(std::launch::async, come);
    look = eye.look(*frame, standing);
    const auto mended = waiting.push(look);
    if (auto episode = mended ? tracker.push(*mended) : std::nullopt) {
      add(std::move(*episode));
      keeper.episode_over(seen.back(), *frame, look, eye.camera());
    } else {
      keeper.frame(seen, *frame, look, eye.camera());
    }
    if (o.progress && duration > 0) o.progress(frame->time / duration, "measuring");
    last = std::move(frame);
    if (o.stopped && o.stopped()) {
      out.stopped = true;
      break;
    }
  }
  if (coming.valid()) coming.wait();
  const auto over = [&](path::Episode&& episode) {
    add(std::move(episode));
    if (last) keeper.episode_over(seen.back(), *last, look, eye.camera());
  };
  while (const auto mended = waiting.pop())
    if (auto episode = tracker.push(*mended)) over(std::move(*episode));
  if (auto episode = tracker.finish()) over(std::move(*episode));
  unseen_white = tracker.unseen_white();
  const video::ClipEnd& end = clip.end();
  out.complete = end.complete && !out.stopped;
  out.until = out.stopped && last ? last->time : end.last_time;
  out.info.frames = end.frames;
  if (out.stopped)
    out.warnings.push_back({out.until, fmt::format("stopped at {:.1f} s of {:.1f}", out.until, duration)});
  else if (!end.complete)
    out.warnings.push_back({end.last_time, end.why});
  if (end.damaged > 0) out.warnings.push_back({0, fmt::format("{} damaged frames were left out", end.damaged)});
  return seen;
}

// The search for contacts may end elsewhere when the cloth is taken as read: the account that tells of a fall
// more stays, and the one that the white's sightings bear out.
const path::EpisodePaths& better_of(const path::EpisodePaths& before, const path::EpisodePaths& now) {
  if (before.struck != now.struck) return before.struck ? before : now;
  const auto rms = [](const path::EpisodePaths& e) {
    for (const BallPath& b : e.balls)
      if (b.ball == "white") return b.rms;
    return 0.0;
  };
  const auto fallen = [](const path::EpisodePaths& e) {
    return std::count_if(e.balls.begin(), e.balls.end(), [](const BallPath& b) { return b.pocket.has_value(); });
  };
  if (fallen(before) > fallen(now)) return before;
  constexpr double kClearlyWorse = 1.3;
  return rms(now) > kClearlyWorse * rms(before) ? before : now;
}

constexpr double kLongestRun = 30;  // s, of any ball

// What all paths of a clip are told with.
path::ReconstructOptions telling(const camera::Rig& rig, const Ground& g, const path::Play& play) {
  path::ReconstructOptions how;
  how.readout = rig.readout;
  how.u_readout = rig.u_readout;
  how.rig_covariance = [&](const Vec2& at) { return rig.place_covariance(at, g.balls.kinds[0].radius); };
  how.rig_off_noses = [&](const Vec2& at) { return rig.place_covariance_off_noses(at, g.balls.kinds[0].radius); };
  how.size_covariance = rig.size_covariance();
  how.play = play;
  return how;
}

// Shots from episodes. How the table plays is read off all free rolls first; then every path is fitted with that.
void make_shots(AllSeen& seen, const std::vector<path::Passing>& unseen_white, const SteadyEye& eye, const Ground& g,
                const table::Table& table, path::Play& play, ClipShots& out) {
  path::ReconstructOptions how = telling(out.rig, g, play);
  std::vector<path::EpisodePaths> first, all(seen.size());
  for (const Seen& s : seen) first.push_back(s.alone.get());
  play = how.play = path::read_play(first, how.play);
  share_out(static_cast<int>(seen.size()), kThreads, [&](int k) {
    const auto i = static_cast<std::size_t>(k);
    all[i] = better_of(first[i], path::reconstruct(seen[i].episode, table, g.balls, how));
  });
  const practice::AttemptOptions as{how.rig_covariance};
  std::map<std::string, Place> reference;  // where the balls lay at first
  std::vector<double> no_run;              // s, when the white moved, but not freely
  for (std::size_t i = 0; i < seen.size(); ++i) {
    Seen& s = seen[i];
    const path::EpisodePaths& paths = all[i];
    auto attempt = practice::attempt_from(s.episode, paths, g.balls, as);
    if (!attempt) {
      // What a player would wonder about; balls put back are no news.
      if (paths.why_not == path::kNoFreeRun)
        no_run.push_back(s.episode.begin);
      else if (paths.why_not != "the cue ball was not played" && paths.why_not != "nothing moved")
        out.warnings.push_back({s.episode.begin, fmt::format("not an attempt: {}", paths.why_not)});
      continue;
    }
    if (const auto why = eye.untrusted(s.episode.begin, s.episode.end)) {
      out.refused.push_back({s.episode.begin, s.episode.end, *why});
      continue;
    }
    // Where the table's edges cannot tell, the balls may: the rig holds for the camera as it stood at first.
    if (reference.empty()) reference = attempt->before;
    const auto shift = eye.mount().can_tell() ? std::nullopt : practice::common_shift(reference, attempt->before);
    if (shift) {
      out.refused.push_back(
          {s.episode.begin, s.episode.end,
           fmt::format("the camera has moved: all balls seem {:.0f} mm off where they lay; places cannot be trusted",
                       1e3 * shift->norm())});
      continue;
    }
    if (!out.shots.empty() && practice::runs_on(out.shots.back(), *attempt, g.balls.kinds[0].name)) {
      out.warnings.push_back({attempt->strike_time,
                              "no other attempt: the white, which had gone out of sight on its way, came out again; "
                              "where it went from there is not told"});
      continue;
    }
    if (const std::string note = practice::under_way_note(paths); !note.empty())
      out.warnings.push_back({attempt->strike_time, note});
    if (const std::string note = practice::unseen_start_note(s.episode, g.balls); !note.empty())
      out.warnings.push_back({attempt->strike_time, note});
    out.shots.push_back(std::move(*attempt));
    out.pictures.push_back(std::move(s.picture));
    out.cameras.push_back(s.camera);
  }
  double last = -1e18;
  for (const path::Passing& p : unseen_white) {
    constexpr double kOneRun = 3;  // s between what was seen of it
    const bool told = p.from < last + kOneRun;
    last = p.to;
    if (!told && std::none_of(out.shots.begin(), out.shots.end(), [&](const practice::Attempt& a) {
          return p.to > a.strike_time && p.from < a.rest_time.value_or(a.strike_time + kLongestRun);
        }))
      out.warnings.push_back({p.from, "no attempt: the white ran, but where it lay before was out of sight"});
  }
  // Every attempt has one: told in one line, so that a lost attempt can still be looked for there.
  if (no_run.empty()) return;
  std::string when;
  for (const double t : no_run) when += fmt::format("{}{:.1f}", when.empty() ? "" : ", ", t);
  out.warnings.push_back({0, fmt::format("no attempts, at {} s: {}", when, path::kNoFreeRun)});
}

}  // namespace

Result<ClipShots> measure_clip(const std::string& file, int index, const Ground& g, const MeasureOptions& o,
                               path::Play& play) {
  auto clip = video::Clip::open(file);
  if (!clip) return pass_on(clip);
  ClipShots out;
  const video::ClipInfo& info = clip->info();
  out.info = {file, info.width, info.height, 0, info.duration};
  if (o.progress) o.progress(0, o.rig ? "learning the cloth" : "finding the table");
  sight::FirstFrames first;
  const auto reference = find_rig(g, o, *clip, first, out);
  if (!reference) return pass_on(reference);
  const table::Table table = camera::table_of(out.rig, g.spec);
  sight::Eye learning(out.rig, table, g.balls);
  // What was read for the rig may do for the cloth too: back to the beginning meanwhile.
  std::future<Result<Done>> back = std::async(std::launch::async, [&] { return clip->seek(0); });
  Result<Done> learnt = first.enough() ? learning.learn(first) : Done{};
  if (const auto there = back.get(); !there) return pass_on(there);
  if (!first.enough()) learnt = learning.learn(*clip);
  if (!learnt) return pass_on(learnt);
  first = sight::FirstFrames();
  SteadyEye eye(std::move(learning), *reference, out.rig, table, g.balls, file);
  std::vector<path::Passing> unseen_white;
  const path::ReconstructOptions alone = telling(out.rig, g, play);
  AllSeen seen = look_through(*clip, eye, g, table, o, out, unseen_white, [&](const path::Episode& episode) {
    return path::reconstruct(episode, table, g.balls, alone);
  });
  eye.tell(out.moves, out.warnings);
  if (o.progress) o.progress(1, "fitting the paths");
  make_shots(seen, unseen_white, eye, g, table, play, out);
  for (practice::Attempt& a : out.shots) a.clip = index;
  for (practice::Warning& w : out.warnings) w.clip = index;
  for (practice::RigMove& m : out.moves) m.clip = index;
  for (practice::Refused& r : out.refused) r.clip = index;
  return out;
}

}  // namespace baizetrace::cli
