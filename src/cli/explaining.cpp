#include "cli/explaining.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "base/files.hpp"
#include "camera/scene.hpp"
#include "cli/clip_rig.hpp"
#include "cli/steady_eye.hpp"
#include "practice/wording.hpp"
#include "report/seen_picture.hpp"
#include "sight/eye.hpp"
#include "table/ball_set.hpp"
#include "video/clip.hpp"
#include "video/still.hpp"

namespace baizetrace::cli {
namespace fs = std::filesystem;
namespace {

constexpr double kReferenceFor = 1.1;  // s of the clip's start in which the camera stands as its rig says

struct Asked {
  double time = 0;  // s
  std::string moment;
};

std::string touches(const std::string& ball, const Contact& c) {
  const std::string who = "the " + practice::ball_name(ball);
  switch (c.kind) {
    case ContactKind::ball:
      return fmt::format("{} meets the {}", who, practice::ball_name(c.with));
    case ContactKind::cushion:
      return fmt::format("{} meets the {} cushion", who, c.with);
    case ContactKind::jaw:
      return fmt::format("{} meets a jaw, {}", who, c.with);
    case ContactKind::pocket:
      break;
  }
  return fmt::format("{} falls, {}", who, c.with);
}

// What an eye would want to see of an attempt.
void moments_of(const practice::Attempt& a, double frame, std::vector<Asked>& out) {
  const std::string n = fmt::format("attempt {}: ", a.number);
  const auto about = [&](double time, const std::string& what) {
    out.push_back({time - frame, n + "before " + what});
    out.push_back({time + frame, n + "after " + what});
  };
  about(a.strike_time, "the strike");
  for (const auto& [ball, path] : a.balls) {
    for (const Contact& c : path.contacts)
      if (ball == "white" || c.kind != ContactKind::ball || c.with != "white") about(c.time, touches(ball, c));
    for (std::size_t i = 1; i < path.rows.size(); ++i)
      if (!path.rows[i].seen && path.rows[i - 1].seen)
        out.push_back({path.rows[i].time, n + "the " + practice::ball_name(ball) + " is out of sight"});
  }
  if (a.rest_time) out.push_back({*a.rest_time + frame, n + "all at rest"});
}

std::vector<report::OnPath> on_paths(const practice::Session& s, int clip, const camera::Rig& rig,
                                     const video::Frame& frame, double interval, double radius) {
  std::vector<report::OnPath> out;
  for (const practice::Attempt& a : s.attempts) {
    if (a.clip != clip) continue;
    for (const auto& [ball, path] : a.balls) {
      const PathRow* nearest = nullptr;
      Vec2 pixel = Vec2::Zero();
      for (const PathRow& r : path.rows) {
        if (std::abs(r.time - frame.time) > interval + rig.readout) continue;
        const auto p = rig.camera.project({r.at.x(), r.at.y(), radius});
        if (!p) continue;
        const double own = frame.time + rig.readout * frame.row_share(*p);
        if (std::abs(r.time - own) > 0.25 * interval) continue;
        if (nearest && std::abs(nearest->time - own) <= std::abs(r.time - own)) continue;
        nearest = &r;
        pixel = *p;
      }
      if (nearest) out.push_back({practice::ball_name(ball), nearest->at, pixel, nearest->seen});
    }
  }
  return out;
}

// The frames of one clip, in order.
Result<Done> one_clip(const practice::Session& s, int clip, std::vector<Asked> asked, const ExplainOptions& o,
                      Explained& done) {
  const auto file = file_of_clip(s, o.session_folder, clip);
  if (!file) return pass_on(file);
  const auto rig = rig_of_clip(s, o.session_folder, clip);
  if (!rig) return pass_on(rig);
  const auto spec = table::read_spec(s.rig.table);
  if (!spec) return pass_on(spec);
  const auto balls = table::read_ball_set(spec->balls);
  if (!balls) return pass_on(balls);
  const table::Table table = camera::table_of(*rig, *spec);
  auto film = video::Clip::open(*file);
  if (!film) return pass_on(film);
  camera::SceneOptions look;
  look.look_at = kReferenceFor;
  look.moments = 0;
  const auto scene = camera::gather_scene(*film, look);
  if (!scene) return pass_on(scene);
  if (const auto back = film->seek(0); !back) return pass_on(back);
  sight::Eye learning(*rig, table, *balls);
  if (const auto learnt = learning.learn(*film); !learnt) return pass_on(learnt);
  std::vector<sight::Note> notes;
  learning.explain(&notes);
  SteadyEye eye(std::move(learning), scene->luma, *rig, table, *balls, *file);
  std::stable_sort(asked.begin(), asked.end(), [](const Asked& a, const Asked& b) { return a.time < b.time; });
  std::size_t next = 0;
  double before = 0, interval = 1.0 / 30;
  while (next < asked.size()) {
    const auto frame = film->next();
    if (!frame) return fail("{}: ends at {:.2f} s, a frame at {:.2f} s was asked for", *file, before, asked[next].time);
    if (frame->index > 0 && frame->time > before) interval += 0.1 * (std::min(frame->time - before, 0.2) - interval);
    before = frame->time;
    const auto standing = eye.stand(*frame);
    const Look seen = eye.look(*frame, standing);
    if (o.stopped && o.stopped()) return fail("stopped; {} pictures are in {}", done.pictures, o.folder);
    if (o.progress) o.progress(frame->time / std::max(1e-9, asked.back().time), "explaining frames");
    if (frame->time + 0.5 * interval < asked[next].time) continue;
    report::SeenFrame show;
    for (; next < asked.size() && asked[next].time <= frame->time + 0.5 * interval; ++next)
      if (!asked[next].moment.empty() && show.moment.find(asked[next].moment) == std::string::npos)
        show.moment += (show.moment.empty() ? "" : "; ") + asked[next].moment;
    camera::Rig now = *rig;
    now.camera = eye.camera();
    show.bgr = frame->bgr();
    show.frame = frame->index;
    show.time = frame->time;
    show.blind = seen.repeated     ? "the picture is the one before once more"
                 : !standing.known ? "where the camera stands is not known"
                 : seen.damaged    ? "the recording is damaged here"
                                   : "";
    if (show.blind.empty()) show.notes = notes;
    show.kinds = balls->kind_names();
    show.paths = on_paths(s, clip, now, *frame, interval, balls->kinds[0].radius);
    const fs::path to =
        fs::path(o.folder) / (s.more_clips.empty() ? fmt::format("seen-{:06}.png", frame->index)
                                                   : fmt::format("seen-{}-{:06}.png", clip + 1, frame->index));
    const std::vector<std::uint8_t> png = video::png_of(report::seen_picture(show));
    if (png.empty()) return fail("{}: the picture could not be made", to.string());
    if (auto w = write_atomically(to, as_content(png)); !w) return pass_on(w);
    ++done.pictures;
  }
  return Done{};
}

}  // namespace

Result<Explained> explain_frames(const practice::Session& session, const ExplainOptions& o) {
  Explained done;
  std::error_code code;
  fs::create_directories(o.folder, code);
  if (!fs::is_directory(o.folder, code)) return fail("{}: is not a folder that can be written to", o.folder);
  for (int clip = 0; clip <= static_cast<int>(session.more_clips.size()); ++clip) {
    std::vector<Asked> asked;
    const auto& info = clip == 0 ? session.clip : session.more_clips[static_cast<std::size_t>(clip) - 1];
    for (const double t : o.times) {
      if (t < 0 || t > info.duration)
        return fail("--explain-at {:g}: is not in {}, which lasts {:.2f} s", t, info.file, info.duration);
      asked.push_back({t, ""});
    }
    if (o.times.empty()) {
      const double frame = info.frames > 0 ? info.duration / info.frames : 1.0 / 30;
      for (const practice::Attempt& a : session.attempts)
        if (a.clip == clip) moments_of(a, frame, asked);
      std::erase_if(asked, [&](const Asked& x) { return x.time < 0 || x.time > info.duration - frame; });
    }
    const auto room = static_cast<std::size_t>(std::max(0, o.most - done.pictures));
    if (asked.size() > room) {
      std::stable_sort(asked.begin(), asked.end(), [](const Asked& a, const Asked& b) { return a.time < b.time; });
      done.left_out += static_cast<int>(asked.size() - room);
      asked.resize(room);
    }
    if (asked.empty()) continue;
    if (auto drawn = one_clip(session, clip, std::move(asked), o, done); !drawn) return pass_on(drawn);
  }
  return done;
}

}  // namespace baizetrace::cli
