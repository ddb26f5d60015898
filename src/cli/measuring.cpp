#include "cli/measuring.hpp"

#include <algorithm>
#include <filesystem>

#include "base/files.hpp"
#include "base/threads.hpp"
#include "cli/one_clip.hpp"
#include "cli/publishing.hpp"
#include "compare/miss.hpp"
#include "compare/predicting.hpp"
#include "compare/table_play.hpp"
#include "practice/extrapolate.hpp"
#include "practice/scoring.hpp"
#include "practice/sorting.hpp"
#include "practice/statistics.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"
#include "video/clip.hpp"

namespace baizetrace::cli {
namespace {
namespace fs = std::filesystem;

// The setups of a folder that are played on `table` (empty: on the first one's table), by name.
Result<std::vector<practice::Setup>> setups_in(const std::string& folder) {
  std::error_code code;
  if (!fs::is_directory(folder, code)) return fail("{}: no such folder, expected one with *.setup.toml files", folder);
  std::vector<std::string> files;
  for (const auto& f : fs::directory_iterator(folder, code))
    if (f.path().string().ends_with(".setup.toml")) files.push_back(f.path().string());
  if (files.empty()) return fail("{}: holds no *.setup.toml file", folder);
  std::sort(files.begin(), files.end());
  std::vector<practice::Setup> setups;
  for (const std::string& f : files) {
    auto setup = practice::read_setup(f);
    if (!setup) return pass_on(setup);
    setups.push_back(std::move(*setup));
  }
  return setups;
}

Result<Ground> lay_ground(const MeasureOptions& o, std::vector<std::string>& left_out) {
  Ground g;
  if (o.setup) {
    const auto setup = practice::read_setup(*o.setup);
    if (!setup) return pass_on(setup);
    g.setups.push_back(*setup);
  } else if (o.setups) {
    auto setups = setups_in(*o.setups);
    if (!setups) return pass_on(setups);
    g.setups = std::move(*setups);
    const bool said = std::any_of(g.setups.begin(), g.setups.end(), [&](const auto& s) { return s.table == o.table; });
    const std::string table = said ? o.table : g.setups[0].table;
    std::erase_if(g.setups, [&](const practice::Setup& s) {
      if (s.table == table) return false;
      left_out.push_back(fmt::format("{} is for another table ({}) and was left out", s.file, s.table));
      return true;
    });
  }
  if (o.conditions) {
    auto known = compare::read_known_play(*o.conditions);
    if (!known) return pass_on(known);
    g.conditions = known->conditions;
    g.known_play = std::move(*known);
  }
  const auto spec = table::read_spec(g.setups.empty() ? o.table : g.setups[0].table);
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

// Where a file may be written is asked before an hour is spent measuring.
Result<Done> ask_folder(const std::string& folder) {
  std::error_code code;
  if (fs::exists(folder, code) && !fs::is_directory(folder, code))
    return fail("{}: is a file, expected a folder for the results", folder);
  return Done{};
}

std::string base_name(const std::string& file) { return fs::path(file).filename().string(); }

}  // namespace

Result<practice::Session> measure(const MeasureOptions& o) {
  std::vector<std::string> left_out;
  auto ground = lay_ground(o, left_out);
  if (!ground) return pass_on(ground);
  const Ground& g = *ground;
  if (auto asked = ask_folder(o.folder); !asked) return pass_on(asked);
  // A clip that cannot be read is told before the first is measured, which is opened at once.
  for (std::size_t i = 1; i < o.clips.size(); ++i)
    if (const auto clip = video::Clip::open(o.clips[i]); !clip) return pass_on(clip);

  practice::Session session;
  for (std::string& w : left_out) session.warnings.push_back({0, std::move(w)});
  path::Play play;
  std::vector<ClipShots> clips;
  for (std::size_t i = 0; i < o.clips.size(); ++i) {
    MeasureOptions one = o;
    if (o.progress && o.clips.size() > 1)
      one.progress = [&](double share, const std::string& doing) {
        o.progress(share, fmt::format("clip {} of {}: {}", i + 1, o.clips.size(), doing));
      };
    auto clip = measure_clip(o.clips[i], static_cast<int>(i), g, one, play);
    if (!clip) {
      if (clips.empty()) return pass_on(clip);
      // The evening is not lost because one of its clips is.
      ClipShots none;
      none.info.file = o.clips[i];
      none.rig = clips[0].rig;
      none.refused.push_back({0, 0, clip.error().what, static_cast<int>(i)});
      clips.push_back(std::move(none));
      continue;
    }
    clips.push_back(std::move(*clip));
    if (clips.back().stopped) break;
  }
  session.complete = clips.size() == o.clips.size();
  std::vector<practice::Attempt> shots;
  std::vector<std::vector<unsigned char>*> jpegs;
  std::vector<camera::Camera> cameras;
  std::vector<camera::Rig> rigs;
  for (ClipShots& c : clips) {
    session.complete = session.complete && c.complete;
    session.measured_until = c.until;
    if (rigs.empty())
      session.clip = c.info, session.rig.rms_pixels = c.rms_pixels, session.rig.rms = c.rms;
    else
      session.more_clips.push_back(c.info);
    rigs.push_back(c.rig);
    for (auto& w : c.warnings) session.warnings.push_back(std::move(w));
    for (auto& r : c.refused) session.refused.push_back(std::move(r));
    for (std::size_t k = 0; k < c.shots.size(); ++k)
      shots.push_back(std::move(c.shots[k])), jpegs.push_back(&c.pictures[k]), cameras.push_back(c.cameras[k]);
    for (practice::RigMove& m : c.moves) session.rig.moves.push_back(m);
  }
  const table::Table table = camera::table_of(rigs[0], g.spec);
  practice::Sorted sorted = practice::sort_shots(std::move(shots), g.setups, table, g.balls);
  for (auto& n : sorted.notes) session.warnings.push_back(std::move(n));
  session.groups = std::move(sorted.groups);
  session.attempts = std::move(sorted.attempts);
  std::vector<std::optional<practice::Setup>> setup_of;  // of each group
  for (const int k : sorted.setup_of_group)
    setup_of.push_back(k < 0 ? std::nullopt : std::optional(g.setups[static_cast<std::size_t>(k)]));
  if (g.setups.size() == 1) session.setup = {g.setups[0].file, g.setups[0].title};

  const auto rebound = compare::read_rebound(session.attempts, table, g.balls, g.conditions);
  const auto played = compare::conditions_as_played(g.conditions, play, rebound);
  session.conditions = played.values;
  compare::KnownPlay play_known = compare::session_play(g.conditions, played.values);
  if (g.known_play && g.known_play->tuned) play_known = *g.known_play;
  share_out(static_cast<int>(session.attempts.size()), kThreads, [&](int i) {
    practice::Attempt& a = session.attempts[static_cast<std::size_t>(i)];
    const table::Table its = camera::table_of(rigs[static_cast<std::size_t>(a.clip)], g.spec);
    const auto& setup = setup_of[static_cast<std::size_t>(a.group - 1)];
    practice::extrapolate_rest(a, its, g.balls, played.conditions);
    practice::add_passing(a, its, g.balls, setup && setup->goal ? setup->goal->gates : std::vector<motion::GateName>{});
    if (setup) practice::score_attempt(a, *setup, its, g.balls);
    compare::explain_attempt(a, setup, its, g.balls, play_known, played.in_words);
    compare::predict_attempt(a, setup, its, g.balls, played);
  });
  Pictures pictures;
  for (const auto shot : sorted.shot_of) pictures.push_back({std::move(*jpegs[shot]), cameras[shot]});
  std::vector<practice::GroupSummary> summaries;
  for (std::size_t k = 0; k < session.groups.size(); ++k)
    summaries.push_back(practice::summarise(session, session.groups[k].number, setup_of[k] ? &*setup_of[k] : nullptr));
  session.summary = practice::summary_json(summaries);

  Folder folder{o.folder, !o.rig, o.rig.value_or(""), {}};
  for (std::size_t k = 0; k < session.groups.size(); ++k) {
    if (setup_of[k]) continue;
    const practice::Group& group = session.groups[k];
    folder.more.emplace_back(
        fmt::format("arrangement-{}.setup.toml", group.number),
        practice::setup_toml(group, fmt::format("Arrangement {} of {}", group.number, base_name(session.clip.file)),
                             table, g.setups.empty() ? o.table : g.setups[0].table, g.balls));
  }
  if (auto written = publish(folder, session, rigs, table, setup_of, pictures); !written) return pass_on(written);
  return session;
}

}  // namespace baizetrace::cli
