#include "camera/lens_profile.hpp"

#include <cmath>
#include <nlohmann/json.hpp>

#include "base/files.hpp"
#include "camera/known_lens.hpp"
#include "camera/rig.hpp"

namespace baizetrace::camera {

namespace {
constexpr double kSameShape = 0.01;      // of the ratio of the sides
constexpr double kTurnedCentre = 0.008;  // of the longer side: turned which way is not known, so the centre is not
constexpr double kTurnedTangential = 0.001;
constexpr int kSmallest = 16, kLargest = 32768;
}  // namespace

std::string lens_json(const LensProfile& p) {
  const Lens& lens = p.known.lens;
  nlohmann::ordered_json j;
  j["format"] = "baizetrace/lens-1";
  j["image"] = {p.width, p.height};
  j["K"] = {{lens.fx, 0, lens.cx}, {0, lens.fy, lens.cy}, {0, 0, 1}};
  j["distortion"] = lens.distortion;
  j["u"] = p.known.u;  // fx fy cx cy k1 k2 p1 p2 k3
  j["rms_pixels"] = p.rms_pixels;
  j["views"] = p.views;
  return j.dump(1) + "\n";
}

Result<LensProfile> read_lens(const std::string& file) {
  const auto text = read_text(file);
  if (!text) return pass_on(text);
  const auto j = nlohmann::json::parse(*text, nullptr, false);
  const std::string format = j.is_object() ? j.value("format", std::string()) : std::string();
  if (format == "baizetrace/rig-1") {
    const auto rig = read_rig(file);
    if (!rig) return pass_on(rig);
    return LensProfile{rig->camera.width, rig->camera.height, known_lens(*rig), 0, 0};
  }
  if (format != "baizetrace/lens-1")
    return fail("{}: not a lens profile: expected \"format\": \"baizetrace/lens-1\", or a rig's file", file);
  LensProfile p;
  try {
    p.width = j.at("image").at(0).get<int>();
    p.height = j.at("image").at(1).get<int>();
    Lens& lens = p.known.lens;
    lens.fx = j.at("K").at(0).at(0).get<double>();
    lens.fy = j.at("K").at(1).at(1).get<double>();
    lens.cx = j.at("K").at(0).at(2).get<double>();
    lens.cy = j.at("K").at(1).at(2).get<double>();
    lens.distortion = j.at("distortion").get<std::array<double, 5>>();
    p.known.u = j.at("u").get<std::array<double, 9>>();
    p.rms_pixels = j.value("rms_pixels", 0.0);
    p.views = j.value("views", 0);
  } catch (const nlohmann::json::exception&) {
    return fail("{}: a lens profile has image [w, h], K (3 x 3), distortion (5 numbers) and u (9 numbers)", file);
  }
  const bool sound =
      p.width >= kSmallest && p.height >= kSmallest && p.width <= kLargest && p.height <= kLargest &&
      p.known.lens.fx > 0 && p.known.lens.fy > 0 &&
      std::all_of(p.known.u.begin(), p.known.u.end(), [](double u) { return u > 0 && std::isfinite(u); });
  if (!sound) return fail("{}: image, K and u: expected sizes of a picture, fx, fy and every u above 0", file);
  return p;
}

Result<KnownLens> fitted(const LensProfile& p, int width, int height, const std::string& file) {
  KnownLens out = p.known;
  int w = p.width, h = p.height;
  if ((w > h) != (width > height) && w != h) {
    // Upright picture of a lens solved lying down: which way round is not known.
    std::swap(w, h);
    std::swap(out.lens.fx, out.lens.fy);
    std::swap(out.u[0], out.u[1]);
    out.lens.cx = 0.5 * (w - 1);
    out.lens.cy = 0.5 * (h - 1);
    out.u[2] = out.u[3] = kTurnedCentre * std::max(w, h);
    out.lens.distortion[2] = out.lens.distortion[3] = 0;
    out.u[6] = out.u[7] = kTurnedTangential;
  }
  const double sx = static_cast<double>(width) / w, sy = static_cast<double>(height) / h;
  if (std::abs(sx / sy - 1) > kSameShape)
    return fail("{}: is for pictures of {} x {}, the clip's are {} x {}: of another shape, so not the same lens", file,
                p.width, p.height, width, height);
  out.lens.fx *= sx;
  out.lens.fy *= sy;
  out.lens.cx = (out.lens.cx + 0.5) * sx - 0.5;
  out.lens.cy = (out.lens.cy + 0.5) * sy - 0.5;
  for (std::size_t i = 0; i < 4; ++i) out.u[i] *= i % 2 == 0 ? sx : sy;
  return out;
}

}  // namespace baizetrace::camera
