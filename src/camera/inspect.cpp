#include "camera/inspect.hpp"

#include <algorithm>
#include <cmath>

#include "camera/ball_outline.hpp"
#include "camera/place_map.hpp"
#include "camera/watch.hpp"

namespace baizetrace::camera {

namespace {
constexpr double kFastEnough = 45;         // frames/s: slower, and a fast ball is seen too seldom between contacts
constexpr double kSlowest = 20;            // frames/s
constexpr double kGap = 1.6;               // times the usual interval
constexpr double kManyGaps = 0.01;         // share of the frames
constexpr double kFine = 0.0023;           // m a pixel: 1080p over a full-size table
constexpr double kCoarsest = 0.0055;       // m a pixel
constexpr double kSmallBall = 10;          // px across: colours and outlines fail below
constexpr double kSharp = 1.6;             // px of an edge's blur
constexpr double kDim = 45, kGlare = 200;  // levels of luma, of the cloth
constexpr double kPumps = 0.08;            // share of the cloth's brightness that changes in the clip
constexpr double kFlickers = 0.03;
constexpr double kClear = 20;         // levels between a ball's edge and the cloth
constexpr double kShakes = 0.4;       // px
constexpr double kAccurate = 0.0008;  // m
constexpr double kOblique = 50 * kPi / 180;

double at_share(std::vector<double> v, double share) {
  if (v.empty()) return 0;
  std::sort(v.begin(), v.end());
  return v[std::min(v.size() - 1, static_cast<std::size_t>(share * static_cast<double>(v.size())))];
}

// What reading the whole clip tells.
struct Read {
  std::vector<double> intervals;
  std::vector<double> brightness;  // mean luma of the middle of each frame, 0..255
  std::vector<double> bands;       // how unevenly the rows of each frame are lit against the frame before
  video::ClipEnd end;
};

// Takes a clip's frames one by one, in their order.
class Reader {
 public:
  void take(const video::Frame& f) {
    if (last_ >= 0) out_.intervals.push_back(f.time - last_);
    last_ = f.time;
    if (f.damaged || f.index % 3 != 0) return;
    const cv::Rect middle(f.width() / 4, f.height() / 4, f.width() / 2, f.height() / 2);
    // Rows of the upright picture are rows or columns of the stored one; a dozen parts of it are enough.
    const bool rows = f.turn == video::Turn::none || f.turn == video::Turn::half;
    constexpr int kParts = 12;
    std::vector<double> parts;
    for (int i = 0; i < kParts; ++i) {
      cv::Rect r = middle;
      if (rows)
        r.y += r.height * i / kParts, r.height /= kParts;
      else
        r.x += r.width * i / kParts, r.width /= kParts;
      parts.push_back(cv::mean(f.luma(r))[0] - 16);
    }
    double sum = 0;
    for (const double p : parts) sum += p;
    out_.brightness.push_back(sum / kParts);
    if (!before_.empty()) {
      std::vector<double> ratio;
      for (std::size_t i = 0; i < parts.size(); ++i)
        if (before_[i] > 1) ratio.push_back(parts[i] / before_[i]);
      if (ratio.size() > 4) out_.bands.push_back(at_share(ratio, 0.8) - at_share(ratio, 0.2));
    }
    before_ = parts;
  }
  [[nodiscard]] Read read(const video::ClipEnd& end) const {
    Read out = out_;
    out.end = end;
    return out;
  }

