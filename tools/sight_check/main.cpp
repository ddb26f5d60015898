// sight_check CLIP...: sightings beside the truth, with the true camera: what `sight` itself leaves.
//
// CLIP is a path to a clip with its *.truth.json beside it. Prints for each clip and kind of ball the errors at rest
// and moving, missed and invented sightings, wrong colours, how often 1.96 sigma holds the truth, and the time a frame
// took.
#include <CLI/CLI.hpp>
#include <chrono>
#include <cstdio>
#include <map>

#include "sight/eye.hpp"
#include "sight/waiting.hpp"
#include "support/truth_rig.hpp"
#include "table/ball_set.hpp"

namespace {

using baizetrace::Look;
using baizetrace::Sighting;
using baizetrace::Vec2;

constexpr double kMatch = 0.030;  // m: nearer than this a sighting is of the true ball
constexpr double kSeen = 0.5;     // visible fraction from which a ball counts as to be seen

struct Row {
  int rest = 0, moving = 0, wanted = 0, missed = 0, wrong_colour = 0, coloured = 0, held = 0, tested = 0;
  int rest_held = 0, rest_tested = 0;
  double rest2 = 0, moving2 = 0, worst_rest = 0, worst_moving = 0;
  Vec2 bias = Vec2::Zero();
  void add(const Row& o) {
    rest += o.rest, moving += o.moving, wanted += o.wanted, missed += o.missed, wrong_colour += o.wrong_colour;
    coloured += o.coloured, held += o.held, tested += o.tested, rest2 += o.rest2, moving2 += o.moving2;
    rest_held += o.rest_held, rest_tested += o.rest_tested;
    worst_rest = std::max(worst_rest, o.worst_rest), worst_moving = std::max(worst_moving, o.worst_moving);
    bias += o.bias;
  }
};

double rms(double sum2, int n) { return n > 0 ? 1000 * std::sqrt(sum2 / n) : 0; }

void print(const char* name, const Row& r) {
  std::printf("  %-8s %6d %6.2f %6.2f %+6.2f %+6.2f  %5d %6.2f %6.2f  %5.2f %%  %5.2f %%  %5.1f  %5.1f\n", name, r.rest,
              rms(r.rest2, r.rest), 1000 * r.worst_rest, r.rest ? 1000 * r.bias.x() / r.rest : 0,
              r.rest ? 1000 * r.bias.y() / r.rest : 0, r.moving, rms(r.moving2, r.moving), 1000 * r.worst_moving,
              r.wanted ? 100.0 * r.missed / r.wanted : 0, r.coloured ? 100.0 * r.wrong_colour / r.coloured : 0,
              r.rest_tested ? 100.0 * r.rest_held / r.rest_tested : 0, r.tested ? 100.0 * r.held / r.tested : 0);
}

int check(const std::string& file, const std::string& rig_file, bool verbose, double from, double until) {
  namespace bt = baizetrace;
  const auto truth = bt::test_support::read_truth(std::filesystem::path(file).replace_extension(".truth.json"));
  if (!truth.is_object()) {
    std::fprintf(stderr, "%s: no truth beside it\n", file.c_str());
    return 1;
  }
  bt::camera::Rig rig = bt::test_support::truth_rig(truth);
  if (!rig_file.empty()) {
    const auto given = bt::camera::read_rig(rig_file);
    if (!given) {
      std::fprintf(stderr, "%s\n", given.error().what.c_str());
      return 1;
    }
    rig = *given;
  }
  const auto spec = bt::table::read_spec("full-size");
  const auto balls = bt::table::read_ball_set("snooker");
  auto clip = bt::video::Clip::open(file);
  for (const bt::Error* what : std::initializer_list<const bt::Error*>{
           !spec ? &spec.error() : nullptr, !balls ? &balls.error() : nullptr, !clip ? &clip.error() : nullptr})
    if (what) {
      std::fprintf(stderr, "%s\n", what->what.c_str());
      return 1;
    }
  const auto table = bt::camera::table_of(rig, *spec);
  bt::sight::Eye eye(rig, table, *balls);
  using clock = std::chrono::steady_clock;
  const auto t0 = clock::now();
  if (const auto learned = eye.learn(*clip); !learned) {
    std::fprintf(stderr, "%s: %s\n", file.c_str(), learned.error().what.c_str());
    return 1;
  }
  const double learn_ms = std::chrono::duration<double, std::milli>(clock::now() - t0).count();
  const auto& frames = truth["frames"];
  double bump = 1e9;
  if (truth["camera"].contains("mount_bump")) bump = truth["camera"]["mount_bump"]["t_s"].get<double>() - 0.2;
  until = std::min(until, bump);

  std::map<std::string, Row> rows;
  int invented = 0, looks = 0, in_hand = 0, falling = 0;
  double look_ms = 0, worst_ms = 0;
  bt::sight::Waiting waiting;
  while (auto frame = clip->next()) {
    const auto a = clock::now();
    auto seen = waiting.push(eye.look(*frame));
    const double ms = std::chrono::duration<double, std::milli>(clock::now() - a).count();
    if (frame->time > until) break;
    look_ms += ms;
    worst_ms = std::max(worst_ms, ms);
    ++looks;
    if (!seen) continue;
    const Look& look = *seen;
    if (look.time < from || static_cast<std::size_t>(look.frame) >= frames.size()) continue;
    const auto& f = frames[static_cast<std::size_t>(look.frame)];
    std::vector<bool> used(look.sightings.size(), false);
    for (const auto& b : f[1]) {
      std::string kind = b[0];
      while (!kind.empty() && kind.back() >= '0' && kind.back() <= '9') kind.pop_back();
      if (b[1].is_null()) continue;
      const Vec2 at(b[1], b[2]);
      const double visible = b[4];
      const bool moving = b[5].get<int>() != 0;
      const int state = b[6];
      Row& r = rows[kind];
      int best = -1;
      double nearest = kMatch;
      for (std::size_t i = 0; i < look.sightings.size(); ++i) {
        const double d = (look.sightings[i].at - at).norm();
        if (!used[i] && d < nearest) {
          nearest = d;
          best = static_cast<int>(i);
        }
      }
      const bool want = state == 0 && visible > kSeen;
      if (want) ++r.wanted;
      if (best < 0) {
        if (want) ++r.missed;
        if (want && verbose)
          std::printf("    %.3f %d %s missed at %.3f %.3f visible %.2f moving %d\n", look.time, look.frame,
                      b[0].get<std::string>().c_str(), at.x(), at.y(), visible, moving);
        continue;
      }
      used[static_cast<std::size_t>(best)] = true;
      const Sighting& s = look.sightings[static_cast<std::size_t>(best)];
      if (state == 3) ++in_hand;
      if (state == 1) ++falling;
      if (state != 0) continue;
      const Vec2 d = s.at - at;
      if (verbose && d.norm() > (moving ? 0.004 : 0.002))
        std::printf("    %.3f %d %s off %.1f %.1f mm moving %d visible %.2f seen %.2f u %.2f %.2f\n", look.time,
                    look.frame, b[0].get<std::string>().c_str(), 1000 * d.x(), 1000 * d.y(), moving, visible, s.visible,
                    1000 * std::sqrt(s.covariance(0, 0)), 1000 * std::sqrt(s.covariance(1, 1)));
      if (moving) {
        ++r.moving;
        r.moving2 += d.squaredNorm();
        r.worst_moving = std::max(r.worst_moving, d.norm());
      } else {
        ++r.rest;
        r.rest2 += d.squaredNorm();
        r.bias += d;
        r.worst_rest = std::max(r.worst_rest, d.norm());
      }
      if (s.fresh)
        for (int k = 0; k < 2; ++k) {
          const bool held = std::abs(d[k]) < 1.96 * std::sqrt(s.covariance(k, k));
          (moving ? r.tested : r.rest_tested) += 1;
          (moving ? r.held : r.rest_held) += held ? 1 : 0;
        }
      if (!s.colour.empty()) {
        ++r.coloured;
        const auto k = static_cast<std::size_t>(std::max_element(s.colour.begin(), s.colour.end()) - s.colour.begin());
        if (balls->kinds[k].name != kind) {
          ++r.wrong_colour;
          if (verbose)
            std::printf("    %.3f %d %s taken for %s\n", look.time, look.frame, kind.c_str(),
                        balls->kinds[k].name.c_str());
        }
      }
    }
    for (std::size_t i = 0; i < used.size(); ++i)
      if (!used[i]) {
        ++invented;
        if (verbose)
          std::printf("    %.3f %d invented at %.3f %.3f visible %.2f\n", look.time, look.frame,
                      look.sightings[i].at.x(), look.sightings[i].at.y(), look.sightings[i].visible);
      }
  }
  std::printf(
      "%s: %d looks, learn %.0f ms, %.2f ms a look (worst %.1f), invented %.4f a frame, in hand %d, falling %d, "
      "exposure %.2f ms (true %.2f)\n",
      std::filesystem::path(file).filename().c_str(), looks, learn_ms, look_ms / std::max(1, looks), worst_ms,
      static_cast<double>(invented) / std::max(1, looks), in_hand, falling, 1000 * eye.exposure(),
      1000 * truth["camera"]["exposure_s"].get<double>());
  std::printf("  %-8s %6s %6s %6s %6s %6s  %5s %6s %6s  %7s  %7s  %5s  %5s\n", "kind", "rest", "rms", "worst", "x", "y",
              "moves", "rms", "worst", "missed", "colour", "95rest", "95mov");
  Row all;
  for (const auto& [kind, r] : rows) {
    print(kind.c_str(), r);
    all.add(r);
  }
  print("all", all);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app("Sightings beside the truth of rendered clips, with the true camera. Millimetres.");
  std::vector<std::string> clips;
  std::string rig;
  bool verbose = false;
  double from = 0, until = 1e9;
  app.add_option("clip", clips, "clips with *.truth.json beside them")->required();
  app.add_option("--rig", rig, "this rig instead of the true one");
  app.add_flag("-v,--verbose", verbose, "each miss and each large error");
  app.add_option("--from", from, "s");
  app.add_option("--until", until, "s");
  CLI11_PARSE(app, argc, argv);
  int code = 0;
  for (const std::string& c : clips) code = std::max(code, check(c, rig, verbose, from, until));
  return code;
}
