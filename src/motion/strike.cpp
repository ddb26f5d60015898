#include "motion/strike.hpp"

#include <cmath>

namespace baizetrace::motion {

Result<Done> validate(const Strike& s) {
  std::string faults;
  const auto add = [&](std::string why) { faults += (faults.empty() ? "" : "; ") + std::move(why); };
  if (!(s.speed > 0 && s.speed <= kFastestStrike))
    add(fmt::format("speed is {} m/s, expected over 0 up to {}", s.speed, kFastestStrike));
  if (!std::isfinite(s.heading)) add(fmt::format("heading is {}, expected a finite angle", s.heading));
  const double off = std::hypot(s.right, s.height);
  if (!std::isfinite(off))
    add(fmt::format("right is {} and height is {}, expected ball radii from -{} to {}", s.right, s.height, kMiscue,
                    kMiscue));
  else if (off > kMiscue)
    add(fmt::format(
        "the tip is {:.3f} ball radii off the centre (right {:.3f}, height {:.3f}), a miscue: expected at most {} "
        "(common practice: a tip slips beyond about 0.5)",
        off, s.right, s.height, kMiscue));
  if (!(s.elevation >= 0 && s.elevation <= radians(kSteepest)))
    add(fmt::format("elevation is {:.3g} degrees, expected 0 to {}", degrees(s.elevation), kSteepest));
  if (!faults.empty()) return fail("strike: {}", faults);
  return Done{};
}

double cue_heading(const Strike& s, const Conditions& c) { return wrap_angle(s.heading + c.squirt * s.right); }

State struck(const Strike& s, const Vec2& place, double radius) {
  State out;
  out.place = place;
  out.velocity = s.speed * along_heading(s.heading);
  const Vec2 forward = along_heading(s.heading);
  const Vec2 to_right(forward.y(), -forward.x());
  const double k = 2.5 * s.speed / (radius * std::cos(s.elevation));
  const Vec2 flat = k * (s.right * std::sin(s.elevation) * forward - s.height * to_right);
  out.spin = Vec3(flat.x(), flat.y(), k * s.right * std::cos(s.elevation));
  return out;
}

}  // namespace baizetrace::motion
