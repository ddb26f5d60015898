// The main job, start to finish, as a user runs it, beside the exact truth. Gates in millimetres; the truth is the
// outside source (ray-traced clips drawn by another program, see the sample's README).
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>

#include "base/files.hpp"
#include "camera/rig.hpp"
#include "practice/session.hpp"
#include "sight/eye.hpp"
#include "support/measured.hpp"
#include "table/ball_set.hpp"
#include "truth_check/figures.hpp"
#include "video/clip.hpp"

namespace baizetrace {
namespace {
namespace fs = std::filesystem;
using tests::measure_and_compare;
using tests::Outcome;

fs::path sample(const std::string& name) { return fs::path(BAIZETRACE_SOURCE) / "samples" / name; }

// What must hold on the sample: the contacts in order, balls at rest under 1.3 mm RMS, contacts under 8 mm, the
// white's rest under 3 mm.
void expect_sample_holds(const truth_check::Figures& f) {
  EXPECT_EQ(f.attempts_found, 1);
  EXPECT_EQ(f.attempts_invented, 0);
  for (const std::string& w : f.wrong) EXPECT_TRUE(w.find("off by") != std::string::npos) << w;
  EXPECT_LT(truth_check::rms(f.rest), 0.0013);
  EXPECT_LT(truth_check::quantile(f.contact_place, 1), 0.008);
  EXPECT_LT(truth_check::quantile(f.white_rest, 1), 0.003);
  EXPECT_GE(f.contact_place.size(), 3U);
}

TEST(Measure, SampleWithoutASetup) {
  Outcome o;
  measure_and_compare(sample("green-for-brown.mp4"), sample("green-for-brown.truth.json"), {}, o);
  expect_sample_holds(o.figures);
}

// Pictures of what was seen and why: one a frame that was asked for; what is measured is the same to the last digit,
// and every sighting of a look stands among the notes as kept.
TEST(Measure, ExplainsWhatItSaw) {
  const tests::ScratchFolder folder;
  const std::string clip = sample("green-for-brown.mp4").string(), out = folder.file("out"),
                    again = folder.file("again"), seen = folder.file("seen");
  ASSERT_EQ(tests::run_program(BAIZETRACE_PROGRAM, {"measure", clip, "-o", out}).code, 0);
  const std::vector<std::string> measure{"measure", clip, "-o", again, "--rig", out + "/found.rig.json"};
  const auto with = [&](std::vector<std::string> more) {
    more.insert(more.begin(), measure.begin(), measure.end());
    return tests::run_program(BAIZETRACE_PROGRAM, more);
  };
  ASSERT_EQ(with({}).code, 0);
  const auto plain = read_text(again + "/session.json");
  const auto ran = with({"--explain", seen, "--explain-at", "0.5,2.0,4.25"});
  ASSERT_EQ(ran.code, 0) << ran.err;
  const auto explained = read_text(again + "/session.json");
  ASSERT_TRUE(plain && explained);
  EXPECT_EQ(*plain, *explained);
  int pictures = 0;
  for (const auto& entry : fs::directory_iterator(seen)) {
    ++pictures;
    const cv::Mat picture = cv::imread(entry.path().string());
    EXPECT_GT(picture.rows, picture.cols / 2) << entry.path();  // the frame and the places below it
  }
  EXPECT_EQ(pictures, 3);
  const auto beyond = with({"--explain", seen, "--explain-at", "700"});
  EXPECT_EQ(beyond.code, 1);
  EXPECT_NE(beyond.err.find("--explain-at 700"), std::string::npos) << beyond.err;

  set_data_folder(BAIZETRACE_SOURCE);
  const auto rig = camera::read_rig(out + "/found.rig.json");
  const auto spec = table::read_spec("full-size");
  const auto balls = table::read_ball_set("snooker");
  ASSERT_TRUE(rig && spec && balls);
  std::vector<sight::Note> notes;
  std::vector<Look> looks[2];
  for (const bool noted : {false, true}) {
    auto film = video::Clip::open(clip);
    ASSERT_TRUE(film);
    sight::Eye eye(*rig, camera::table_of(*rig, *spec), *balls);
    ASSERT_TRUE(eye.learn(*film));
    if (noted) eye.explain(&notes);
    for (int i = 0; i < 60; ++i) {
      looks[noted].push_back(eye.look(*film->next()));
      if (!noted) continue;
      const auto kept = std::count_if(notes.begin(), notes.end(), [](const auto& n) { return n.kept; });
      EXPECT_EQ(static_cast<std::size_t>(kept), looks[noted].back().sightings.size());
      for (const auto& n : notes) EXPECT_FALSE(n.why.empty());
    }
  }
  for (std::size_t i = 0; i < looks[0].size(); ++i) {
    ASSERT_EQ(looks[0][i].sightings.size(), looks[1][i].sightings.size());
    for (std::size_t k = 0; k < looks[0][i].sightings.size(); ++k)
      EXPECT_EQ(looks[0][i].sightings[k].at, looks[1][i].sightings[k].at);
  }
}

TEST(Measure, MarksOfASetupNeverFeedTheMeasurement) {
  Outcome without, with;
  measure_and_compare(sample("green-for-brown.mp4"), sample("green-for-brown.truth.json"), {}, without);
  measure_and_compare(sample("green-for-brown.mp4"), sample("green-for-brown.truth.json"),
                      {"--setup", sample("green-for-brown.setup.toml").string()}, with);
  expect_sample_holds(with.figures);
  ASSERT_EQ(without.session.attempts.size(), with.session.attempts.size());
  constexpr double kSame = 1e-5;  // m: 0.01 mm
  for (std::size_t i = 0; i < with.session.attempts.size(); ++i) {
    const auto &a = without.session.attempts[i], &b = with.session.attempts[i];
    ASSERT_EQ(a.before.size(), b.before.size());
    for (const auto& [ball, place] : a.before) EXPECT_LT((place.at - b.before.at(ball).at).norm(), kSame) << ball;
    ASSERT_EQ(a.after.size(), b.after.size());
    for (const auto& [ball, place] : a.after) EXPECT_LT((place.at - b.after.at(ball).at).norm(), kSame) << ball;
    for (const auto& [ball, path] : a.balls) {
      const auto& other = b.balls.at(ball);
      ASSERT_EQ(path.rows.size(), other.rows.size());
      for (std::size_t k = 0; k < path.rows.size(); ++k) EXPECT_LT((path.rows[k].at - other.rows[k].at).norm(), kSame);
    }
    EXPECT_TRUE(b.score);
    EXPECT_FALSE(a.score);
  }
}

// The clips kept beside the project, when they are there. Readout as their truth gives it: "readout given" is how
// the design's figures for contacts are meant.
struct Gate {
  const char* clip;
  int attempts;                           // that are found; fewer than the truth's are shortfalls, see below
  double rest_rms, rest_worst, path_rms;  // m
};
void PrintTo(const Gate& g, std::ostream* out) { *out << g.clip; }

// The setup of a session among the clips, as a user would write it: marks, the pot, cushions and zone.
std::string setup_of(const fs::path& clip_setup) {
  std::ifstream in(clip_setup);
  const auto j = nlohmann::json::parse(in);
  std::string out = "format = \"baizetrace/setup-1\"\ntitle = \"As the clip says\"\ntable = \"full-size\"\n[balls]\n";
  for (const auto& b : j["balls"])
    out += fmt::format("{} = [{}, {}]\n", b["name"].get<std::string>(), b["mark"][0].get<double>(),
                       b["mark"][1].get<double>());
  const auto& shot = j["intended"];
  out += fmt::format("[shot]\npot = \"{}\"\ninto = \"{}\"\n[goal]\ncushions = {}\n",
                     shot["object_ball"].get<std::string>(), shot["pocket"].get<std::string>(),
                     shot["cue_ball_cushions"].dump());
  const auto& zone = shot["landing_zone"];
  out += fmt::format("zone = {{ centre = {}, radius = {} }}\n", zone["centre"].dump(), zone["radius"].get<double>());
  return out;
}

// A session of several attempts: all found, none invented, every pot, in-off and part of the score as the truth has it,
// whatever was knocked or nudged survived and told.
void expect_session_right(const Outcome& o, const truth_check::Truth& truth, const fs::path& truth_file) {
  const auto& attempts = o.session.attempts;
  EXPECT_EQ(o.figures.attempts_found, static_cast<int>(truth.attempts.size()));
  EXPECT_EQ(o.figures.attempts_invented, 0);
  for (const std::string& w : o.figures.wrong) EXPECT_NE(w.find("off by"), std::string::npos) << w;
  ASSERT_EQ(attempts.size(), truth.attempts.size());
  for (std::size_t k = 0; k < attempts.size(); ++k) {
    const auto& a = attempts[k];
    const auto& t = truth.attempts[k];
    EXPECT_EQ(a.ended, practice::Ended::rest) << a.number;
    ASSERT_TRUE(a.score) << a.number;
    std::map<std::string, bool> met;
    for (const auto& part : a.score->parts) met[part.what] = part.met;
    const bool cushions =
        t.cushions.size() >= truth.intended_cushions.size() &&
        std::equal(truth.intended_cushions.begin(), truth.intended_cushions.end(), t.cushions.begin());
    EXPECT_EQ(met.at("pot"), t.pot_made) << a.number;
    EXPECT_EQ(met.at("cushions"), cushions) << a.number;
    EXPECT_EQ(met.at("zone"), t.in_zone) << a.number;
    EXPECT_EQ(a.in_off.has_value(), t.in_off) << a.number;
    EXPECT_EQ(a.score->of, 2);
    EXPECT_EQ(a.score->points, t.in_off ? 0 : int{t.pot_made} + int{cushions && t.in_zone}) << a.number;
  }
  std::ifstream in(truth_file);
  const auto j = nlohmann::json::parse(in);
  const auto told = [&](const std::string& words) {
    return std::find_if(o.session.warnings.begin(), o.session.warnings.end(),
                        [&](const practice::Warning& w) { return w.what.find(words) != std::string::npos; });
  };
  if (j["camera"].contains("mount_bump")) {
    ASSERT_EQ(o.session.rig.moves.size(), 1U);
    EXPECT_NEAR(o.session.rig.moves[0].from, j["camera"]["mount_bump"]["t_s"].get<double>(), 0.2);
    EXPECT_NE(told("the camera was knocked"), o.session.warnings.end());
  } else {
    EXPECT_TRUE(o.session.rig.moves.empty());
  }
  int nudged = 0;
  for (const auto& h : j["hand_placements"]) {
    if (h["how"] != "nudged") continue;
    ++nudged;
    const std::string ball = h["ball"];
    std::size_t k = 0;
    while (k < attempts.size() && attempts[k].strike_time < h["t_from_s"].get<double>()) ++k;
    ASSERT_TRUE(k > 0 && k < attempts.size());
    const Vec2 was = truth.attempts[k].start.at(ball) - truth.attempts[k - 1].start.at(ball);
    const Vec2 is = attempts[k].before.at(ball).at - attempts[k - 1].before.at(ball).at;
    fmt::print("{} nudged by {:.1f} mm, measured {:.1f} mm off that\n", ball, 1000 * was.norm(),
               1000 * (is - was).norm());
    EXPECT_LT((is - was).norm(), 0.0015);
    const auto warning = told(fmt::format("the {} was moved", ball));
    ASSERT_NE(warning, o.session.warnings.end());
    EXPECT_NEAR(warning->time, attempts[k].strike_time, 1e-6);
  }
  // Nothing else is said to have been nudged.
  EXPECT_EQ(std::count_if(o.session.warnings.begin(), o.session.warnings.end(),
                          [](const practice::Warning& w) {
                            return w.what.find("was moved") != std::string::npos &&
                                   w.what.find("mm by hand") != std::string::npos;
                          }),
            nudged);
}

class Footage : public testing::TestWithParam<Gate> {};

TEST_P(Footage, MeasuredBesideTruth) {
  const fs::path folder = tests::footage_folder();
  if (folder.empty()) GTEST_SKIP() << "the footage folder is not beside the project (BAIZETRACE_FOOTAGE)";
  const Gate& gate = GetParam();
  const fs::path truth_file = folder / fmt::format("{}.truth.json", gate.clip);
  const auto truth = truth_check::read_truth(truth_file.string());
  ASSERT_TRUE(truth) << truth.error().what;
  Outcome o;
  std::vector<std::string> more{"--readout", fmt::format("{}", truth->readout)};
  const tests::ScratchFolder scratch;
  const bool session = truth->attempts.size() > 1;
  if (session) {
    std::ofstream(scratch.file("clip.setup.toml")) << setup_of(folder / fmt::format("{}.setup.json", gate.clip));
    more.insert(more.end(), {"--setup", scratch.file("clip.setup.toml")});
  }
  measure_and_compare(folder / fmt::format("{}.mp4", gate.clip), truth_file, more, o);
  if (session) expect_session_right(o, *truth, truth_file);
  EXPECT_GE(o.figures.attempts_found, gate.attempts);
  EXPECT_EQ(o.figures.attempts_invented, 0);
  if (o.figures.attempts_found == 0) return;
  EXPECT_LT(truth_check::rms(o.figures.rest), gate.rest_rms);
  EXPECT_LT(truth_check::quantile(o.figures.rest, 1), gate.rest_worst);
  EXPECT_LT(truth_check::rms(o.figures.path), gate.path_rms);
}

// P7: the mount is knocked half way; all six attempts are measured.
INSTANTIATE_TEST_SUITE_P(All, Footage,
                         testing::Values(Gate{"P1", 1, 0.0013, 0.003, 0.003}, Gate{"P2", 1, 0.0015, 0.003, 0.003},
                                         Gate{"P3", 4, 0.0015, 0.005, 0.005}, Gate{"P4", 0, 1, 1, 1},
                                         Gate{"P5", 1, 0.0016, 0.0045, 0.003}, Gate{"P6", 1, 0.002, 0.005, 0.005},
                                         Gate{"P7", 6, 0.0015, 0.006, 0.006}, Gate{"P8", 1, 0.0013, 0.004, 0.003},
                                         Gate{"P9", 1, 0.002, 0.004, 0.003}),
                         [](const auto& one) { return std::string(one.param.clip); });

}  // namespace
}  // namespace baizetrace
