// What an eye learns before it looks: the cloth, the balls' colours, the picture's sharpness and chroma siting.
#include <algorithm>
#include <array>
#include <cmath>

#include "base/median.hpp"
#include "sight/ball_fit.hpp"
#include "sight/blur.hpp"
#include "sight/eye.hpp"
#include "sight/eye_state.hpp"

namespace baizetrace::sight {
namespace {
constexpr std::size_t kLearnFrames = 7;  // the median of so many is the first background
}  // namespace

void FirstFrames::show(const video::Frame& frame) {
  if (enough() || frame.damaged || frame.repeated || frame.time < next_) return;
  frames_.push_back(frame);
  // Evenly from the first on: were each waited for from the one before, uneven frames would make it longer.
  const double apart = learn_for_ / (kLearnFrames - 1) * 0.999;
  next_ = frames_.front().time + static_cast<double>(frames_.size()) * apart;
}

bool FirstFrames::enough() const { return frames_.size() >= kLearnFrames; }

Result<Done> Eye::learn(video::Clip& clip) {
  FirstFrames first(state_->options.learn_for);
  while (!first.enough()) {
    const auto frame = clip.next();
    if (!frame) break;
    first.show(*frame);
  }
  if (const auto learned = learn(first); !learned) return learned;
  return clip.seek(0);
}

Result<Done> Eye::learn(const FirstFrames& first) {
  State& s = *state_;
  const std::vector<video::Frame>& frames = first.frames();
  const camera::Camera& c = s.rig.camera;
  if (!frames.empty() && (frames[0].width() != c.width || frames[0].height() != c.height))
    return fail("the rig is for {} x {} pictures, the clip's are {} x {}", c.width, c.height, frames[0].width(),
                frames[0].height());
  // A ball of the cloth's own colour passes for cloth: where balls are spotted nothing is taken for bare at first.
  std::vector<Ellipse> spots;
  for (const auto& [name, spot] : s.rig.spots)
    if (const auto outline = ball_ellipse(c, spot, s.radius)) spots.push_back(*outline);
  if (const auto learned = s.cloth.learn(frames, spots); !learned) return learned;
  s.learned = true;
  // The balls that lie there tell the light's colour and the edges' blur.
  s.known.clear();
  (void)s.look(frames.back());
  constexpr double kWhole = 0.9, kClear = 40;  // of the outline; standard deviations of a pixel
  std::vector<Eigen::Vector3d> bodies, clear;
  for (const KnownBall& b : s.known) {
    bodies.push_back(b.colour);
    if (b.visible > kWhole && b.contrast > kClear && !s.cloth.shade(b.colour)) clear.push_back(b.colour);
  }
  s.colours.learn(bodies, clear);
  s.learn_optics(frames.back());
  s.known.clear();
  s.last_time = s.followed = -1;
  return Done{};
}

// Where the chroma samples sit: along the stored rows, chroma and luma must show a ball at the same place.
double Eye::State::chroma_siting(const video::Frame& frame, const View& view) const {
  constexpr double kBetween = 0.5, kLeft = 0;  // between two luma columns; on the left one
  constexpr double kSure = 2;                  // standard errors
  constexpr double kStrong = 20;               // levels of chroma away from the cloth's
  constexpr std::size_t kFewest = 3;
  const Vec2 along = chroma_offset(frame.turn, 1) - chroma_offset(frame.turn, 0);
  std::vector<double> off;
  for (const KnownBall& b : known) {
    const cv::Vec3f& cloth_colour = cloth.typical();
    const double chroma = std::hypot(b.colour[1] - static_cast<double>(cloth_colour[1]),
                                     b.colour[2] - static_cast<double>(cloth_colour[2]));
    if (b.contrast < kContrastSpot || chroma < kStrong) continue;
    BallFitOptions o;
    o.search = kSearchResting;
    o.planes = FitPlanes::luma;
    const auto luma = fit_ball(view, rig.camera, b.at, radius, o);
    o.planes = FitPlanes::chroma;
    const auto colour = fit_ball(view, rig.camera, b.at, radius, o);
    if (luma && colour) off.push_back((colour->pixel - luma->pixel).dot(along));
  }
  if (off.size() < kFewest) return kBetween;
  // Median and its standard error (of normal scatter: sqrt(pi / 2) that of a mean).
  const double middle = upper_median(off);
  std::vector<double> scatter;
  for (const double d : off) scatter.push_back(std::abs(d - middle));
  const double error =
      std::max(0.05, 1.4826 * upper_median(scatter)) * std::sqrt(0.5 * kPi / static_cast<double>(off.size()));
  return middle - kSure * error > 0.5 * (kBetween - kLeft) ? kLeft : kBetween;
}

// The chroma's siting, and the blur under which the resting balls are explained best.
void Eye::State::learn_optics(const video::Frame& frame) {
  cloth.halve(frame, halves);
  const Gain gain = cloth.gain_of(frame, halves);
  View view = cloth.view(frame, gain);
  view.blur = 0.7;
  view.chroma_offset = chroma_offset(frame.turn, 0.5);
  const double siting = chroma_siting(frame, view);
  view.chroma_offset = chroma_offset(frame.turn, siting);
  // Beside a dark ball the edge of its shadow passes for blur: bright ones tell, if there are any.
  constexpr double kBrighter = 20;  // levels, than the cloth
  const auto tells = [&](const KnownBall& b, bool bright) {
    return b.contrast >= kContrastSpot &&
           (!bright || b.colour[0] > static_cast<double>(cloth.typical()[0]) + kBrighter);
  };
  const bool bright = std::any_of(known.begin(), known.end(), [&](const KnownBall& b) { return tells(b, true); });
  constexpr std::array<double, 8> kBlurs{0.5, 0.7, 0.85, 1.0, 1.2, 1.45, 1.75, 2.1};  // px
  constexpr std::size_t kByDarkOnes = 5;                                              // of them
  std::vector<double> cost(bright ? kBlurs.size() : kByDarkOnes, 0.0);
  for (std::size_t i = 0; i < cost.size(); ++i) {
    view.blur = kBlurs[i];
    for (const KnownBall& b : known) {
      if (!tells(b, bright)) continue;
      BallFitOptions o;
      o.search = kSearchResting;
      o.by_hue = false;
      const auto fit = fit_ball(view, rig.camera, b.at, radius, o);
      cost[i] +=
          fit ? std::log(fit->misfit + 0.3 * view.noise_luma) + std::log(fit->misfit_chroma + 0.3 * view.noise_chroma)
              : 5;
    }
  }
  cloth.set_optics(likeliest_blur(std::span(kBlurs).first(cost.size()), cost), siting);
}

}  // namespace baizetrace::sight