 private:
  Read out_;
  double last_ = -1;
  std::vector<double> before_;
};

Finding recording(const video::ClipInfo& info, const Read& read) {
  Finding f{"recording", Answer::good, "", {}, ""};
  f.words = fmt::format("{} x {} upright, {} {} bits, {} frames in {:.1f} s", info.width, info.height, info.codec,
                        info.bit_depth, read.end.frames, read.end.last_time);
  f.numbers = {{"width", info.width},
               {"height", info.height},
               {"bit_depth", info.bit_depth},
               {"frames", read.end.frames},
               {"duration", read.end.last_time},
               {"damaged_frames", read.end.damaged},
               {"doubtful_frames", read.end.doubtful},
               {"complete", read.end.complete ? 1 : 0}};
  if (!read.end.complete) {
    f.answer = Answer::limits;
    f.words += "; " + read.end.why;
    f.advice = "copy the file from the phone again: this one is cut short";
  } else if (read.end.damaged > 0) {
    f.answer = Answer::limits;
    f.words += fmt::format("; {} frames are damaged and will be left out", read.end.damaged);
  }
  if (info.transfer == "smpte2084" || info.transfer == "arib-std-b67") {
    f.answer = std::max(f.answer, Answer::limits);
    f.words += "; high dynamic range, in which colours are told less well";
    f.advice = "switch HDR video off in the phone's camera";
  }
  return f;
}

Finding timing(const video::ClipInfo& info, const Read& read) {
  Finding f{"timing", Answer::good, "", {}, ""};
  const double usual = at_share(read.intervals, 0.5);
  if (!(usual > 0)) {
    f.answer = Answer::stops;
    f.words = "a single frame: nothing moves in it";
    return f;
  }
  int gaps = 0;
  double longest = 0;
  for (const double d : read.intervals) {
    gaps += d > kGap * usual;
    longest = std::max(longest, d);
  }
  const double rate = 1 / usual, spread = 0.5 * (at_share(read.intervals, 0.95) - at_share(read.intervals, 0.05));
  f.numbers = {{"rate", rate},     {"longest_interval", longest},          {"gaps", gaps},
               {"jitter", spread}, {"repeated_frames", read.end.repeated}, {"time_scale", info.time_scale}};
  f.words = fmt::format("{:.1f} frames a second, even to {:.1f} ms", rate, 1e3 * spread);
  if (gaps > 0) f.words += fmt::format("; {} gaps, the longest {:.0f} ms", gaps, 1e3 * longest);
  if (read.end.repeated > 0) f.words += fmt::format("; {} frames repeat the one before", read.end.repeated);
  if (info.time_scale != 1)
    f.words += fmt::format("; stored {:.3g} times too slow, which is put right", 1 / info.time_scale);
  if (rate < kSlowest) {
    f.answer = Answer::stops;
    f.advice = "film at 50 or 60 frames a second";
  } else if (rate < kFastEnough) {
    f.answer = Answer::limits;
    f.advice = "film at 50 or 60 frames a second: contacts are timed twice as well";
  } else if (gaps > kManyGaps * static_cast<double>(read.intervals.size())) {
    f.answer = Answer::limits;
    f.advice = "frames were dropped: free some memory on the phone, keep it cool, flight mode on";
  }
  return f;
}

Finding light(const Read& read, const Scene& scene) {
  Finding f{"light", Answer::good, "", {}, ""};
  const double level = at_share(read.brightness, 0.5) + 16;
  const double pumps = at_share(read.brightness, 0.95) / std::max(1.0, at_share(read.brightness, 0.05)) - 1;
  const double flicker = at_share(read.bands, 0.5);
  int clipped = 0, all = 0;
  for (int y = scene.height / 4; y < 3 * scene.height / 4; y += 4)
    for (int x = scene.width / 4; x < 3 * scene.width / 4; x += 4, ++all) clipped += scene.luma.at<float>(y, x) > 232;
  const double glare = static_cast<double>(clipped) / std::max(1, all);
  f.numbers = {{"level", level}, {"changes", pumps}, {"flicker", flicker}, {"burnt_out", glare}};
  f.words = fmt::format("the middle of the picture is at level {:.0f} of 235, changes by {:.0f} %", level, 100 * pumps);
  if (flicker > kFlickers) {
    f.answer = Answer::limits;
    f.words += fmt::format(", lamps flicker by {:.0f} % in bands", 100 * flicker);
    f.advice =
        "lock the exposure at 1/100 s where the mains has 50 Hz, at 1/120 s where it has 60 Hz, or accept it: "
        "bands are taken out as well as can be";
  }
  if (level < kDim) {
    f.answer = Answer::limits;
    f.words += "; dim: grain and smears cost accuracy";
    f.advice = "more light on the table, all its lamps on";
  } else if (level > kGlare || glare > 0.05) {
    f.answer = Answer::limits;
    f.words += "; too bright: parts are burnt out";
    f.advice = "lower the exposure until the cloth is mid-toned, then lock it";
  } else if (pumps > kPumps && f.advice.empty()) {
    f.answer = Answer::limits;
    f.words += "; the exposure is not locked, or someone stood in the light";
    f.advice = "lock focus and exposure before you start";
  }
  return f;
}

Finding table_found(const Registration& r) {
  Finding f{"table", Answer::good, "", {}, ""};
  if (!r.found) {
    f.answer = Answer::stops;
    f.words = r.why;
    f.advice = "the whole table in the picture, cushions and all, seen from above; or tell `register` the corners";
    return f;
  }
  const Vec3 lens = r.rig.camera.pose.position();
  double steepest = 0;
  for (const double x : {-1.0, 1.0})
    for (const double y : {-1.0, 1.0}) {
      const Vec3 to = Vec3(x * r.rig.half_width, y * r.rig.half_length, 0) - lens;
      steepest = std::max(steepest, std::atan2(std::hypot(to.x(), to.y()), -to.z()));
    }
  f.numbers = {{"length", 2 * r.rig.half_length},
               {"width", 2 * r.rig.half_width},
               {"height", lens.z()},
               {"across", lens.x()},
               {"along", lens.y()},
               {"steepest", steepest},
               {"rms_pixels", r.rms_pixels},
               {"rms", r.rms}};
  f.words = fmt::format(
      "found, {:.0f} x {:.0f} mm between the noses, fits to {:.2f} px; the lens is {:.2f} m above the "
      "bed, {:.0f} cm to the {} of its middle and {:.0f} cm towards {}",
      2e3 * r.rig.half_length, 2e3 * r.rig.half_width, r.rms_pixels, lens.z(), 100 * std::abs(lens.x()),
      lens.x() < 0 ? "left" : "right", 100 * std::abs(lens.y()), lens.y() < 0 ? "baulk" : "the top");
  for (const std::string& w : r.warnings) f.words += "; " + w;
  if (!r.warnings.empty()) f.answer = Answer::limits;
  if (steepest > kOblique + 0.12) f.advice = "higher up, or nearer to the middle: the far corners are seen too flat";
  return f;
}

// Pixels a metre over the bed and balls' sizes.
Finding size_of(const Registration& r, double radius) {
  Finding f{"size", Answer::good, "", {}, ""};
  const PlaceMap map = place_map(r.rig, radius, 5, 9);
  std::vector<double> per_pixel;
  int out = 0;
  for (const PlaceExpected& p : map.points) {
    out += !p.seen;
    const Mat2 j = r.rig.camera.plane_jacobian({p.at.x(), p.at.y(), radius});
    per_pixel.push_back(1 / std::sqrt(std::abs(j.determinant())));
  }
  const double middle = at_share(per_pixel, 0.5), coarsest = at_share(per_pixel, 1);
  const double smallest = 2 * radius / coarsest;
  f.numbers = {{"metres_per_pixel", middle}, {"coarsest_metres_per_pixel", coarsest}, {"smallest_ball", smallest}};
  f.words = fmt::format("{:.1f} mm a pixel in the middle, {:.1f} at worst; the smallest ball is {:.0f} px across",
                        1e3 * middle, 1e3 * coarsest, smallest);
  if (out > 0) {
    f.answer = Answer::limits;
    f.words += "; part of the bed is outside the picture";
    f.advice = "turn or raise the camera until all six pockets are in the picture";
  } else if (coarsest > kCoarsest || smallest < kSmallBall) {
    f.answer = Answer::limits;
    f.advice = "nearer, or a finer picture (1080p or 4K): far balls are too small to be told apart well";
  } else if (middle > kFine) {
    f.answer = Answer::limits;
    f.advice = "a finer picture (1080p or 4K) with the table filling it";
  }
  return f;
}

Finding sharpness(const Scene& scene, const Registration& r, double radius) {
  Finding f{"sharpness", Answer::good, "", {}, ""};
  std::vector<double> blur, contrast;
  for (const Moment& m : scene.moments)
    for (const RestingBall& b : find_bright_balls(m, r.rig.camera, r.rig.half_width, r.rig.half_length, radius)) {
      blur.push_back(b.sigma_px);
      for (const OutlineSector& s : b.sectors) contrast.push_back(s.contrast);
    }
  if (blur.empty()) {
    f.answer = Answer::limits;
    f.words = "cannot tell: no bright ball lies still in the clip's first seconds";
    f.advice = "put the white and a few colours on the bed for the check";
    return f;
  }
  const double sigma = at_share(blur, 0.5), clear = at_share(contrast, 0.5);
  f.numbers = {{"blur", sigma}, {"contrast", clear}};
  f.words = fmt::format("edges are {:.1f} px soft, bright balls stand out by {:.0f} levels", sigma, clear);
  if (sigma > kSharp) {
    f.answer = Answer::limits;
    f.advice = "clean the lens, lock the focus on the cloth, a higher bit rate";
  } else if (clear < kClear) {
    f.answer = Answer::limits;
    f.advice = "more even light: balls hardly stand out from the cloth";
  }
  return f;
}

Finding hidden(const Scene& scene, const Registration& r, const table::Spec& spec) {
  Finding f{"hidden", Answer::good, "nothing of the bed is hidden", {}, ""};
  const auto parts = hidden_parts(scene, r.rig, spec);
  double area = 0;
  for (const HiddenPart& p : parts) area += p.area;
  f.numbers = {{"share", area / (4 * r.rig.half_width * r.rig.half_length)},
               {"parts", static_cast<double>(parts.size())}};
  if (parts.empty()) return f;
  f.answer = Answer::limits;
  f.words = fmt::format("{:.0f} % of the bed is hidden: ", 100 * f.numbers["share"]);
  for (std::size_t i = 0; i < std::min<std::size_t>(3, parts.size()); ++i)
    f.words += (i == 0 ? "" : "; ") + parts[i].words;
  f.advice = "move the camera sideways until the lamp no longer hides the bed; contacts under it are only inferred";
  return f;
}

Finding steadiness(const Scene& scene, const Registration& r, const table::Spec& spec) {
  Finding f{"steadiness", Answer::good, "", {}, ""};
  const table::Table table = table_of(r.rig, spec);
  const Watch watch(scene.luma, r.rig.camera, &table);
  std::vector<double> shifts;
  for (const Snap& s : scene.snaps)
    if (const Glance g = watch.glance(s.luma, r.rig.camera.pose); g.tells) shifts.push_back(g.shift_pixels);
  if (shifts.size() < 3) {
    f.answer = Answer::limits;
    f.words = "cannot tell: too little of the table's edges is recognised from picture to picture";
    return f;
  }
  const double usual = at_share(shifts, 0.5), worst = at_share(shifts, 1);
  f.numbers = {{"usual_shift", usual}, {"worst_shift", worst}};
  f.words = fmt::format("the picture stays within {:.2f} px, {:.2f} at worst", usual, worst);
  if (usual > kShakes || worst > 3 * kShakes) {
    f.answer = Answer::limits;
    f.advice = "a firmer mount, picture stabilisation off; small moves are corrected, shaking costs accuracy";
  }
  return f;
}

Finding accuracy(const Registration& r, double radius) {
  Finding f{"accuracy", Answer::good, "", {}, ""};
  const PlaceMap map = place_map(r.rig, radius);
  f.numbers = {{"median_u", map.median}, {"worst_u", map.worst}};
  f.words = fmt::format(
      "a ball's place will be known to {:.1f} mm over most of the bed, {:.1f} mm at worst (1 sigma, "
      "the registration's share)",
      1e3 * map.median, 1e3 * map.worst);
  if (const auto taped = median_if_taped(r.rig, radius))
    f.advice =
        fmt::format("the table measured from nose to nose with a tape (`register --size`): {:.1f} mm", 1e3 * *taped);
  if (map.median > kAccurate) {
    f.answer = Answer::limits;
    if (!f.advice.empty()) f.advice += "; ";
    f.advice += "a lens profile (`lens`) and two or three bright balls at rest on the bed make it better";
  }
  return f;
}
}  // namespace

Answer Inspection::worst() const {
  Answer w = Answer::good;
  for (const Finding& f : findings) w = std::max(w, f.answer);
  return w;
}

Result<Inspection> inspect(const std::string& file, const table::Spec& spec, const table::BallSet& balls,
                           double look_at) {
  auto clip = video::Clip::open(file);
  if (!clip) return pass_on(clip);
  const video::ClipInfo info = clip->info();
  Reader reader;
  SceneOptions look;
  look.look_at = look_at;
  look.shown = [&](const video::Frame& f) { reader.take(f); };
  const auto scene = gather_scene(*clip, look);
  if (!scene) return pass_on(scene);
  while (auto f = clip->next()) reader.take(*f);
  const Read read = reader.read(clip->end());
  RegisterOptions how;
  how.look_at = look_at;
  // A clip with a knock in it is cut where the camera stood still; any other needs no second look.
  auto found = still_stretches(scene->snaps).size() < 2 ? Result<Registration>(register_scene(*scene, spec, balls, how))
                                                        : register_clip(file, spec, balls, how);
  if (!found) return pass_on(found);
  Inspection out;
  out.registration = std::move(*found);
  const Registration& r = out.registration;
  out.findings = {recording(info, read), timing(info, read), light(read, *scene), table_found(r)};
  if (!r.found) return out;
  const double radius = balls.kinds.front().radius;
  out.findings.push_back(size_of(r, radius));
  out.findings.push_back(sharpness(*scene, r, radius));
  out.findings.push_back(hidden(*scene, r, spec));
  out.findings.push_back(steadiness(*scene, r, spec));
  out.findings.push_back(accuracy(r, radius));
  return out;
}

}  // namespace baizetrace::camera
