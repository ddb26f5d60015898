// register: finds the table in a clip, writes the rig and a picture of it.
#include <filesystem>
#include <opencv2/imgcodecs.hpp>

#include "base/files.hpp"
#include "camera/register.hpp"
#include "cli/command.hpp"

namespace baizetrace::cli {

namespace {
namespace fs = std::filesystem;

struct Arguments {
  std::string clip, table = "full-size", out;
  std::optional<double> readout;
  std::vector<std::string> corners;
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

// A ball's uncertainty over the bed, m: middle value and worst of a grid.
struct Expected {
  double middle = 0, worst = 0;
};
Expected expected_uncertainty(const camera::Rig& rig, double ball_radius) {
  std::vector<double> u;
  constexpr int kAcross = 6, kAlong = 12;
  for (int i = 0; i <= kAcross; ++i)
    for (int j = 0; j <= kAlong; ++j) {
      const Vec2 at(rig.half_width * (2.0 * i / kAcross - 1) * 0.97, rig.half_length * (2.0 * j / kAlong - 1) * 0.97);
      u.push_back(std::sqrt(rig.place_covariance(at, ball_radius).trace() / 2));
    }
  std::sort(u.begin(), u.end());
  return {u[u.size() / 2], u.back()};
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
  auto found = camera::register_clip(a.clip, *spec, *balls, options);
  if (!found) return pass_on(found);
  if (!found->found) return fail("{}: {}", a.clip, found->why);
  camera::Rig& rig = found->rig;
  rig.table = a.table;

  cv::Mat picture = found->background.clone();
  camera::draw_table(picture, rig, *spec);
  std::vector<std::uint8_t> png;
  if (!cv::imencode(".png", picture, png)) return fail("{}: the picture could not be made", a.out);
  const fs::path picture_file = picture_beside(a.out);
  const std::string rig_text = camera::rig_json(rig);
  if (auto done = write_atomically(picture_file, std::string(png.begin(), png.end())); !done) return pass_on(done);
  if (auto done = write_atomically(a.out, rig_text); !done) {
    std::error_code code;
    fs::remove(picture_file, code);
    return pass_on(done);
  }
  if (a.json) {
    fmt::print("{}", rig_text);
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
  const Expected u = expected_uncertainty(rig, balls->kinds[0].radius);
  fmt::print("a ball's place is known to {:.1f} mm over most of the bed, {:.1f} mm at worst (1 sigma)\n",
             1000 * u.middle, 1000 * u.worst);
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
  app.add_option("-o,--out", a->out, "the rig's file, such as evening.rig.json")->required();
  app.add_flag("--json", a->json, "print the rig on standard output");
  return [a] { return run(*a); };
}

}  // namespace baizetrace::cli
