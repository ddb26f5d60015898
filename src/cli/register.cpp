// register: finds the table in a clip, writes the rig and a picture of it.
#include <filesystem>
#include <nlohmann/json.hpp>

#include "base/files.hpp"
#include "camera/lens_profile.hpp"
#include "camera/place_map.hpp"
#include "camera/register.hpp"
#include "camera/size_belief.hpp"
#include "cli/command.hpp"
#include "report/rig_picture.hpp"
#include "video/still.hpp"

namespace baizetrace::cli {

namespace {
namespace fs = std::filesystem;

struct Arguments {
  std::string clip, table = "full-size", out;
  std::optional<double> readout, focal, height;
  std::optional<std::string> lens;
  std::vector<std::string> corners;
  std::vector<double> size;
  bool json = false;
};

// "x,y" in pixels.
Result<Vec2> pixel_of(const std::string& text) {
  double x = 0, y = 0;
  int used = 0;
  if (std::sscanf(text.c_str(), "%lf,%lf%n", &x, &y, &used) == 2 && used == static_cast<int>(text.size()))
    return Vec2(x, y);
  return fail("--corners: \"{}\": expected x,y in pixels, as in 102.5,88", text);
}

fs::path picture_beside(const fs::path& rig) {
  std::string name = rig.string();
  const std::string ending = ".json";
  if (name.ends_with(ending)) name.resize(name.size() - ending.size());
  return name + ".png";
}

// Makers give the focal length that would show as much on 35 mm film, 36 mm wide; video shows a little less.
constexpr double kFilmWidth = 36;      // mm
constexpr double kFocalShareU = 0.08;  // of the focal length told
constexpr double kHeightU = 0.03;      // m: tape held by hand from the bed up to the lens

// What the machine gets: the rig, and what is expected of it.
std::string answer_json(const camera::Registration& found, const camera::PlaceMap& map) {
  auto j = nlohmann::ordered_json::parse(camera::rig_json(found.rig));
  j["rms_pixels"] = found.rms_pixels;
  j["rms"] = found.rms;
  auto& expected = j["expected_uncertainty"];
  expected["median"] = map.median;
  expected["worst"] = map.worst;
  for (const camera::PlaceExpected& p : map.points)
    expected["map"].push_back({{"at", {p.at.x(), p.at.y()}}, {"u", {p.u.x(), p.u.y()}}, {"in_picture", p.seen}});
  j["warnings"] = found.warnings;
  return j.dump() + "\n";
}

// Reads what the caller tells of the table's size.
Result<Done> take_size(const Arguments& a, const table::Spec& spec, camera::RegisterOptions& options) {
  if (a.size.empty()) return Done{};
  constexpr double kFarOff = 0.03;  // of the file's: feet, inches, the cushions' backs, or the two changed over
  const double length = a.size[0], width = a.size[1];
  if (!(std::abs(length / (2 * spec.half_length) - 1) < kFarOff &&
        std::abs(width / (2 * spec.half_width) - 1) < kFarOff))
    return fail("--size: {} {}: expected length and width between the noses in metres, near {} {} (--table {})", length,
                width, 2 * spec.half_length, 2 * spec.half_width, a.table);
  options.size = Vec2(width, length);
  return Done{};
}

// Whether the tape's size has the shape that the picture shows.
Result<Done> agrees(const camera::Rig& found, const Vec2& taped, const std::string& clip) {
  constexpr double kAgrees = 3;  // standard uncertainties of the tape's, either way
  const Vec2 half(found.half_width, found.half_length);
  const double off = (half - 0.5 * taped).lpNorm<Eigen::Infinity>();
  if (off <= kAgrees * camera::kTapedSizeU) return Done{};
  return fail(
      "{}: a table of {:.0f} x {:.0f} mm has not the shape that the picture shows, which is off by {:.0f} mm or more: "
      "measure it again, from nose to nose",
      clip, 1000 * taped.y(), 1000 * taped.x(), 2000 * off);
}

// Reads what the caller tells of the camera.
Result<Done> take_help(const Arguments& a, camera::RegisterOptions& options) {
  if (!a.lens && !a.focal && !a.height) return Done{};
  const auto clip = video::Clip::open(a.clip);
  if (!clip) return pass_on(clip);
  const int width = clip->info().width, height = clip->info().height;
  if (a.lens) {
    const auto profile = camera::read_lens(*a.lens);
    if (!profile) return pass_on(profile);
    const auto lens = camera::fitted(*profile, width, height, *a.lens);
    if (!lens) return pass_on(lens);
    options.lens = *lens;
  }
  if (a.focal) {
    const double f = *a.focal / kFilmWidth * std::max(width, height);
    options.focal = camera::Told{f, kFocalShareU * f};
  }
  if (a.height) options.height = camera::Told{*a.height, kHeightU};
  return Done{};
}

Result<Done> run(const Arguments& a) {
  const auto spec = table::read_spec(a.table);
  if (!spec) return pass_on(spec);
  const auto balls = table::read_ball_set(spec->balls);
  if (!balls) return pass_on(balls);
  camera::RegisterOptions options;
  options.readout = a.readout;
  if (!a.corners.empty()) {
    options.corners.emplace();
    for (std::size_t i = 0; i < 4; ++i) {
      const auto p = pixel_of(a.corners[i]);
      if (!p) return pass_on(p);
      (*options.corners)[i] = *p;
    }
  }
  if (auto sized = take_size(a, *spec, options); !sized) return sized;
  if (auto helped = take_help(a, options); !helped) return helped;
  auto found = camera::register_clip(a.clip, *spec, *balls, options);
  if (!found) return pass_on(found);
  if (!found->found) return fail("{}: {}", a.clip, found->why);
  if (options.size)
    if (auto agreed = agrees(found->rig, *options.size, a.clip); !agreed) return agreed;
  camera::Rig& rig = found->rig;
  rig.table = a.table;

  cv::Mat picture = found->background.clone();
  camera::draw_table(picture, rig, *spec);
  const double radius = balls->kinds[0].radius;
  const camera::PlaceMap map = camera::place_map(rig, radius);
  picture = report::rig_picture(picture, rig, map, radius);
  const std::vector<std::uint8_t> png = video::png_of(picture);
  if (png.empty()) return fail("{}: the picture could not be made", a.out);
  const fs::path picture_file = picture_beside(a.out);
  const std::string rig_text = camera::rig_json(rig);
  if (auto done = write_atomically(picture_file, as_content(png)); !done) return pass_on(done);
  if (auto done = write_atomically(a.out, rig_text); !done) {
    std::error_code code;
    fs::remove(picture_file, code);
    return pass_on(done);
  }
  if (a.json) {
    fmt::print("{}", answer_json(*found, map));
    return Done{};
  }

  const Vec3 lens = rig.camera.pose.position();
  fmt::print("table    {:.0f} x {:.0f} mm between the noses ({})\n", 2000 * rig.half_length, 2000 * rig.half_width,
             spec->title);
  fmt::print("camera   {:.2f} m above the bed, {:+.2f} m across and {:+.2f} m along from its middle\n", lens.z(),
             lens.x(), lens.y());
  fmt::print("fit      {:.2f} px over all hard evidence\n", found->rms_pixels);
  for (const auto& [kind, r] : rig.residuals)
    fmt::print("  {:<6} {:4d} marks  {:.2f} px  {:.1f} mm\n", kind, r.count, r.rms_pixels, 1000 * r.rms);
  fmt::print("a ball's place is known to {:.1f} mm over most of the bed, {:.1f} mm at worst (1 sigma)\n",
             1000 * map.median, 1000 * map.worst);
  if (const auto taped = camera::median_if_taped(rig, radius))
    fmt::print(
        "  much of it is how large the table is, which no picture tells: with its size measured (--size) {:.1f} "
        "mm\n",
        1000 * *taped);
  if (!rig.readout_known)
    fmt::print("readout  not told: {:.0f} +- {:.0f} ms is taken (--readout SECONDS if you know it)\n",
               1000 * rig.readout, 1000 * rig.u_readout);
  for (const std::string& w : found->warnings) fmt::print("note     {}\n", w);
  fmt::print("wrote {} and {}: look whether the drawn noses lie on the cushions\n", a.out, picture_file.string());
  return Done{};
}
}  // namespace

Run declare_register(CLI::App& app) {
  auto a = std::make_shared<Arguments>();  // lives as long as the parsed command
  app.add_option("clip", a->clip, "video of the table")->required();
  app.add_option("--table", a->table, "table: a name in calibration/tables or a file")->capture_default_str();
  app.add_option("--readout", a->readout, "seconds that the camera takes to read one picture from top to bottom")
      ->check(CLI::Range(0.0, 0.1));
  app.add_option("--corners", a->corners,
                 "where the noses' lines meet, x,y in pixels: baulk-left baulk-right top-right top-left as seen from "
                 "the baulk end")
      ->expected(4);
  app.add_option("--lens", a->lens, "lens profile from `lens`, or another rig of the same phone and video mode");
  app.add_option("--focal", a->focal, "the lens's focal length as its maker gives it for 35 mm film, mm: 13, 24, ..")
      ->check(CLI::Range(6.0, 200.0));
  app.add_option("--height", a->height, "the lens's height above the bed, m, measured with a tape")
      ->check(CLI::Range(0.5, 9.0));
  app.add_option("--size", a->size,
                 "the table's length and width from nose to nose, m, measured with a steel tape: 3.569 1.778")
      ->expected(2);
  app.add_option("-o,--output,--out", a->out, "the rig's file, such as evening.rig.json")->required();
  app.add_flag("--json", a->json, "print the rig and what is expected of it on standard output");
  return [a] { return run(*a); };
}

}  // namespace baizetrace::cli
